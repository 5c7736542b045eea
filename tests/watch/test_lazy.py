"""The package and its rooms are loaded name by name, and entered by their doors only."""

import ast
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

import qc.watch

HERE = Path(qc.watch.__file__).parent
ROOMS = ("qc.watch.series", "qc.watch.changes", "qc.watch.causes")
SHOWN = "import sys; from qc.watch import SeriesVerdict, day_words; print(*sorted(sys.modules))"
JUDGES = ("qc.watch.judging", "qc.watch.changes", "qc.watch.causes", "qc.stats.detector", "scipy", "polars")


def test_what_shows_verdicts_loads_nothing_that_judges():
    done = subprocess.run([sys.executable, "-c", SHOWN], capture_output=True, text=True, check=True)
    assert not set(JUDGES) & set(done.stdout.split())


@pytest.mark.parametrize("name", ("qc.watch", *ROOMS))
def test_every_name_is_there_and_no_module_has_the_name_of_one(name):
    package = import_module(name)
    assert package.__all__ == dir(package) == sorted(package.__all__)
    for offered in package.__all__:
        assert getattr(package, offered) is not None
    beside = {path.stem for path in Path(package.__file__).parent.iterdir()}
    assert not beside & set(package.__all__)


def test_a_name_that_is_not_offered_is_refused():
    with pytest.raises(AttributeError, match="nothing"):
        qc.watch.nothing  # noqa: B018


@pytest.mark.parametrize("path", sorted(HERE.rglob("*.py")), ids=lambda p: str(p.relative_to(HERE)))
def test_a_room_is_entered_by_its_door(path):
    asked = [
        node.module or ""
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.ImportFrom)
    ]
    for room in ROOMS:
        if path.parent != HERE / room.rpartition(".")[2]:
            assert not [name for name in asked if name.startswith(f"{room}.")]

"""`import qc` is light and offers what the command does."""

import inspect
import json
import re
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from pathlib import Path
from types import GenericAlias, SimpleNamespace, UnionType
from typing import Literal, Union, get_args, get_origin, get_type_hints

import mypy.api
import numpy as np
import polars as pl
import pytest

import qc
from qc import stats, trade
from qc.stats import Tabled

ROOT = Path(__file__).resolve().parents[1]
HEAVY = (
    "numpy",
    "scipy",
    "polars",
    "pandas",
    "great_expectations",
    "matplotlib",
    "dash",
    "sqlalchemy",
    "typst",
)


def loaded_after(statement):
    code = f"import sys; {statement}; print(*sorted(m for m in sys.modules if m in {HEAVY!r}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stdout.split()


def test_importing_costs_nothing():
    assert loaded_after("import qc") == []


def test_help_loads_nothing_heavy():
    code = "from qc.cli.main import main; main(['--help'])"
    script = f"import sys; {code}; print('LOADED', *[m for m in sys.modules if m in {HEAVY!r}])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "LOADED"


@pytest.mark.parametrize("name", sorted(set(qc.__all__) - {"plan", "stats", "trade", "watch"}))
def test_what_a_person_asks_for_is_there(name):
    assert getattr(qc, name) is not None


@pytest.mark.parametrize("package", [stats, trade], ids=["stats", "trade"])
def test_every_public_name_of_the_pure_packages_is_there(package):
    assert len(package.__all__) > 20
    for name in package.__all__:
        assert getattr(package, name) is not None
        assert getattr(qc, name) is not None
    assert set(package.__all__) <= set(dir(qc))


def test_what_is_not_there_is_said():
    with pytest.raises(AttributeError, match="No qc attribute magic"):
        qc.magic  # noqa: B018


def test_only_the_upload_side_knows_great_expectations():
    assert "great_expectations" not in loaded_after("import qc.ingest; qc.ingest.read_sheet")


# --- types: what a type checker knows of every offered name

NUMPYS_OWN = ("numpy.ndarray[tuple[Any, ...], ", "numpy.dtype[Any]")
"""An array of any shape, and what can be turned into one, as numpy writes them."""


@pytest.mark.slow
def test_a_type_checker_knows_every_offered_name(tmp_path, monkeypatch):
    """Neither a parameter nor a result of an offered function or class is `Any`."""
    names = sorted(set(qc.__all__) - {"plan", "stats", "trade", "watch"})
    aliases = [name for name in names if isinstance(getattr(qc, name), GenericAlias)]
    lines = ["import qc"]
    lines += [f"{name.lower()}: qc.{name}" for name in aliases]
    asked = {len(lines) + nth: name for nth, name in enumerate(names, start=1)}
    lines += [f"reveal_type({name.lower() if name in aliases else f'qc.{name}'})" for name in names]
    (tmp_path / "asks.py").write_text("\n".join(lines), "utf-8")
    monkeypatch.chdir(ROOT)  # where the type checker finds the packages, its settings and what it knows
    said, faults, _ = mypy.api.run([str(tmp_path / "asks.py")])
    known = {}
    for line in said.splitlines():
        found = re.search(r"asks\.py:(\d+): note: Revealed type is (.*)", line)
        if found:
            known[asked[int(found[1])]] = found[2]
    assert list(known) == names, said + faults
    for numpys in NUMPYS_OWN:
        known = {name: kind.replace(numpys, "") for name, kind in known.items()}
    assert {name: kind for name, kind in known.items() if re.search(r"\bAny\b", kind)} == {}


# --- results: plain values, a text, a frame and a table in notebooks

NO_RESULTS = {"Workshop", "RemedySheet"}
"""What is opened or read to ask questions of is no answer itself."""


def hints(thing, module, *names):
    """Types that a function or a class states itself; those only known while types are checked are these."""
    stated = {name: thing.__annotations__[name] for name in names or thing.__annotations__}
    return get_type_hints(SimpleNamespace(__annotations__=stated), {"pl": pl, **vars(module)})


def parts(kind):
    yield kind
    for inner in get_args(kind):
        yield from parts(inner)


def results():
    """Every frozen dataclass that an offered function says it returns, by name."""
    found = {}
    for name in qc.__all__:
        function = inspect.unwrap(getattr(qc, name))
        if inspect.isfunction(function):
            returned = hints(function, sys.modules[function.__module__], "return")["return"]
            for kind in parts(returned):
                if is_dataclass(kind) and kind.__dataclass_params__.frozen:
                    found[kind.__name__] = kind
    return found


RESULTS = results()


@pytest.mark.parametrize("name", sorted(set(RESULTS) - NO_RESULTS))
def test_every_result_is_plain_values_text_frame_and_table(name):
    missing = [part for part in ("to_dict", "to_text", "to_frame") if not hasattr(RESULTS[name], part)]
    assert missing == [] and issubclass(RESULTS[name], Tabled)


def test_results_are_found():
    assert len(RESULTS) > 70
    assert {"StudyResult", "Chart", "CheckStandard", "TuningRemedy", "Pooling", *NO_RESULTS} <= set(RESULTS)


def example(kind):
    """Make up a value of a type, dataclasses with all their fields."""
    inner = get_args(kind)
    if get_origin(kind) in (UnionType, Union):
        return example(inner[0])
    if get_origin(kind) is Literal:
        return inner[0]
    if get_origin(kind) is tuple:
        return tuple(example(part) for part in (inner[:1] * 2 if inner[-1] is ... else inner))
    if get_origin(kind) in (Mapping, dict):
        return {"one": example(inner[1])}
    if get_origin(kind) is Sequence:
        return [example(inner[0])]
    if get_origin(kind) is np.ndarray:
        return np.array([1.5, np.nan])
    if is_dataclass(kind):
        known = hints(kind, sys.modules[kind.__module__])
        return kind(**{field.name: example(known[field.name]) for field in fields(kind)})
    return {float: 1.5, int: 3, bool: True}.get(kind, "word")


PLAIN = sorted(
    name
    for name, kind in RESULTS.items()
    if issubclass(kind, Tabled) and (kind.to_dict, kind.to_frame) == (Tabled.to_dict, Tabled.to_frame)
)


@pytest.mark.parametrize("name", PLAIN)
def test_a_result_that_lists_its_figures_does_so_everywhere(name):
    found = example(RESULTS[name])
    told = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert list(told) == [field.name for field in fields(found)]
    assert found.to_frame().height >= 1
    assert "<table>" in found._repr_html_()
    rows = told[found.ROWS][0] if found.ROWS else told
    first = next(iter(rows))
    assert first in found.to_text().split()[0]

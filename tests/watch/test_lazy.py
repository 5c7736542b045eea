"""The package and its rooms are loaded name by name."""

import subprocess
import sys
from importlib import import_module

import pytest

import qc.watch

ROOMS = ("qc.watch.series", "qc.watch.changes", "qc.watch.causes")
SHOWN = "import sys; from qc.watch import SeriesVerdict, limits_words; print(*sorted(sys.modules))"
JUDGES = ("qc.watch.judging", "qc.watch.changes", "qc.watch.causes", "qc.stats.change", "scipy", "polars")


def test_what_shows_verdicts_loads_nothing_that_judges():
    done = subprocess.run([sys.executable, "-c", SHOWN], capture_output=True, text=True, check=True)
    assert not set(JUDGES) & set(done.stdout.split())


@pytest.mark.parametrize("name", ("qc.watch", *ROOMS))
def test_every_name_is_there(name):
    package = import_module(name)
    assert package.__all__ == dir(package) == sorted(package.__all__)
    for offered in package.__all__:
        assert getattr(package, offered) is not None


def test_a_name_that_is_not_offered_is_refused():
    with pytest.raises(AttributeError, match="nothing"):
        qc.watch.nothing  # noqa: B018

"""The package is loaded name by name."""

import subprocess
import sys

import pytest

import qc.watch

SHOWN = "import sys; from qc.watch import SeriesVerdict, day_words; print(*sorted(sys.modules))"
JUDGES = ("qc.watch.judge", "qc.watch.findings", "qc.watch.suspects", "qc.stats.detector", "scipy", "polars")


def test_what_shows_verdicts_loads_nothing_that_judges():
    done = subprocess.run([sys.executable, "-c", SHOWN], capture_output=True, text=True, check=True)
    assert not set(JUDGES) & set(done.stdout.split())


def test_every_name_is_there_and_a_module_hides_no_function():
    for name in qc.watch.__all__:
        assert getattr(qc.watch, name) is not None
    assert callable(qc.watch.judge) and callable(qc.watch.judge_further)
    assert dir(qc.watch) == qc.watch.__all__


def test_a_name_that_is_not_offered_is_refused():
    with pytest.raises(AttributeError, match="nothing"):
        qc.watch.nothing  # noqa: B018

"""`import qc` is light and offers what the command does."""

import subprocess
import sys

import pytest

import qc
from qc import stats, trade

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

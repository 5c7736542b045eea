"""What the package offers: every name is there, and importing the package is light."""

import subprocess
import sys

import pytest

import qc.stats


@pytest.mark.parametrize("name", qc.stats.__all__)
def test_every_offered_name_is_there(name):
    found = getattr(qc.stats, name)
    assert found is not None and type(found).__name__ != "module"
    assert getattr(found, "__doc__", None)


def test_names_that_are_not_offered():
    with pytest.raises(AttributeError, match="nosuch"):
        qc.stats.nosuch  # noqa: B018
    assert set(qc.stats.__all__) <= set(dir(qc.stats))


def test_importing_the_package_is_light():
    code = (
        "import sys, qc.stats; print([m for m in ('numpy', 'polars', 'scipy', 'pandas') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"

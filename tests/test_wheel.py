"""The wheel holds everything: installed elsewhere it makes a sample workshop and serves the board."""

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("qc", "dashboard", "sample_measurements")
SOURCES = (*PACKAGES, "pyproject.toml", "README.md")
TAKEN_IN = {"office": 3, "tuning": 10}
"""So many of the newest sheets of a folder, csv and xlsx, the installed program takes in: enough for a change
to be told; other tests take in all of them."""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """Build from a copy, so that nothing is left behind in the checkout."""
    copy = tmp_path_factory.mktemp("source")
    ignored = shutil.ignore_patterns("__pycache__", "*.egg-info")
    for name in SOURCES:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, copy / name, ignore=ignored)
        else:
            shutil.copy(source, copy / name)
    out = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), str(copy)]
    done = subprocess.run(build, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return next(out.glob("*.whl"))


def test_it_holds_packages_data_and_nothing_else(wheel):
    names = zipfile.ZipFile(wheel).namelist()
    tops = {name.split("/")[0] for name in names if ".dist-info" not in name}
    assert tops == {"qc", "dashboard", "sample_measurements"}
    for needed in (
        "qc/py.typed",
        "qc/report/month/month.typ",
        "qc/report/month/month.html.j2",
        "qc/stats/change/thresholds.csv",
        "sample_measurements/plan.yaml",
    ):
        assert needed in names
    assert any(name.startswith("qc/store/migrations/versions/") for name in names)
    assert any(name.startswith("dashboard/assets/") and name.endswith(".css") for name in names)
    assert sum(name.startswith("sample_measurements/sheets/") for name in names) > 200
    assert not [name for name in names if "tests/" in name or name.endswith(".pyc")]


def test_every_file_of_the_packages_is_in_it_as_it_is(wheel):
    """So what the installed program does with some sheets it does with all of them."""
    files = [path for package in PACKAGES for path in (ROOT / package).rglob("*") if path.is_file()]
    files = [path for path in files if path.suffix != ".pyc"]
    with zipfile.ZipFile(wheel) as packed:
        held = {name: packed.read(name) for name in packed.namelist() if ".dist-info" not in name}
    assert held == {path.relative_to(ROOT).as_posix(): path.read_bytes() for path in files}


@pytest.mark.slow
def test_installed_elsewhere_it_runs_the_demo(wheel, tmp_path):
    place = tmp_path / "site"
    pip = [
        sys.executable,
        "-m",
        "pip",
        "install",
        "--quiet",
        "--no-deps",
        "--no-index",
        "--no-compile",
        "--target",
        str(place),
    ]
    subprocess.run([*pip, str(wheel)], check=True, capture_output=True)
    for folder in (place / "sample_measurements" / "sheets").iterdir():
        sheets = sorted(folder.iterdir())
        for sheet in sheets[: len(sheets) - TAKEN_IN.get(folder.name, 0)]:
            sheet.unlink()
    run_in = tmp_path / "elsewhere"
    run_in.mkdir()
    env = {**os.environ, "PYTHONPATH": str(place)}

    def python(*words):
        done = subprocess.run(
            [sys.executable, *words], cwd=run_in, env=env, capture_output=True, text=True, timeout=300
        )
        assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
        return done.stdout

    assert python("-c", "import qc; print(qc.__file__)").startswith(str(place))
    said = python("-m", "qc", "demo", "--workshop", "shop", "--port", "0", "--once")
    assert "have moved" in said
    assert said.strip().splitlines()[-1].startswith("http://127.0.0.1:")
    assert "All " in python("-m", "qc", "verify", "--workshop", "shop")

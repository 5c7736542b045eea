"""Ask a command inside this process, as a person would."""

import importlib.util
import shutil
import sys
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import pytest

from qc.cli.main import main
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop

STRANGERS = Path(__file__).parents[1] / "strangers"
MAKERS = sorted(STRANGERS.glob("*/make.py"))


@pytest.fixture
def command(capsys):
    """Run the words of a command and give `exit_code`, `stdout`, `stderr`, and `output`, which is both."""

    def run(*words):
        code = main([str(word) for word in words])
        out, err = capsys.readouterr()
        return SimpleNamespace(exit_code=code, stdout=out, stderr=err, output=out + err)

    return run


@pytest.fixture
def shop(demo_copy):
    """Open a copy of the sample workshop, to write into."""
    workshop = open_workshop(demo_copy)
    yield workshop
    workshop.store.close()


@pytest.fixture(params=MAKERS, ids=[file.parent.name for file in MAKERS])
def stranger(request, tmp_path, monkeypatch):
    """Return a workshop with three months of a stranger's cards, taken in at once."""
    file = request.param
    monkeypatch.syspath_prepend(str(file.parent))
    spec = importlib.util.spec_from_file_location(f"made_{file.parent.name}", file)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    module.make(tmp_path / "given", 3, months=3)
    days = sorted((tmp_path / "given" / "hand_in").iterdir())
    (tmp_path / "shop").mkdir()
    shutil.copyfile(tmp_path / "given" / "plan.yaml", tmp_path / "shop" / "plan.yaml")
    workshop = open_workshop(tmp_path / "shop", as_of=date.fromisoformat(days[-1].name))
    sheets = [sheet for day in days for sheet in sorted(day.iterdir())]
    upload(workshop, [(sheet.name, sheet.read_bytes()) for sheet in sheets])
    yield workshop
    workshop.store.close()

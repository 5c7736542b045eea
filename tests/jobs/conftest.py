"""Ask a command inside this process, as a person would."""

import importlib.util
import shutil
import sys
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import kept_builds
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
def stranger(request, made_once, tmp_path):
    """Open a copy of a workshop with three months of a stranger's cards, taken in at once."""
    file = request.param
    name = f"stranger {file.parent.name}"
    make = kept_builds.keeping(name, lambda folder: _made(file, folder), file.parent, Path(__file__))
    room = made_once(name, make)
    last = max(day.name for day in (room / "given" / "hand_in").iterdir())
    shop = Path(shutil.copytree(room / "shop", tmp_path / "shop"))
    workshop = open_workshop(shop, as_of=date.fromisoformat(last))
    yield workshop
    workshop.store.close()


def _made(file, room):
    spec = importlib.util.spec_from_file_location(f"made_{file.parent.name}", file)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(file.parent))
        spec.loader.exec_module(module)
    module.make(room / "given", 3, months=3)
    days = sorted((room / "given" / "hand_in").iterdir())
    (room / "shop").mkdir()
    shutil.copyfile(room / "given" / "plan.yaml", room / "shop" / "plan.yaml")
    workshop = open_workshop(room / "shop", as_of=date.fromisoformat(days[-1].name))
    sheets = [sheet for day in days for sheet in sorted(day.iterdir())]
    upload(workshop, [(sheet.name, sheet.read_bytes()) for sheet in sheets])
    workshop.store.close()

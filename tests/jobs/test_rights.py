"""What a workshop holds is its owner's alone, whatever rights the system would give to new files."""

import os
import stat

import pytest

from qc.cli.common import log_fault
from qc.cli.main import main
from qc.jobs.workshop import open_workshop
from sample_measurements import folder as sample_folder


@pytest.fixture
def open_to_all():
    """Let the system give every right to new files, as a careless account does."""
    before = os.umask(0)
    yield
    os.umask(before)


def done(*words):
    assert main([str(word) for word in words]) == 0, words


def of_others(place):
    """Name what others may read, write or enter."""
    every = [place, *place.rglob("*")]
    return sorted(str(p.relative_to(place.parent)) for p in every if stat.S_IMODE(p.stat().st_mode) & 0o077)


def test_folders_and_files_of_a_workshop_are_private_after_every_verb(tmp_path, open_to_all):
    shop, disk, back = tmp_path / "made" / "shop", tmp_path / "disk" / "copies", tmp_path / "back"
    done("new", shop)
    (shop / "plan.yaml").write_bytes((sample_folder() / "plan.yaml").read_bytes())
    sheet = sorted((sample_folder() / "sheets" / "joints").iterdir())[0]
    done("upload", sheet, "--who", "IS", "--workshop", shop)
    assert of_others(tmp_path / "made") == []
    done("month", "2025-07", "--workshop", shop)
    done("month", "2025-07", "--out", tmp_path / "made" / "papers" / "july", "--workshop", shop)
    log = log_fault(ValueError("a fault of ours"))
    assert log.parent == shop / "log"
    open_workshop(shop).store.close()
    done("cards", "--out", tmp_path / "made" / "blanks" / "new", "--workshop", shop)
    for form in ("parquet", "csv", "xlsx"):
        done("export", "--out", tmp_path / "made" / form, "--format", form, "--workshop", shop)
    assert of_others(tmp_path / "made") == []
    done("backup", disk, "--workshop", shop)
    (made,) = disk.iterdir()
    assert of_others(tmp_path / "disk") == []
    done("restore", made, back)
    done("status", "--workshop", back)
    assert of_others(back) == []


def test_the_sample_workshop_is_private_too(tmp_path, open_to_all, monkeypatch):
    """Cut short before the sheets: they come in by the same upload."""
    monkeypatch.setattr("qc.jobs.demo.upload", stop)
    with pytest.raises(KeyboardInterrupt):
        from qc.jobs.demo import make_demo

        make_demo(tmp_path / "demo")
    assert (tmp_path / "demo" / "plan.yaml").is_file()
    assert of_others(tmp_path / "demo") == []


def test_a_folder_that_was_there_keeps_its_rights(tmp_path, open_to_all):
    """Whoever shares it on purpose goes on sharing it; what is put into it is private."""
    (tmp_path / "shared").mkdir()
    done("new", tmp_path / "shared")
    assert of_others(tmp_path / "shared") == ["shared"]


def stop(*_, **__):
    raise KeyboardInterrupt

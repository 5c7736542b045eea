import errno
import hashlib

import pytest

from qc.store import StoreError, sheet_hash
from qc.store.sheetfiles import PARTS, Lying, SheetFiles

DATA = b"Leg;Station\nupper;mouth\n"
DIGEST = hashlib.sha256(DATA).hexdigest()


@pytest.fixture
def files(tmp_path):
    return SheetFiles(tmp_path / "sheets")


def test_the_hash_is_sha256():
    """NIST FIPS 180-4 example: the message "abc"."""
    assert sheet_hash(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_bytes_come_back(files):
    files.keep(DIGEST, DATA)
    files.settle()
    assert files.read(DIGEST) == DATA
    assert files.path(DIGEST).read_bytes() == DATA


def test_keeping_twice_is_once(files):
    files.keep(DIGEST, DATA)
    before = files.path(DIGEST).stat().st_mtime_ns
    files.keep(DIGEST, DATA)
    assert files.path(DIGEST).stat().st_mtime_ns == before


def test_a_file_that_was_altered_is_put_right_when_its_sheet_comes_again(files):
    files.keep(DIGEST, DATA)
    files.path(DIGEST).write_bytes(b"half")
    files.keep(DIGEST, DATA)
    assert files.read(DIGEST) == DATA


def test_bytes_are_flushed_before_they_get_their_name(files, monkeypatch):
    """The order that survives a power cut: write, flush the file, rename, flush the folder."""
    steps = []
    import os
    from pathlib import Path

    real_fsync, real_replace = os.fsync, Path.replace
    monkeypatch.setattr("os.fsync", lambda handle: (steps.append("flush"), real_fsync(handle))[1])
    monkeypatch.setattr(Path, "replace", lambda own, to: (steps.append("rename"), real_replace(own, to))[1])
    files.keep(DIGEST, DATA)
    files.settle()
    assert steps == ["flush", "rename", "flush"]


def test_wrong_bytes_are_refused(files):
    with pytest.raises(StoreError, match="does not have the bytes"):
        files.keep("0" * 64, DATA)
    assert not files.path("0" * 64).exists()


@pytest.mark.parametrize("name", ["../../etc/passwd", "", "A" * 64, "0" * 63, "0" * 63 + "/", ".part"])
def test_only_a_hash_leads_to_a_file(files, name):
    with pytest.raises(StoreError, match="no hash"):
        files.path(name)


def test_a_missing_sheet_is_said(files):
    with pytest.raises(StoreError, match="is not in"):
        files.read("0" * 64)


def test_a_full_disk_is_said_and_leaves_nothing_behind(files, monkeypatch):
    def full(_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(StoreError, match=r"No space left.*Make room"):
        files.keep(DIGEST, DATA)
    assert list(files.folder.rglob("*")) == [files.folder / PARTS]


def test_half_written_files_are_swept(files):
    (files.folder / PARTS / f"{DIGEST}.1234").write_bytes(b"half")
    files.keep(DIGEST, DATA)
    files.sweep([DIGEST])
    assert list((files.folder / PARTS).iterdir()) == []
    assert files.read(DIGEST) == DATA


def test_what_an_interrupted_upload_announced_is_known_and_swept(files):
    other = sheet_hash(b"other")
    files.announce([DIGEST, other])
    files.keep(DIGEST, DATA)
    files.keep(other, b"other")
    assert files.lying() == Lying(frozenset({DIGEST, other}), frozenset({DIGEST, other}))
    files.sweep([other])  # the rows of the other one came in: only its mark is left over
    assert files.lying() == Lying(frozenset({other}), frozenset())


def test_a_sheet_that_nobody_announced_is_left_alone(files):
    files.keep(DIGEST, DATA)
    files.sweep([])
    assert files.read(DIGEST) == DATA


def test_nothing_outside_the_folder_is_swept(files, tmp_path):
    beside = tmp_path / "beside.csv"
    beside.write_bytes(b"mine")
    (files.folder / PARTS / "..new").write_bytes(b"")
    files.sweep([])
    assert beside.read_bytes() == b"mine"

import os
import socket
import threading

import pytest

from qc.ingest import SheetError, read_file
from qc.ingest.reading.grid import MAX_BYTES


def refused(path, words):
    with pytest.raises(SheetError, match=words) as caught:
        read_file(path)
    assert str(caught.value).startswith(str(path)) and caught.value.hint.endswith(".")


def test_a_file_is_read_as_it_is(tmp_path):
    path = tmp_path / "a.csv"
    for data in (b"", b"x", b"a;b\r\n" * 1000, b"y" * MAX_BYTES):
        path.write_bytes(data)
        assert read_file(path) == data


def test_a_file_that_is_too_large_is_not_read(tmp_path, monkeypatch):
    path = tmp_path / "large.csv"
    with path.open("wb") as file:
        file.truncate(5_000_000_000)  # takes no room on the disk
    refused(path, r"the file has 5000.0 MB. A sheet may have up to 20 MB")


def test_a_long_recording_is_called_one(tmp_path):
    path = tmp_path / "notes.wav"
    path.write_bytes(b"RIFF\x00\x00\x00\x00WAVE" + b"\x00" * MAX_BYTES)
    refused(path, "this is a recording")


def test_a_folder_is_named(tmp_path):
    refused(tmp_path, "this is a folder, not a file. Hand in the files that are in it")


@pytest.mark.parametrize("device", ["/dev/zero", "/dev/null", "/dev/full"])
def test_a_device_without_an_end_is_not_read(device):
    from pathlib import Path

    refused(Path(device), "this is a device")


def test_a_pipe_that_nobody_writes_to_is_not_waited_for(tmp_path):
    path = tmp_path / "pipe.csv"
    os.mkfifo(path)
    done = threading.Thread(target=lambda: refused(path, "this is a pipe"), daemon=True)
    done.start()
    done.join(10)
    assert not done.is_alive()


def test_a_file_that_becomes_a_pipe_meanwhile_is_not_waited_for(tmp_path, monkeypatch):
    path, plain = tmp_path / "pipe.csv", tmp_path / "plain.csv"
    os.mkfifo(path)
    plain.write_bytes(b"x")
    about = plain.stat()
    monkeypatch.setattr(type(path), "stat", lambda self: about)
    refused(path, "this is a pipe")


def test_a_socket_is_named(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # a socket's name may not be long
    with socket.socket(socket.AF_UNIX) as made:
        made.bind("s.csv")
        refused(tmp_path / "s.csv", "this is a socket")


@pytest.mark.parametrize("name", ["none.csv", "x" * 5000, "a\x00b.csv"])
def test_a_name_of_no_file_is_one_sentence(tmp_path, name):
    refused(tmp_path / name, "the file cannot be read")


def test_a_name_that_is_no_text_is_shown_with_a_mark(tmp_path):
    path = tmp_path / os.fsdecode(b"gr\xfcn.csv")
    with pytest.raises(SheetError, match="gr\ufffdn.csv: the file cannot be read"):
        read_file(path)


def test_a_file_that_grows_while_it_is_read_is_bounded(tmp_path, monkeypatch):
    path, small = tmp_path / "log.csv", tmp_path / "small.csv"
    path.write_bytes(b"x" * (MAX_BYTES + 5_000_000))
    small.write_bytes(b"x")
    about = small.stat()
    monkeypatch.setattr(os, "fstat", lambda _: about)
    refused(path, "the file has 20.0 MB")

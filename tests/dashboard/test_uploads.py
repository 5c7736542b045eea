"""Uploads to a board that runs: what arrives lies on the disk, not in its memory, and keeps no page away."""

import json
import re
import shutil
import socket
import sys
import threading
import time
from http.client import HTTPConnection
from pathlib import Path
from urllib.request import urlopen

import pytest

from qc.jobs.board.serving import running
from sample_measurements import folder as sample_folder

SENT, EACH_MB = 6, 8
GROWTH_MB = SENT * EACH_MB / 2
"""Half of what the sheets weigh together; the process reads each in pieces of a quarter of a megabyte."""


def peak_mb(pid):
    return int(re.search(r"VmHWM:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())[1]) / 1024


SERIAL = b'--cut\r\nContent-Disposition: form-data; name="serial"\r\n\r\nQH-1001\r\n'
FIELD = {"/uploads": "sheets", "/remedies/recording": "wav"}


def send(address, answers, path="/uploads"):
    sheet = b"serial,value\n" + b"QH-1001,12.345\n" * (EACH_MB * 2**20 // 15)
    file = f'--cut\r\nContent-Disposition: form-data; name="{FIELD[path]}"; filename="large"\r\n\r\n'
    head = SERIAL + file.encode()
    kind = {"Origin": address.rstrip("/"), "Content-Type": "multipart/form-data; boundary=cut"}
    line = HTTPConnection(address.split("//")[1].strip("/"), timeout=120)
    line.request("POST", path, head + sheet + b"\r\n--cut--\r\n", kind)
    answer = line.getresponse()
    answers.append((answer.status, json.loads(answer.read())))
    line.close()


HALF = b"POST /uploads HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 20000000\r\n\r\nhalf a sheet"


@pytest.fixture
def board(tmp_path):
    shutil.copyfile(sample_folder() / "plan.yaml", tmp_path / "plan.yaml")
    with running(tmp_path) as (address, process):
        yield address, process.pid


def test_120_half_sent_uploads_keep_no_page_from_anybody(board):
    address, _ = board
    opened = [
        socket.create_connection(("127.0.0.1", int(address.split(":")[2].strip("/")))) for _ in range(120)
    ]
    for one in opened:
        one.sendall(HALF)
    slowest = 0.0
    for path in ("", "sheets", "theme.css", "_dash-layout", "_dash-dependencies", "assets/board.css") * 3:
        began = time.monotonic()
        assert urlopen(address + path, timeout=10).status == 200
        slowest = max(slowest, time.monotonic() - began)
    assert slowest < 2
    for one in opened:
        one.close()


@pytest.mark.skipif(sys.platform != "linux", reason="the peak memory of a process is read from /proc")
def test_many_large_uploads_and_recordings_at_once_do_not_lie_in_memory(board):
    (address, pid), answers = board, []
    send(address, answers)  # what is loaded on the first upload counts for none
    Path(f"/proc/{pid}/clear_refs").write_text("5")  # the peak begins anew
    before = peak_mb(pid)
    paths = [*FIELD] * (SENT // 2)
    senders = [threading.Thread(target=send, args=(address, answers, path)) for path in paths]
    for sender in senders:
        sender.start()
    for sender in senders:
        sender.join()
    grown = peak_mb(pid) - before
    assert [status for status, _ in answers] == [200] * (SENT + 1)
    assert len({said["ticket"] for _, said in answers}) == SENT + 1
    assert grown < GROWTH_MB

"""Serving the board: a process of its own that never outlives the command that started it."""

import json
import socket
import subprocess
import sys
import time
from urllib.error import HTTPError
from urllib.request import HTTPCookieProcessor, Request, build_opener, urlopen

import pytest

from dashboard.__main__ import main
from qc.errors import MachineError
from qc.jobs.board.serving import fetch_once, running, serve
from qc.jobs.errors import JobError

PARENT = """
import os, sys
from pathlib import Path
from qc.jobs.board.serving import running
context = running(Path(sys.argv[1]))
address, _ = context.__enter__()
print(address, flush=True)
os._exit(9)
"""


@pytest.fixture(scope="module")
def board(demo_folder):
    """Address and process of one board over the sample workshop."""
    with running(demo_folder) as served:
        yield served


@pytest.fixture
def listening():
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server.getsockname()[1]


@pytest.fixture
def refused(capsys):
    """Return what the board's program says where it will not serve; other tests see it handed on."""

    def ask(folder, *words):
        assert main(["--workshop", str(folder), *words]) == 1
        return json.loads(capsys.readouterr().out)["problem"]

    return ask


def test_the_address_is_told_once_it_answers_and_once_means_once(demo_folder):
    seen = []
    serve(
        demo_folder, port=0, on_ready=lambda address: seen.append((address, fetch_once(address))), once=True
    )
    ((address, size),) = seen
    assert address.startswith("http://127.0.0.1:") and size > 500
    with pytest.raises(MachineError, match="did not answer"):
        fetch_once(address)


def test_it_listens_on_this_machine_only(refused, demo_folder):
    """Other names of machines: `tests/dashboard/door/test_access.py`."""
    assert "--host 127.0.0.1" in refused(demo_folder, "--host", "0.0.0.0")


def test_nothing_is_opened_to_others_without_a_list_of_people(refused, demo_folder):
    said = "Without a list of people the board stays on this machine"
    assert said in refused(demo_folder, "--lan", "--cert", "c", "--key", "k")
    with pytest.raises(JobError, match=said):
        serve(demo_folder, port=0, once=True, door=["--behind-proxy", "board.example"])


def test_the_demo_is_told_a_link_that_signs_in_once(demo_folder):
    told = []

    def follow(link):
        for _ in range(2):
            request = Request(link, headers={"Accept": "text/html"})
            try:
                with build_opener(HTTPCookieProcessor()).open(request) as answer:
                    told.append(answer.read().decode())
            except HTTPError as error:
                told.append(error.read().decode())

    serve(demo_folder, port=0, once=True, on_link=follow)
    assert 'name="board-token"' in told[0] and "used already" in told[1]


def test_a_port_in_use_is_said_with_a_way_out(demo_folder, listening):
    with pytest.raises(JobError, match=f"Port {listening} .* --port"):
        serve(demo_folder, port=listening, once=True)


def test_a_folder_without_a_workshop_is_refused_in_one_sentence(refused, tmp_path):
    assert refused(tmp_path).startswith("There is no workshop")


def test_the_web_process_stays_small_and_never_loads_the_validation(board):
    address, process = board
    for path in ("", "_dash-layout", "theme.css"):
        assert urlopen(address + path).status == 200
    loaded = _mapped(process.pid)
    assert _resident_mb(process.pid) < 400
    assert "great_expectations" not in loaded and "pandas" not in loaded


def test_a_post_without_our_page_is_refused_by_the_real_server(board):
    foreign = Request(board[0] + "uploads", data=b"x", headers={"Origin": "http://evil.example"})
    with pytest.raises(OSError, match="403"):
        urlopen(foreign)


def test_the_board_stops_when_its_parent_dies_without_a_word(demo_folder):
    done = subprocess.run(
        [sys.executable, "-c", PARENT, str(demo_folder)], stdout=subprocess.PIPE, text=True, check=False
    )
    assert done.returncode == 9
    address = done.stdout.strip()
    end = time.monotonic() + 20
    while time.monotonic() < end:
        try:
            fetch_once(address)
        except MachineError:
            return
        time.sleep(0.1)
    pytest.fail("the board still answers")


def _resident_mb(pid):
    with open(f"/proc/{pid}/status") as status:
        return next(int(line.split()[1]) for line in status if line.startswith("VmRSS")) / 1024


def _mapped(pid):
    with open(f"/proc/{pid}/maps") as maps:
        return maps.read()

"""The worker: tasks one after the other, every failure a sentence, nobody left waiting."""

import queue
import time
from contextlib import nullcontext

import pytest

from dashboard.worker import STOPPED, WorkerDesk, work
from qc.errors import QcError
from qc.jobs import board
from qc.sayings import Saying, What


@pytest.fixture
def tasks(monkeypatch):
    monkeypatch.setattr(board, "warm", lambda: None)
    monkeypatch.setattr(board, "opened", lambda folder, as_of: nullcontext())
    return queue.Queue()


def run(tasks, *given):
    answers = queue.Queue()
    for task in given:
        tasks.put(task)
    tasks.put(None)
    work("/nowhere", None, tasks, answers)
    found = {}
    while not answers.empty():
        ticket, change = answers.get()
        found.setdefault(ticket, []).append(change)
    return found


def test_sheets_are_taken_and_their_progress_is_told(tasks, monkeypatch):
    def take(workshop, files, who, tell):
        tell(1, 2, "Reading sheet")
        return {"sheets": [], "files": len(files), "who": who}

    monkeypatch.setattr(board, "take_sheets", take)
    said = run(tasks, ("t", "upload", [("a", b""), ("b", b"")], "IS"))["t"]
    assert [s.get("state") for s in said] == ["working", None, "done"]
    assert said[1] == {"done": 1, "of": 2, "message": "Reading sheet 1 of 2 …"}
    assert said[2]["receipt"] == {"sheets": [], "files": 2, "who": "IS"}


def test_a_mend_goes_to_its_own_job(tasks, monkeypatch):
    monkeypatch.setattr(board, "decide_held", lambda workshop, *what: dict(zip("rdcw", what, strict=True)))
    given = (["7", "8"], "drop", {}), "IS"
    assert run(tasks, ("m", "held", *given))["m"][-1]["receipt"] == {
        "r": ["7", "8"],
        "d": "drop",
        "c": {},
        "w": "IS",
    }


def test_decisions_and_studies_go_to_their_own_jobs(tasks, monkeypatch):
    monkeypatch.setattr(board, "decide_series", lambda workshop, *what: {"decided": what})
    monkeypatch.setattr(board, "study_file", lambda *what: {"studied": what})
    frozen = Saying(What.FREEZE, "IS", "new die")
    decided = ("d", "series", ("a/b/all", frozen), "IS")
    studied = ("g", "study", (("x.csv", b"1"), {"value": "bore"}), "")
    found = run(tasks, decided, studied)
    assert found["d"][-1]["receipt"] == {"decided": ("a/b/all", frozen)}
    assert found["g"][-1]["receipt"] == {"studied": (("x.csv", b"1"), {"value": "bore"})}


def test_what_is_said_of_a_signal_goes_to_its_own_job(tasks, monkeypatch):
    monkeypatch.setattr(board, "say_signal", lambda workshop, *what: {"said": what})
    taken = Saying(What.IN_HAND, "IS")
    task = ("s", "signal", ("ab12", taken), "IS")
    assert run(tasks, task)["s"][-1]["receipt"] == {"said": ("ab12", taken)}


def test_a_fault_of_the_data_is_its_own_sentence(tasks, monkeypatch):
    def refuse(*_):
        raise QcError("a.csv: the file is empty. Save it again.")

    monkeypatch.setattr(board, "take_sheets", refuse)
    last = run(tasks, ("t", "upload", [], ""))["t"][-1]
    assert last == {"state": "failed", "message": "a.csv: the file is empty. Save it again."}


def test_a_fault_of_the_program_does_not_stop_the_next_task(tasks, monkeypatch, caplog):
    def stumble(workshop, files, who, tell):
        if not files:
            raise ZeroDivisionError
        return {"sheets": []}

    monkeypatch.setattr(board, "take_sheets", stumble)
    found = run(tasks, ("a", "upload", [], ""), ("b", "upload", [("x", b"")], ""))
    assert found["a"][-1]["state"] == "failed" and "ZeroDivisionError" in found["a"][-1]["message"]
    assert "Traceback" not in found["a"][-1]["message"] and "Traceback" in caplog.text
    assert found["b"][-1]["state"] == "done"


def wait_for(desk, ticket, states, seconds=60):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = desk.progress(ticket)
        if found["state"] in states:
            return found
        time.sleep(0.05)
    raise AssertionError(f"still {found}")


def test_a_spawned_worker_answers_dies_and_is_started_again(tmp_path):
    desk = WorkerDesk(tmp_path)
    assert desk.progress("none") is None
    desk.close()  # nothing started, nothing to stop
    try:
        first = wait_for(desk, desk.submit([("a.csv", b"x")], "IS"), {"failed", "done"})
        assert first["state"] == "failed" and "There is no workshop" in first["message"]
        desk._process.kill()
        desk._process.join()
        with desk._lock:
            desk._tickets["lost"] = {"state": "working", "done": 0, "of": 1, "message": "", "receipt": None}
        assert desk.progress("lost")["message"] == STOPPED
        again = wait_for(desk, desk.decide(["1"], "drop", {}, "IS"), {"failed", "done"})
        assert "There is no workshop" in again["message"]
        process = desk._process
    finally:
        desk.close()
    assert not process.is_alive()


def test_old_tickets_are_forgotten(tmp_path, monkeypatch):
    desk = WorkerDesk(tmp_path)
    monkeypatch.setattr(desk, "_start", lambda: None)
    desk._tasks = queue.Queue()
    first = desk.submit([], "")
    for _ in range(200):
        desk.submit([], "")
    assert desk.progress(first) is None

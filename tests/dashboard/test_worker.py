"""The worker: tasks one after the other, every failure a sentence, and true about what was stored."""

import multiprocessing
from contextlib import nullcontext
from types import SimpleNamespace

import pytest

from dashboard.worker import LEAVE_OFF, LEFT_OFF, work
from qc.errors import QcError
from qc.jobs import board
from qc.sayings import Saying, What


@pytest.fixture
def run(monkeypatch):
    """Give tasks to a worker of this process; returns what it answered, task by task."""
    store = SimpleNamespace(pulse=lambda: (7, 0))
    monkeypatch.setattr(board, "warm", lambda: None)
    monkeypatch.setattr(board, "warm_for_large_sheets", lambda: pytest.fail("a card had to wait for it"))
    monkeypatch.setattr(board, "opened", lambda folder, as_of: nullcontext(SimpleNamespace(store=store)))
    monkeypatch.setattr(board, "what_became", lambda *task: f"Asked of {task[2]} since {task[5]}.")

    def work_off(*given):
        ours, theirs = multiprocessing.Pipe()
        for task in (*given, None):
            ours.send(task)
        work("/nowhere", None, theirs)
        found = [[]]
        while ours.poll():
            found[-1].append(ours.recv())
            if found[-1][-1].get("state") in {"done", "failed"}:
                found.append([])
        return found[:-1]

    return work_off


def test_sheets_are_taken_and_their_progress_is_told(run, monkeypatch):
    def take(workshop, files, who, tell):
        tell(1, 2, "Reading sheet")
        return {"sheets": [], "files": len(files), "who": who}

    monkeypatch.setattr(board, "take_sheets", take)
    (said,) = run(("upload", [("a", "/a"), ("b", "/b")], "IS"))
    assert [s.get("state") for s in said] == ["working", None, None, "done"]
    assert said[1] == {"before": 7}
    assert said[2] == {"done": 1, "of": 2, "message": "Reading sheet 1 of 2 …"}
    assert said[3]["receipt"] == {"sheets": [], "files": 2, "who": "IS"}


def test_a_mend_goes_to_its_own_job(run, monkeypatch):
    def decide(workshop, *what):
        what[-1](5, 8, "Settling row")
        return dict(zip("rdcw", what[:-1], strict=True))

    monkeypatch.setattr(board, "decide_held", decide)
    (said,) = run(("held", (["7", "8"], "drop", {}), "IS"))
    assert {"done": 5, "of": 8, "message": "Settling row 5 of 8 …"} in said
    assert said[-1]["receipt"] == {"r": ["7", "8"], "d": "drop", "c": {}, "w": "IS"}


def test_decisions_and_studies_go_to_their_own_jobs(run, monkeypatch):
    monkeypatch.setattr(board, "decide_series", lambda workshop, *what: {"decided": what})
    monkeypatch.setattr(board, "study_file", lambda *what: {"studied": what})
    monkeypatch.setattr(board, "judge", lambda workshop, tell: {"judged": True})
    frozen = Saying(What.FREEZE, "IS", "new die")
    found = run(
        ("series", ("a/b/all", frozen), "IS"),
        ("study", (("x.csv", "/1"), {"value": "bore"}), ""),
        ("judge", None, ""),
    )
    assert [said[-1]["receipt"] for said in found] == [
        {"decided": ("a/b/all", frozen)},
        {"studied": (("x.csv", "/1"), {"value": "bore"})},
        {"judged": True},
    ]


def test_what_is_said_of_a_signal_goes_to_its_own_job(run, monkeypatch):
    monkeypatch.setattr(board, "say_signal", lambda workshop, *what: {"said": what})
    taken = Saying(What.IN_HAND, "IS")
    assert run(("signal", ("ab12", taken), "IS"))[0][-1]["receipt"] == {"said": ("ab12", taken)}


def test_a_fault_of_the_data_is_its_own_sentence(run, monkeypatch):
    def refuse(*_):
        raise QcError("a.csv: the file is empty. Save it again.")

    monkeypatch.setattr(board, "take_sheets", refuse)
    last = run(("upload", [], ""))[0][-1]
    assert last == {"state": "failed", "message": "a.csv: the file is empty. Save it again."}


def test_a_fault_of_the_program_says_what_is_stored_and_does_not_stop_the_next_task(run, monkeypatch, caplog):
    def stumble(workshop, files, who, tell):
        if not files:
            raise ZeroDivisionError
        return {"sheets": []}

    monkeypatch.setattr(board, "take_sheets", stumble)
    first, second = run(("upload", [], ""), ("upload", [("x", "/x")], ""))
    assert first[-1]["state"] == "failed"
    assert first[-1]["message"] == (
        "A fault of the program (ZeroDivisionError) stopped this. Asked of upload since 7."
    )
    assert "Traceback" in caplog.text
    assert second[-1]["state"] == "done"


def test_a_board_that_is_gone_has_nothing_begun_and_nothing_logged(run, monkeypatch, caplog):
    ours, theirs = multiprocessing.Pipe()
    taken = []
    monkeypatch.setattr(board, "take_sheets", lambda *what: taken.append(what))
    ours.send(("upload", [("x", "/x")], ""))
    ours.close()
    work("/nowhere", None, theirs)
    assert not taken and not caplog.records


def test_a_board_that_is_gone_ends_the_worker_after_the_task_in_hand(run, monkeypatch):
    ours, theirs = multiprocessing.Pipe()
    taken = []

    def take(workshop, files, who, tell):
        ours.close()
        tell(1, 1, "Reading sheet")
        taken.append(files)
        return {}

    monkeypatch.setattr(board, "take_sheets", take)
    ours.send(("upload", [("x", "/x")], ""))
    work("/nowhere", None, theirs)
    assert taken == [[("x", "/x")]]


def test_what_large_sheets_need_is_loaded_while_nobody_waits(run, monkeypatch):
    """Once, however long the quiet lasts; what is sent while it loads is taken next."""
    ours, theirs = multiprocessing.Pipe()
    loaded = []

    def load():
        loaded.append("validator")
        ours.send(("judge", None, ""))
        ours.send(None)

    monkeypatch.setattr("dashboard.worker.QUIET_S", 0.0)
    monkeypatch.setattr(board, "warm_for_large_sheets", load)
    monkeypatch.setattr(board, "judge", lambda workshop, tell: {"judged": len(loaded)})
    work("/nowhere", None, theirs)
    assert loaded == ["validator"]
    assert [ours.recv().get("receipt") for _ in range(3)] == [None, None, {"judged": 1}]


@pytest.fixture
def judging(run, monkeypatch):
    """Let judging hear what the board says between two series; gives the line and what was done."""
    ours, theirs = multiprocessing.Pipe()
    done = []

    def judge(workshop, tell):
        for series in range(3):
            tell(series, 3, "series judged:")
        done.append("judged")
        return {"sentence": "All that came in is judged."}

    def decide(workshop, rows, *_):
        done.append(rows)
        return {}

    monkeypatch.setattr(board, "judge", judge)
    monkeypatch.setattr(board, "decide_held", decide)
    monkeypatch.setattr(
        board, "check_next_row", lambda folder, as_of, row, waits: done.append(f"after {row}")
    )

    def work_off(*said):
        for one in said:
            ours.send(one)
        work("/nowhere", None, theirs)
        answers = []
        while ours.poll():
            answers.append(ours.recv())
        return done, [one for one in answers if one.get("state") == "done"]

    return work_off


def test_judging_makes_room_for_a_decision_and_says_so(judging):
    done, told = judging(("judge", None, ""), LEAVE_OFF, ("held", (["7"], "drop", {}), "IS"), None)
    assert done == [["7"]], "nothing was checked ahead, since the board had said more"
    assert told[0][LEAVE_OFF] and told[0]["receipt"]["sentence"] == LEFT_OFF


def test_what_comes_while_judging_and_is_no_such_word_waits_for_its_end(judging):
    done, told = judging(("judge", None, ""), ("held", (["7"], "drop", {}), "IS"), None)
    assert done == ["judged", ["7"]] and LEAVE_OFF not in told[0]


def test_a_word_that_comes_after_the_judging_is_passed_over(judging):
    done, _ = judging(LEAVE_OFF, ("held", (["7"], "drop", {}), "IS"), LEAVE_OFF, ("judge", None, ""), None)
    assert done == [["7"], "judged"]


def test_the_row_that_follows_is_checked_while_nobody_waits(run, monkeypatch, caplog):
    ours, theirs = multiprocessing.Pipe()
    asked = []
    monkeypatch.setattr(board, "decide_held", lambda *_: {})

    def check(folder, as_of, row, waits):
        asked.append((row, waits()))
        ours.send(None)
        assert waits()
        raise ZeroDivisionError

    monkeypatch.setattr(board, "check_next_row", check)
    ours.send(("held", (["7", "8"], "drop", {}), "IS"))
    work("/nowhere", None, theirs)
    assert asked == [("8", False)] and "not checked ahead" in caplog.text

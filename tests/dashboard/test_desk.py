"""The desk: what waits, who does it, and that every ticket ends, whatever becomes of the worker."""

import os
import signal
import stat
import threading
import time
import zipfile
from io import BytesIO
from types import SimpleNamespace

import pytest

from dashboard import desk as module
from dashboard.desk import WorkerDesk
from dashboard.spool import PLACE, Spool
from dashboard.worker import LEAVE_OFF
from qc.jobs.board import DeskFull
from qc.jobs.workshop import open_workshop
from sample_measurements import folder as sample_folder

SHEETS = sorted((sample_folder() / "sheets" / "lacquer").iterdir())[:7]


CARD = {
    "entry": "ab" * 16, "card": "lacquer-card", "left_out": [], "sure": [],
    "figures": {"0": "15.2", "1": "16.0"},
    "boxes": {"Serial": "QH-1218", "Model": "bass", "Date": "2026-11-24", "Person": "FN", "Gauge": "EC-1"},
}  # fmt: skip


@pytest.fixture
def workshop(tmp_path):
    (tmp_path / "plan.yaml").write_bytes((sample_folder() / "plan.yaml").read_bytes())
    return tmp_path


@pytest.fixture(scope="module")
def working(tmp_path_factory):
    """Return a desk and its workshop: a worker takes seconds to start, what one test left is replaced."""
    folder = tmp_path_factory.mktemp("desk")
    (folder / "plan.yaml").write_bytes((sample_folder() / "plan.yaml").read_bytes())
    made = WorkerDesk(folder)
    yield made, folder
    made.close()


@pytest.fixture
def desk(workshop):
    made = WorkerDesk(workshop)
    yield made
    made.close()


def sheet(number=0):
    return (SHEETS[number].name, BytesIO(SHEETS[number].read_bytes()))


def wait_for(desk, ticket, states=("failed", "done"), seconds=90):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = desk.progress(ticket)
        if found["state"] in states:
            return found
        time.sleep(0.02)
    raise AssertionError(f"still {found}")


def stored(workshop):
    opened = open_workshop(workshop)
    try:
        return {one.file for one in opened.store.sheets()}
    finally:
        opened.store.close()


def entered(workshop):
    return [name for name in stored(workshop) if name.endswith(", bench.csv")]


def files_of(workshop):
    return [path for path in (workshop / PLACE).rglob("*") if path.is_file() and path.suffix != ".lock"]


def test_a_worker_killed_with_a_sheet_in_hand_is_replaced_and_what_waits_goes_on(working):
    desk, workshop = working
    first = desk.submit([sheet(0)], "")
    second = desk.submit([sheet(1)], "")
    wait_for(desk, first, ("working", "done"))
    os.kill(desk._worker.process.pid, signal.SIGKILL)
    told = wait_for(desk, first)
    assert told["state"] == "failed" and "The board's worker stopped before this was done." in told["message"]
    if SHEETS[0].name in stored(workshop):
        assert f"{SHEETS[0].name} is stored" in told["message"]
    else:
        assert "Nothing of it was stored. Send it again." in told["message"]
    assert wait_for(desk, second)["state"] == "done"
    assert SHEETS[1].name in stored(workshop)
    assert files_of(workshop) == []


def test_between_two_good_sheets_in_the_queue_a_broken_one_of_somebody_else_costs_only_itself(working):
    """A workbook that breaks its reader is refused on its own ticket; the worker is the same."""
    desk, workshop = working
    cells = b'<worksheet><sheetData><row r="4294967295"><c><v>1</v></c></row></sheetData></worksheet>'
    out = BytesIO()
    with zipfile.ZipFile(SHEETS[0]) as good, zipfile.ZipFile(out, "w") as bad:
        for name in good.namelist():
            bad.writestr(name, cells if name.startswith("xl/worksheets/") else good.read(name))
    first = desk.submit([sheet(4)], "JU")
    broken = desk.submit([("broken.xlsx", BytesIO(out.getvalue()))], "FN")
    last = desk.submit([sheet(5)], "JU")
    told = [wait_for(desk, ticket) for ticket in (first, broken, last)]
    assert [one["receipt"]["sheets"][0]["file"] for one in (told[0], told[2])] == [
        SHEETS[4].name,
        SHEETS[5].name,
    ]
    said = (told[1]["receipt"] or {}).get("refused") or [told[1]["message"]]
    assert "broken.xlsx" in said[0] and "broken.xlsx" not in stored(workshop)
    assert files_of(workshop) == []


def test_a_worker_killed_after_the_rows_are_in_says_so_and_they_are_judged(working):
    desk, workshop = working
    with desk._changed:
        ticket = desk.submit([sheet(2)], "")
        task = desk._waiting[-1]
    assert wait_for(desk, ticket)["state"] == "done"
    # the same sheet as if its worker had died between storing and judging
    path = workshop / "again.csv"
    path.write_bytes(SHEETS[2].read_bytes())
    opened = open_workshop(workshop)
    opened.store.set_state("judged up to", [0, 0])
    opened.store.close()
    task.what, task.before = [(SHEETS[2].name, path)], 0
    desk._settle(task, "")
    told = desk.progress(ticket)["message"]
    assert told == (
        "The board's worker stopped before this was done. "
        f"{SHEETS[2].name} is stored, not yet judged; the board judges it as soon as it can."
    )
    last = next(reversed(desk._tickets))
    assert wait_for(desk, last)["receipt"]["sentence"] == "All that came in is judged."


def test_settled_rows_are_judged_once_when_no_further_decision_comes(desk, workshop, monkeypatch):
    monkeypatch.setattr(module, "QUIET_S", 1.5)
    asked = []
    usual = desk.judge
    monkeypatch.setattr(desk, "judge", lambda: (usual(), asked.append(time.monotonic())))
    (path,) = (sample_folder() / "sheets").rglob("bell-map_2025-07.csv")
    assert wait_for(desk, desk.submit([(path.name, BytesIO(path.read_bytes()))], "IS"))["state"] == "done"
    opened = open_workshop(workshop)
    rows = [row.id for row in opened.store.held()]
    opened.store.close()
    assert len(rows) > 2
    for row in rows[:3]:
        done = wait_for(desk, desk.decide([str(row)], "drop", {}, "IS"))
        assert done["receipt"]["mended"][0]["state"] == "dropped"
        assert not asked  # whoever works down the list does not wait for it
    last = time.monotonic()
    while not asked and time.monotonic() < last + 30:
        time.sleep(0.02)
    assert asked[0] >= last + 1
    assert (
        wait_for(desk, next(reversed(desk._tickets)))["receipt"]["sentence"] == "All that came in is judged."
    )
    time.sleep(2)
    assert len(asked) == 1


def test_a_worker_that_dies_idle_is_replaced_when_it_is_needed(working):
    desk, _ = working
    assert wait_for(desk, desk.submit([sheet(3)], ""))["state"] == "done"
    old = desk._worker.process
    os.kill(old.pid, signal.SIGKILL)
    old.join()
    assert wait_for(desk, desk.submit([sheet(4)], ""))["state"] == "done"
    assert desk._worker.process is not old


def test_a_worker_that_falls_silent_is_ended(working, monkeypatch):
    desk, workshop = working
    assert wait_for(desk, desk.submit([sheet(5)], ""))["state"] == "done"
    monkeypatch.setattr(module, "SILENCE_S", 0.5)
    os.kill(desk._worker.process.pid, signal.SIGSTOP)
    told = wait_for(desk, desk.submit([sheet(6)], ""))
    assert told["state"] == "failed" and "Nothing of it was stored" in told["message"]
    assert SHEETS[6].name not in stored(workshop)


def test_a_worker_that_cannot_start_is_told_to_everyone_who_waits(desk, monkeypatch):
    def broken(self):
        raise OSError("no process")

    monkeypatch.setattr(WorkerDesk, "_at_work", broken)
    tickets = [desk.decide(["1"], "drop", {}, "IS") for _ in range(3)]
    for ticket in tickets:
        assert wait_for(desk, ticket)["message"] == module.NO_WORKER


def test_no_ticket_is_forgotten_while_it_waits(workshop, monkeypatch):
    desk = WorkerDesk(workshop)
    monkeypatch.setattr(desk, "_start", lambda: None)
    monkeypatch.setattr(module, "MOST_EACH", 500)
    monkeypatch.setattr(module, "MOST_WAITING", 500)
    tickets = [desk.decide(["1"], "drop", {}, "IS") for _ in range(300)]
    assert all(desk.progress(ticket)["state"] == "waiting" for ticket in tickets)
    assert desk.progress(tickets[5])["message"] == "Waiting; 5 before it …"
    desk.close()
    assert [desk.progress(ticket) for ticket in tickets].count(None) == 100
    assert desk.progress(tickets[-1])["message"] == module.NEVER_BEGUN


def test_the_queue_is_bounded_for_each_person_and_in_all(workshop, monkeypatch):
    desk = WorkerDesk(workshop)
    monkeypatch.setattr(desk, "_start", lambda: None)
    for _ in range(module.MOST_EACH):
        desk.decide(["1"], "drop", {}, "IS")
    with pytest.raises(DeskFull, match="50 tasks of IS wait already. Nothing was stored") as caught:
        desk.submit([sheet()], "IS")
    assert caught.value.status == 429 and files_of(workshop) == []
    for number in range(module.MOST_WAITING - module.MOST_EACH):
        desk.decide(["1"], "drop", {}, f"P{number % 10}")
    with pytest.raises(DeskFull, match="200 tasks wait for the board already") as caught:
        desk.decide(["1"], "drop", {}, "NN")
    assert caught.value.status == 503


def test_a_bench_waits_in_its_persons_name_and_once_for_each_card(workshop, monkeypatch):
    desk = WorkerDesk(workshop)
    monkeypatch.setattr(desk, "_start", lambda: None)
    first = desk.enter(CARD, "FN")
    assert desk.enter(CARD, "FN") == first, "the same entry sent again is the same card"
    for number in range(module.MOST_EACH - 1):
        desk.enter({**CARD, "entry": f"{number:032x}"}, "FN")
    for ask in (
        lambda who: desk.enter({**CARD, "entry": "ff" * 16}, who),
        lambda who: desk.hear(("a.wav", BytesIO(b"RIFF")), "TQ-0442", who),
        lambda who: desk.study_gauge(("a.csv", BytesIO(b"a,b")), {}, who),
        lambda who: desk.write_month("2026-05", who),
    ):
        with pytest.raises(DeskFull, match="50 tasks of FN wait already"):
            ask("FN")
        assert desk.progress(ask("IS"))["state"] == "waiting", "one person keeps nobody else away"
    desk.close()


def test_a_full_desk_refuses_no_page_for_what_is_to_be_judged(workshop, monkeypatch):
    desk = WorkerDesk(workshop)
    monkeypatch.setattr(desk, "_start", lambda: None)
    for number in range(module.MOST_WAITING):
        desk.decide(["1"], "drop", {}, f"P{number % 10}")
    desk.judge()
    assert len(desk._waiting) == module.MOST_WAITING
    desk.close()


def test_a_worker_killed_with_a_card_of_the_bench_in_hand_says_what_became_of_it(working):
    desk, workshop = working
    ticket = desk.enter(CARD, "FN")
    wait_for(desk, ticket, ("working", "done"))
    killed = desk._worker.process
    os.kill(killed.pid, signal.SIGKILL)
    told = wait_for(desk, ticket)
    killed.join(10)  # else the next card may go to one whom the blow has yet to reach
    if told["state"] == "failed":
        stored, kept = (
            "It is stored, ",
            "Nothing of it was stored. What was typed is kept on the tablet: hand it in",
        )
        said = stored if entered(workshop) else kept
        assert told["message"].startswith(f"The board's worker stopped before this was done. {said}")
    assert wait_for(desk, desk.enter(CARD, "FN"))["receipt"]["entry"] == CARD["entry"]
    assert len(entered(workshop)) == 1


def test_waiting_files_are_bounded(workshop, monkeypatch):
    desk = WorkerDesk(workshop)
    monkeypatch.setattr(desk, "_start", lambda: None)
    monkeypatch.setattr(module, "MOST_BYTES", 100)
    desk.submit([("a.csv", BytesIO(b"x" * 101))], "IS")
    with pytest.raises(DeskFull, match="MB of sheets wait"):
        desk.submit([("b.csv", BytesIO(b"x"))], "IS")
    desk.close()
    assert not (workshop / PLACE).exists()


def test_files_lie_in_the_workshop_for_their_owner_only(workshop):
    spool = Spool(workshop)
    folder, kept = spool.keep([("../../etc/passwd", BytesIO(b"a")), ("b", BytesIO(b"b"))])
    assert [name for name, _ in kept] == ["../../etc/passwd", "b"]
    assert [path.read_bytes() for _, path in kept] == [b"a", b"b"]
    for place in (workshop / PLACE, folder.parent, folder):
        assert stat.S_IMODE(place.stat().st_mode) == 0o700
        assert workshop in place.parents
    spool.close()
    assert not (workshop / PLACE).exists()


def test_a_board_sweeps_what_one_that_is_gone_left_and_leaves_one_that_runs(workshop):
    runs = Spool(workshop)
    folder, _ = runs.keep([("a", BytesIO(b"a"))])
    gone = workshop / PLACE / "gone"
    gone.mkdir()
    (gone / "0").write_bytes(b"x")
    (workshop / PLACE / "gone.lock").touch()
    sweeps = Spool(workshop)
    sweeps.open()
    assert not gone.exists() and not (workshop / PLACE / "gone.lock").exists()
    assert folder.exists()
    sweeps.close()
    runs.close()


def test_a_disk_that_takes_nothing_more_is_told_and_nothing_is_left(workshop):
    class Broken:
        def read(self, size):
            raise OSError(28, "No space left on device")

    spool = Spool(workshop)
    with pytest.raises(DeskFull, match="No space left on device.*Nothing was stored") as caught:
        spool.keep([("a", Broken())])
    assert caught.value.status == 507 and files_of(workshop) == []
    spool.close()


class SlowLine:
    """A worker's end of the line that judges until it is told to leave off."""

    def __init__(self):
        self.sent, self.said = [], threading.Event()

    def send(self, message):
        self.sent.append(message)
        self.said.set()

    def poll(self, seconds=0):
        return True

    def recv(self):
        kind = self.sent[-1] if isinstance(self.sent[-1], str) else self.sent[-1][0]
        if kind == "judge":
            self.said.clear()
            self.said.wait(20)
            if self.sent[-1] == LEAVE_OFF:
                return {"state": "done", "receipt": {"sentence": "left off"}, LEAVE_OFF: True}
        return {"state": "done", "receipt": {"sentence": "done"}}


@pytest.fixture
def slow(workshop, monkeypatch):
    made, line = WorkerDesk(workshop), SlowLine()
    worker = SimpleNamespace(line=line, process=SimpleNamespace(join=lambda *_: None, is_alive=lambda: False))

    def at_work():
        made._worker = worker
        return worker

    monkeypatch.setattr(made, "_at_work", at_work)
    yield made, line
    made.close()


def judged(desk, line):
    """Have it judge, and wait until that is under way."""
    before = len(line.sent)
    desk.judge()
    end = time.monotonic() + 20
    while len(line.sent) == before and time.monotonic() < end:
        time.sleep(0.005)


def test_judging_is_left_off_for_a_decision_and_follows_it(slow):
    desk, line = slow
    judged(desk, line)
    ticket = desk.decide(["7"], "drop", {}, "IS")
    assert desk.ended(ticket, 20) and desk.progress(ticket)["state"] == "done"
    assert line.sent == [("judge", None, ""), LEAVE_OFF, ("held", (["7"], "drop", {}), "IS")]
    assert desk._judge_at is not None


def test_however_busy_the_list_judging_comes_to_its_end(slow):
    desk, line = slow
    for number in range(module.MOST_LEFT_OFF):
        judged(desk, line)
        assert desk.ended(desk.decide([str(number)], "drop", {}, "IS"), 20)
    assert line.sent.count(LEAVE_OFF) == module.MOST_LEFT_OFF
    judged(desk, line)
    last = desk.decide(["9"], "drop", {}, "IS")
    assert line.sent.count(LEAVE_OFF) == module.MOST_LEFT_OFF and not desk.ended(last, 0.05)
    line.said.set()  # it has judged
    assert desk.ended(last, 20) and desk._left_off == 0


def test_an_unknown_ticket_is_not_waited_for(desk):
    assert desk.ended("never given", 0.0)

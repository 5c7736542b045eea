"""Rows are durable before they are judged: whatever comes between, the next command judges what waits."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import textwrap
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime

import pytest

from qc.errors import MachineError
from qc.jobs.judging import catch_up, catching_up, not_judged_since, verdicts
from qc.jobs.pieces import hold_list
from qc.jobs.questions import worth_of_readings
from qc.jobs.rows import Decision, mend_rows
from qc.jobs.signals import find_signal, list_signals
from qc.jobs.status import status
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from qc.store import JudgedUpTo
from sample_measurements import folder as sample_folder

SHEETS = sorted((sample_folder() / "sheets").rglob("slide-force*.csv"))
MARK = catching_up.MARK


@pytest.fixture
def folder(tmp_path):
    return bare(tmp_path / "shop")


def bare(made):
    """Make a workshop that has its plan and nothing else."""
    made.mkdir()
    (made / "plan.yaml").write_bytes((sample_folder() / "plan.yaml").read_bytes())
    return made


@pytest.fixture
def opened():
    """Open a workshop as often as asked; all of them are closed at the end."""
    found = []

    def open_one(folder):
        found.append(open_workshop(folder))
        return found[-1]

    yield open_one
    for workshop in found:
        workshop.store.close()


def files():
    return [(path.name, path.read_bytes()) for path in SHEETS]


def answer(workshop):
    """What is told, without the moments."""
    return status(workshop).to_dict(), [s.id for s in list_signals(workshop, all_states=True).signals]


@contextmanager
def locked(folder):
    """Hold the writer's lock as another program would."""
    other = sqlite3.connect(folder / "qc.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        yield
    finally:
        other.execute("ROLLBACK")
        other.close()


@pytest.fixture(scope="module")
def made_killed(tmp_path_factory):
    """Upload in a process of its own that is killed when the rows are stored and judging begins."""
    folder = bare(tmp_path_factory.mktemp("made") / "killed")
    code = f"""
    import os, signal
    from pathlib import Path
    from qc.jobs import upload as job
    from qc.jobs.workshop import open_workshop
    job.catch_up = lambda workshop: os.kill(os.getpid(), signal.SIGKILL)
    paths = [Path(p) for p in {[str(p) for p in SHEETS]!r}]
    job.upload(open_workshop(Path({str(folder)!r})), job.read_files(paths), who="IS")
    """
    done = subprocess.run([sys.executable, "-c", textwrap.dedent(code)], env={**os.environ}, check=False)
    assert done.returncode == -signal.SIGKILL
    return folder


@pytest.fixture
def killed(made_killed, tmp_path):
    """Return a copy of the workshop whose upload was killed before judging, as the kill left it."""
    return shutil.copytree(made_killed, tmp_path / "killed")


@pytest.fixture(scope="module")
def made_unkilled(tmp_path_factory):
    folder = bare(tmp_path_factory.mktemp("made") / "unkilled")
    workshop = open_workshop(folder)
    receipt = upload(workshop, files(), who="IS")
    workshop.store.close()
    return folder, receipt


@pytest.fixture
def unkilled(made_unkilled, tmp_path, opened):
    """Return a copy of the workshop where nobody was killed, opened, and the receipt of its upload."""
    folder, receipt = made_unkilled
    return opened(shutil.copytree(folder, tmp_path / "unkilled")), receipt


def test_killed_before_judging_status_says_what_an_unkilled_run_says(killed, opened, unkilled):
    workshop = opened(killed)
    assert not_judged_since(workshop) is not None
    assert answer(workshop) == answer(unkilled[0])
    assert not_judged_since(workshop) is None


def test_known_sheets_still_tell_the_signals_that_were_never_told(killed, opened, unkilled):
    again = upload(opened(killed), files(), who="IS")
    assert sum(sheet.count.accepted for sheet in again.sheets) == 0
    told = {signal["id"] for signal in again.to_dict()["signals"]}
    assert told == {signal["id"] for signal in unkilled[1].raised} and told
    assert again.late == told
    assert "From sheets handed in before, judged now:" in again.to_text()


@pytest.mark.file
def test_before_a_lock_readers_answer_with_what_was_judged_and_say_since_when(killed, opened, monkeypatch):
    monkeypatch.setattr(catching_up, "READERS_PATIENCE_S", 0.1)
    workshop = opened(killed)
    with locked(killed):
        found = status(workshop)
        told = list_signals(workshop).to_text()
    assert datetime.fromisoformat(found.to_dict()["not_judged_since"]).tzinfo is not None
    assert "Not judged since " in found.to_text() and "Not judged since " in told
    assert status(workshop).to_dict()["not_judged_since"] is None


@pytest.mark.file
def test_before_a_lock_every_list_says_since_when_to_people_and_programs(unkilled, monkeypatch):
    monkeypatch.setattr(catching_up, "READERS_PATIENCE_S", 0.1)
    workshop = unkilled[0]
    workshop.store.set_state(MARK, [0, 0])  # as an earlier program, or a kill, leaves it
    with locked(workshop.folder):
        known = list_signals(workshop)
        lists = [known.to_dict(), hold_list(workshop).to_dict()]
        one = find_signal(workshop, known.signals[0].id)
        worth = worth_of_readings(workshop, stage="slide", characteristic="force").to_text()
    (since,) = {found["not_judged_since"] for found in lists}
    assert datetime.fromisoformat(since).tzinfo is not None
    assert one.to_text().startswith("Not judged since ") and "not_judged" in one.to_dict()
    assert "Not judged since " in worth
    assert "not_judged_since" not in list_signals(workshop).to_dict()
    assert "not_judged_since" not in hold_list(workshop).to_dict()
    assert "not_judged" not in find_signal(workshop, known.signals[0].id).to_dict()


def test_a_lock_before_the_rows_stores_nothing_and_says_so(folder, opened):
    workshop = opened(folder)
    with (
        locked(folder),
        workshop.store.impatient(0.1),
        pytest.raises(MachineError, match="Nothing was stored") as told,
    ):
        upload(workshop, files()[:1], who="IS")
    assert told.value.exit_code == 3 and workshop.store.sheets() == []


@pytest.mark.file
def test_a_lock_after_the_rows_says_that_they_are_stored(folder, opened, monkeypatch):
    workshop = opened(folder)
    judge = verdicts.judge_now

    def late(*args, **more):
        with locked(folder), workshop.store.impatient(0.1):
            found = judge(*args, **more)
            workshop.store.set_state("any", 1)
        return found

    monkeypatch.setattr(verdicts, "judge_now", late)
    with pytest.raises(MachineError, match="1 sheet stored .* not yet judged: the next command"):
        upload(workshop, files()[:1], who="IS")
    monkeypatch.undo()
    assert len(workshop.store.sheets()) == 1 and not_judged_since(workshop) is not None
    assert catch_up(workshop) and not_judged_since(workshop) is None


def test_a_fault_of_the_program_while_judging_carries_what_was_stored(folder, opened, monkeypatch):
    workshop = opened(folder)
    monkeypatch.setattr(verdicts, "judge_now", lambda *_, **__: 1 / 0)
    with pytest.raises(ZeroDivisionError) as fault:
        upload(workshop, files()[:1], who="IS")
    assert "1 sheet stored" in fault.value.__notes__[0]


def test_a_changed_plan_is_judged_by_whoever_asks_first(opened, unkilled):
    workshop = unkilled[0]
    plan = workshop.folder / "plan.yaml"
    before = workshop.store.pulse()
    assert status(workshop).to_dict()["not_judged_since"] is None and workshop.store.pulse() == before
    plan.write_text(f"{plan.read_text('utf-8')}\n# looked over\n", "utf-8")
    again = opened(workshop.folder)
    assert not_judged_since(again) is not None
    status(again)
    assert not_judged_since(again) is None and again.store.pulse()[1] == before[1] + 1
    assert JudgedUpTo.of(again.store.state(MARK)).plan == 2


def test_a_mark_of_an_older_program_has_everything_judged_once(unkilled):
    workshop = unkilled[0]
    mark = JudgedUpTo.of(workshop.store.state(MARK))
    before = answer(workshop)
    workshop.store.set_state(MARK, [mark.readings, mark.events])
    assert not_judged_since(workshop) is not None
    assert answer(workshop) == before
    # judging told its verdicts, which is an entry; nothing else moved
    assert replace(JudgedUpTo.of(workshop.store.state(MARK)), entry=mark.entry) == mark
    assert catch_up(workshop) == []


def test_who_judged_meanwhile_is_not_overwritten(folder, opened, monkeypatch):
    first, second = opened(folder), opened(folder)
    monkeypatch.setattr("qc.jobs.upload.catch_up", lambda _: [])
    upload(first, files()[:2], who="IS")
    monkeypatch.undo()
    judge, times = verdicts.judge_now, []

    def slow(workshop, *args, **more):
        times.append(workshop)
        found = judge(workshop, *args, **more)
        if len(times) == 1:
            assert catch_up(second)
        return found

    monkeypatch.setattr(verdicts, "judge_now", slow)
    assert catch_up(first) == []
    assert len(times) == 2 and first.store.pulse()[1] == 1


def test_a_range_is_settled_in_one_transaction(shop, monkeypatch):
    rows = [row.id for row in shop.store.held()][:3]
    entries = len(shop.store.entries())

    def dying(*_):
        raise KeyboardInterrupt  # the rows are written, their entries are not

    monkeypatch.setattr("qc.store.corrected.settled.append_entries", dying)
    with pytest.raises(KeyboardInterrupt):
        mend_rows(shop, rows, Decision.DROP, who="BK")
    monkeypatch.undo()
    assert len(shop.store.entries()) == entries
    assert [row.state for row in mend_rows(shop, rows, Decision.DROP, who="BK").rows] == ["dropped"] * 3

"""A backup is whole or it is none, whatever is written meanwhile; what is brought back is what was copied."""

import fcntl
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tarfile
import threading
import time
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from qc.errors import QcError, UsageError
from qc.jobs.backup import MANIFEST, backup, backup_note, restore
from qc.jobs.errors import JobError
from qc.jobs.verify import verify_workshop
from qc.jobs.workshop import ADDRESS, DATABASE_VARIABLE, OLDER_VARIABLE, open_workshop, rows_address
from qc.store import NewSheet, StoreError, copy_database, open_store, sheet_hash

pytestmark = pytest.mark.file  # what is about a server here asks for it by itself
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def small(tmp_path):
    """A new workshop with a few sheets."""
    workshop = open_workshop(tmp_path / "shop", create=True)
    for number in range(3):
        add(workshop.store, number)
    yield workshop
    workshop.store.close()


def add(store, number, rows=20):
    data = f"sheet {number}".encode()
    frame = pl.DataFrame(
        {
            "serial": [f"TB-{number}-{i}" for i in range(rows)],
            "day": [date(2026, 5, 14)] * rows,
            "stage": ["slide"] * rows,
            "characteristic": ["inner_od"] * rows,
            "value": [float(i) for i in range(rows)],
        }
    )
    sheet = NewSheet(f"{number}.csv", sheet_hash(data), data, "card", frame)
    store.add_sheets([sheet], who="AB", when=datetime(2026, 5, 14, tzinfo=UTC))


def names(folder):
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())


def test_a_workshop_with_a_closed_month_is_copied_whole_and_brought_back(small, tmp_path):
    report = small.folder / "reports" / "2026-05" / "month-2026-05.pdf"
    report.parent.mkdir(parents=True)
    report.write_bytes(b"May")
    small.store.close_month("2026-05", {report.name: sheet_hash(b"May")}, who="QL", when=small.now)
    made = backup(small, tmp_path / "copies")
    assert made.faults == () and "faults" not in made.folder.name
    again = tmp_path / "again"
    assert restore(made.folder, again).head == made.head
    assert (again / "reports" / "2026-05" / report.name).read_bytes() == b"May"
    report.write_bytes(b"June")
    assert "was altered since QL closed the month" in backup(small, tmp_path / "copies").faults[0]


def test_what_is_brought_back_is_what_was_copied(small, tmp_path):
    made = backup(small, tmp_path / "disk")
    assert (made.faults, made.sheets, made.entries) == ((), 3, 4)
    assert made.folder.parent == tmp_path / "disk" and made.folder.name.startswith("backup-2")
    assert made.head == small.store.head()
    back = restore(made.folder, tmp_path / "again")
    assert (back.entries, back.head) == (4, made.head)
    with open_workshop(tmp_path / "again").store as store:
        assert store.readings().equals(small.store.readings())
        assert store.verify() == []
    assert (tmp_path / "again" / "plan.yaml").read_bytes() == (small.folder / "plan.yaml").read_bytes()
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


def test_nothing_lies_beside_the_copy_but_what_it_holds(small, tmp_path):
    (small.folder / "reports").mkdir(exist_ok=True)
    (small.folder / "reports" / "month.html").write_text("x")
    made = backup(small, tmp_path / "disk")
    sheets = sorted(f"sheets/{one.sheet}" for one in small.store.sheets())
    assert names(made.folder) == sorted([MANIFEST, "plan.yaml", "qc.db", "reports/month.html", *sheets])
    assert list((tmp_path / "disk").iterdir()) == [made.folder]


def test_a_second_backup_takes_room_for_what_is_new_only(small, tmp_path):
    first = backup(small, tmp_path / "disk")
    add(small.store, 9)
    second = backup(replace(small, now=small.now + timedelta(days=1)), tmp_path / "disk")
    assert (first.sheets, second.sheets) == (3, 4)
    links = sorted(p.stat().st_nlink for p in (second.folder / "sheets").iterdir() if p.is_file())
    assert links == [1, 2, 2, 2]
    assert verify_workshop(first.folder).faults == verify_workshop(second.folder).faults == ()


def test_a_sheet_spoiled_in_the_backup_before_is_copied_anew(small, tmp_path):
    first = backup(small, tmp_path / "disk")
    next(p for p in (first.folder / "sheets").iterdir() if p.is_file()).write_bytes(b"spoiled")
    second = backup(replace(small, now=small.now + timedelta(days=1)), tmp_path / "disk")
    assert second.faults == () and verify_workshop(second.folder).faults == ()


def test_a_backup_while_others_write_is_one_moment_of_the_store(small, tmp_path):
    stop, wrote = threading.Event(), []

    def write():
        with open_store(small.folder) as store:
            for number in range(100, 1000):
                if stop.is_set():
                    return
                add(store, number)
                wrote.append(number)
                stop.wait(
                    0.03
                )  # a sheet for every part of a backup, not so many that copying them is the test

    writer = threading.Thread(target=write)
    writer.start()
    try:
        while len(wrote) < 3:
            time.sleep(0.01)
        made = [
            backup(replace(small, now=small.now + timedelta(days=n)), tmp_path / "disk") for n in range(4)
        ]
    finally:
        stop.set()
        writer.join()
    assert [one.faults for one in made] == [()] * 4
    assert made[-1].sheets > made[0].sheets > 3
    hashes = small.store.hashes()
    assert all(hashes[one.entries - 1] == one.head for one in made)
    assert small.store.verify() == []


KILLED = """
import sys
from pathlib import Path
import qc.jobs.backup as job
from qc.jobs.workshop import ADDRESS, DATABASE_VARIABLE, OLDER_VARIABLE, open_workshop, rows_address
real, left = job.copy_file, [int(sys.argv[3])]
def slow(*given):
    left[0] -= 1
    if left[0] == 0:
        print("here", flush=True)
        sys.stdin.readline()
    return real(*given)
job.copy_file = slow
job.backup(open_workshop(Path(sys.argv[1])), Path(sys.argv[2]))
"""


@pytest.mark.parametrize("at", [1, 3, 4])
def test_a_killed_backup_never_looks_whole(small, tmp_path, at):
    words = [sys.executable, "-c", KILLED, str(small.folder), str(tmp_path / "disk"), str(at)]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    job = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=env)
    assert job.stdout.readline() == "here\n"
    os.kill(job.pid, signal.SIGKILL)
    job.communicate()
    (left,) = (tmp_path / "disk").iterdir()
    assert left.name.startswith(".") and left.name.endswith(".half")
    with pytest.raises(JobError, match="half a backup|no backup"):
        restore(left, tmp_path / "again")
    assert not (tmp_path / "again").exists()
    aged(left)
    made = backup(small, tmp_path / "disk")
    assert made.faults == () and list((tmp_path / "disk").iterdir()) == [made.folder]


def aged(folder):
    """Let a folder look as if it was last touched two minutes ago."""
    os.utime(folder, (time.time() - 120,) * 2)


def test_only_what_a_killed_backup_left_is_swept(small, tmp_path):
    disk = tmp_path / "disk"
    mine = disk / ".notes-1.half", disk / ".backup-of-the-oven-7.half", disk / "backup-2026.half"
    fresh = disk / ".backup-2026-05-14-163015-77.half"
    held, gone = disk / ".backup-2026-05-13-163015-78.half", disk / ".backup-2026-05-12-163015-79.half"
    for folder in (*mine, fresh, held, gone):
        folder.mkdir(parents=True)
        (folder / "qc.db").touch()
    for folder in (*mine, held, gone):
        aged(folder)
    working = os.open(held, os.O_RDONLY)
    fcntl.flock(working, fcntl.LOCK_EX)
    made = backup(small, disk)
    os.close(working)
    assert set(disk.iterdir()) == {*mine, fresh, held, made.folder}
    backup(small, disk)
    assert not held.exists()


def test_a_workshop_that_is_not_sound_is_copied_under_a_name_that_says_so(small, tmp_path):
    next(p for p in (small.folder / "sheets").iterdir() if p.is_file()).write_bytes(b"other")
    made = backup(small, tmp_path / "disk")
    assert len(made.faults) == 1 and made.folder.name.endswith("-with-faults")
    assert small.store.state("last backup") is None
    with pytest.raises(JobError, match="not sound, nothing was brought back"):
        restore(made.folder, tmp_path / "again")
    assert not (tmp_path / "again").exists()


def cut_end(folder):
    conn = sqlite3.connect(folder / "qc.db")
    guards = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in guards:
        conn.execute(f"DROP TRIGGER {name}")
    (digest,) = conn.execute("SELECT hash FROM sheet ORDER BY id DESC LIMIT 1").fetchone()
    (last,) = conn.execute("SELECT max(id) FROM entry").fetchone()
    conn.execute(f"DELETE FROM reading WHERE entry = {last}")
    conn.execute("DELETE FROM origin WHERE id NOT IN (SELECT origin FROM reading)")
    conn.execute(f"DELETE FROM sheet WHERE entry = {last}")
    conn.execute(f"DELETE FROM entry WHERE id = {last}")
    for _, sql in guards:
        conn.execute(sql)
    conn.commit()
    conn.close()
    (folder / "sheets" / digest).unlink()


def test_an_end_cut_off_is_seen_by_the_hash_that_was_noted(small, tmp_path):
    noted = small.store.head()
    found = verify_workshop(small.folder, against=noted)
    assert found.faults == () and found.noted == found.entries
    assert f"The hash that was noted is that of entry {found.entries} of {found.entries}." in found.to_text()
    assert verify_workshop(small.folder, against=f"{noted[:6].upper()} {noted[6:14]}").faults == ()
    made = backup(small, tmp_path / "disk")
    for folder in (small.folder, made.folder):
        cut_end(folder)
    assert verify_workshop(small.folder).faults == ()
    (found,) = verify_workshop(small.folder, against=noted).faults
    assert found.startswith(f"No entry has the hash {noted}") and "`qc restore`" in found
    with pytest.raises(JobError, match="No entry has the hash"):
        restore(made.folder, tmp_path / "again")


@pytest.mark.parametrize("typed", ["", "abc", "g" * 64, "0" * 65])
def test_what_is_no_hash_is_wrong_usage(small, typed):
    with pytest.raises(QcError, match="is no hash of an entry") as caught:
        verify_workshop(small.folder, against=typed)
    assert caught.value.exit_code == 2


def test_a_place_that_is_not_empty_is_refused(small, tmp_path):
    made = backup(small, tmp_path / "disk")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("mine")
    with pytest.raises(JobError, match="is not empty"):
        restore(made.folder, tmp_path / "full")
    assert names(tmp_path / "full") == ["mine.txt"]
    (tmp_path / "empty").mkdir()
    assert restore(made.folder, tmp_path / "empty").entries == 4


def test_what_is_no_folder_takes_no_backup(small, tmp_path):
    (tmp_path / "file").write_text("mine")
    with pytest.raises(UsageError, match="file is no folder. Name one"):
        backup(small, tmp_path / "file")
    made = backup(small, tmp_path / "disk")
    with pytest.raises(JobError, match="file is not empty"):
        restore(made.folder, tmp_path / "file")
    assert (tmp_path / "file").read_text() == "mine"


def test_of_a_damaged_backup_the_one_that_was_given_is_named(small, tmp_path):
    made = backup(small, tmp_path / "disk")
    whole = (made.folder / "qc.db").read_bytes()
    (made.folder / "qc.db").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(JobError) as told:
        restore(made.folder, tmp_path / "new")
    said = str(told.value)
    assert str(made.folder) in said and said.endswith("Nothing was brought back. Name another backup.")
    assert ".half" not in said and "Put back the last backup" not in said
    assert not (tmp_path / "new").exists()


def test_a_place_that_another_restore_has_filled_is_not_called_a_full_disk(small, tmp_path, monkeypatch):
    made = backup(small, tmp_path / "disk")

    def filled(_):
        (tmp_path / "new").mkdir()
        (tmp_path / "new" / "theirs").write_text("theirs")

    monkeypatch.setattr("qc.jobs.backup.flush_tree", filled)
    with pytest.raises(JobError, match="is not empty"):
        restore(made.folder, tmp_path / "new")
    assert names(tmp_path / "new") == ["theirs"]


def test_what_is_no_backup_and_a_place_in_the_workshop_are_refused(small, tmp_path):
    with pytest.raises(JobError, match="is no backup"):
        restore(tmp_path, tmp_path / "new")
    for inside in (small.folder, small.folder / "copies"):
        with pytest.raises(JobError, match="lies in the workshop itself"):
            backup(small, inside)
    made = backup(small, tmp_path / "disk")
    (made.folder / MANIFEST).write_text("{")
    with pytest.raises(JobError, match="cannot be read"):
        restore(made.folder, tmp_path / "new")


def test_a_database_that_vanished_beside_its_sheets_founds_no_new_store(small, tmp_path):
    made = backup(small, tmp_path / "disk")
    small.store.close()
    for path in small.folder.glob("qc.db*"):
        path.unlink()
    for opened in (open_workshop, verify_workshop):
        with pytest.raises(StoreError, match=r"yet 3 sheets of it lie in .*`qc restore"):
            opened(small.folder)
    assert not (small.folder / "qc.db").exists()
    (small.folder / "qc.db").touch()
    with pytest.raises(StoreError, match="missing or empty"):
        open_workshop(small.folder)
    assert restore(made.folder, tmp_path / "again").entries == 4


def test_an_emptied_store_is_not_opened_as_a_new_one(small):
    small.store.close()
    conn = sqlite3.connect(small.folder / "qc.db")
    for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        conn.execute(f"DROP TRIGGER {name}")
    for name in ("reading", "origin", "place", "sheet", "plan_version", "entry"):
        conn.execute(f"DELETE FROM {name}")
    conn.commit()
    conn.close()
    with pytest.raises(JobError, match="holds no entry, yet 3 sheets"):
        open_workshop(small.folder)
    assert verify_workshop(small.folder).faults


def test_a_fresh_workshop_and_a_first_upload_cut_off_open_as_ever(tmp_path):
    workshop = open_workshop(tmp_path / "shop", create=True)
    workshop.store._files.announce([sheet_hash(b"x")])
    workshop.store._files.keep(sheet_hash(b"x"), b"x")
    workshop.store.close()
    with open_workshop(tmp_path / "shop").store as store:
        assert store.verify() == []


def test_a_backup_is_reminded_of_after_a_week(small, tmp_path):
    in_a_week, later = (replace(small, now=small.now + timedelta(days=n)) for n in (7, 8))
    assert backup_note(in_a_week) == ""
    assert backup_note(later).startswith("No backup was made yet: make one")
    backup(later, tmp_path / "disk")
    assert backup_note(later) == ""
    assert backup_note(replace(small, now=small.now + timedelta(days=16))).startswith(
        "The last backup is 8 days"
    )


def before_0003(folder):
    with tarfile.open(ROOT / "tests" / "store" / "made_before_0003.tar.xz") as archive:
        archive.extractall(folder, filter="data")


def test_the_copy_of_a_workshop_of_an_earlier_program_is_brought_back(tmp_path):
    (tmp_path / "old").mkdir()
    before_0003(tmp_path / "old")
    assert restore(tmp_path / "old", tmp_path / "new").entries == 15
    with open_store(tmp_path / "new") as store:
        assert store.verify() == [] and store.readings().height == 6


def test_the_commands(small, tmp_path, command):
    said = command("backup", tmp_path / "disk", "--workshop", small.folder, "--json")
    made = json.loads(said.stdout)
    assert (said.exit_code, made["whole"], made["head"]) == (0, True, small.store.head())
    said = command("restore", made["folder"], tmp_path / "again")
    assert said.exit_code == 0 and "Brought back to" in said.stdout
    said = command("verify", "--workshop", tmp_path / "again", "--json", "--against", made["head"])
    assert json.loads(said.stdout) == {"whole": True, "entries": 4, "head": made["head"], "faults": []}
    assert command("verify", "--workshop", tmp_path / "again", "--against", "0" * 64).exit_code == 1
    shutil.rmtree(made["folder"])
    assert command("restore", made["folder"], tmp_path / "more").exit_code == 1


@pytest.fixture
def on_server(small, empty_database, tmp_path):
    """The small workshop with its rows carried to a server."""
    made = backup(small, tmp_path / "before")
    restore(made.folder, tmp_path / "served", into=empty_database)
    workshop = open_workshop(tmp_path / "served")
    yield workshop
    workshop.store.close()


def test_rows_carried_to_a_server_are_those_of_the_file_and_the_chain_ends_alike(small, on_server):
    assert on_server.store.on_server and not small.store.on_server
    assert on_server.store.hashes() == small.store.hashes() and on_server.store.verify() == []
    assert on_server.store.readings().equals(small.store.readings())
    sheets = sorted(f"sheets/{one.sheet}" for one in small.store.sheets())
    assert names(on_server.folder) == sorted([ADDRESS, "plan.yaml", *sheets])
    assert (on_server.folder / ADDRESS).stat().st_mode & 0o777 == 0o600
    assert verify_workshop(on_server.folder).head == small.store.head()
    add(on_server.store, 7)
    assert (len(on_server.store.hashes()), on_server.store.verify()) == (5, [])


def test_a_backup_of_rows_on_a_server_holds_them_and_comes_back_as_a_file(on_server, tmp_path):
    made = backup(on_server, tmp_path / "disk")
    assert (made.faults, made.head, made.rows) == ((), on_server.store.head(), True)
    sheets = sorted(f"sheets/{one.sheet}" for one in on_server.store.sheets())
    assert names(made.folder) == sorted([MANIFEST, "plan.yaml", "qc.db", *sheets])
    assert restore(made.folder, tmp_path / "again").head == made.head
    with open_workshop(tmp_path / "again").store as store:
        assert not store.on_server and store.readings().equals(on_server.store.readings())


def test_rows_are_carried_only_into_an_empty_database_and_from_a_sound_backup(
    small, on_server, postgresql, tmp_path
):
    made = backup(small, tmp_path / "disk")
    taken = (on_server.folder / ADDRESS).read_text().strip()
    again = restore(made.folder, tmp_path / "again", into=taken)
    assert again.head == made.head, "it was killed once the rows were there, before the folder was"
    add(on_server.store, 8)
    with pytest.raises(StoreError, match="holds rows already"):
        restore(made.folder, tmp_path / "more", into=taken)
    with pytest.raises(JobError, match="are in PostgreSQL, not in the folder. Make a backup first"):
        restore(on_server.folder, tmp_path / "more")
    with pytest.raises(JobError, match="`--into` names a PostgreSQL database"):
        restore(made.folder, tmp_path / "more", into=f"sqlite:///{tmp_path}/other.db")
    with closing(sqlite3.connect(made.folder / "qc.db")) as base:
        base.execute("DROP TRIGGER reading_no_update")
        base.execute("UPDATE reading SET value = value + 1")
        base.commit()
    address = postgresql.make()
    with pytest.raises(JobError, match="is not sound, nothing was brought back: Entry 2"):
        restore(made.folder, tmp_path / "more", into=address)
    assert not (tmp_path / "more").exists()
    assert postgresql.run("SELECT count(*) FROM entry", address=address) == [(0,)], "no row was kept"
    postgresql.drop(address)


def test_the_folder_says_where_its_rows_are_else_the_environment_by_either_name(tmp_path, monkeypatch):
    for name in (DATABASE_VARIABLE, OLDER_VARIABLE):
        monkeypatch.delenv(name, raising=False)
    assert rows_address(tmp_path) is None
    monkeypatch.setenv(OLDER_VARIABLE, "postgresql://old@host/shop")
    assert rows_address(tmp_path) == "postgresql://old@host/shop"
    monkeypatch.setenv(DATABASE_VARIABLE, "postgresql://new@host/shop")
    assert rows_address(tmp_path) == "postgresql://new@host/shop"
    (tmp_path / ADDRESS).write_text(" postgresql://own@host/shop\n\n")
    assert rows_address(tmp_path) == "postgresql://own@host/shop"
    for text in (b"", b"two words", b"\xff"):
        (tmp_path / ADDRESS).write_bytes(text)
        with pytest.raises(JobError, match="Write (the address|one in it)"):
            rows_address(tmp_path)


def test_a_backup_without_rows_is_proven_against_the_database_that_has_them(small, tmp_path, monkeypatch):
    """Earlier programs made such of a workshop on a server; a second SQLite file stands for that here."""
    rows = tmp_path / "rows.db"
    made = backup(small, tmp_path / "disk")
    older = made.folder.rename(made.folder.with_name(f"{made.folder.name}-without-rows"))
    (older / "qc.db").unlink()
    (older / "rows.dump").write_bytes(b"the dump is no part of a workshop")
    monkeypatch.delenv(DATABASE_VARIABLE, raising=False)
    with pytest.raises(JobError, match="is a backup without rows.*pg_restore --clean --if-exists"):
        restore(older, tmp_path / "again")
    monkeypatch.setenv(DATABASE_VARIABLE, f"sqlite:///{rows}")
    with pytest.raises(JobError, match="there are none to carry"):
        restore(older, tmp_path / "again", into="postgresql://bench@localhost/shop")
    with pytest.raises(JobError, match="QC_DATABASE_URL names holds no rows. Load the rows"):
        restore(older, tmp_path / "again")
    assert not (tmp_path / "again").exists()
    copy_database(small.folder / "qc.db", rows)
    found = restore(older, tmp_path / "again")
    assert (found.entries, found.head) == (4, small.store.head())
    sheets = sorted(f"sheets/{one.sheet}" for one in small.store.sheets())
    assert names(tmp_path / "again") == sorted(["plan.yaml", *sheets])
    with closing(sqlite3.connect(rows)) as base:
        base.execute("DROP TRIGGER reading_no_update")
        base.execute("UPDATE reading SET value = value + 1")
        base.commit()
    with pytest.raises(JobError, match="is not sound, nothing was brought back"):
        restore(older, tmp_path / "more")


def test_a_lock_on_the_store_keeps_nobody_from_a_backup(small, tmp_path, monkeypatch):
    """A reader waits for no writer; only the note for the reminder cannot be written, and it says so."""
    monkeypatch.setattr("qc.jobs.backup.NOTE_PATIENCE_S", 0.1)
    with closing(sqlite3.connect(small.folder / "qc.db", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        made = backup(small, tmp_path / "disk")
    assert made.faults == () and restore(made.folder, tmp_path / "again").entries == 4
    assert "`qc status` may go on reminding" in made.to_text()
    assert small.store.state("last backup") is None
    after = backup(small, tmp_path / "disk")
    assert "reminding" not in after.to_text() and small.store.state("last backup")["head"] == made.head

"""Workshops made by earlier programs are carried over as they are, and can still be verified.

`made_before_0003.tar.xz` is a store written by the program of the second migration: a sheet, a plan, a row
set aside, a correction, three signals and every kind of saying.
"""

import sqlite3
import tarfile
from datetime import timedelta
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from qc.jobs.backup import restore
from qc.sayings import Saying, What, outcome_of
from qc.store import StoreError, open_store, sheet_hash
from qc.store.chain import START, Entry, content_hash
from qc.store.database import _MIGRATIONS, Database, read_url, sqlite_url
from qc.store.tables import HEAD

MADE = Path(__file__).parent / "made_before_0003.tar.xz"
EARLIER = sorted(file.name[:4] for file in (_MIGRATIONS / "versions").glob("[0-9]*.py"))[:-1]
KEY, FORCE = "slide/clearance/tenors", "slide/force/all"
DECIDED = [
    (What.FREEZE, KEY, "TB-0001", "TB-0008", "IS", "after the rebuild"),
    (What.LEAVE_OUT, KEY, "TB-0010", "TB-0011", "IS", "bench moved"),
    (What.UNDO_LEAVE_OUT, KEY, "TB-0010", "TB-0011", "IS", "was fine"),
    (What.UNDO_FREEZE, KEY, "TB-0001", "TB-0008", "IS", "outdated"),
    (What.FREEZE, KEY, "TB-0002", "TB-0009", "IS", "new jig"),
    (What.LEAVE_OUT, FORCE, "TB-0004", "TB-0004", "QL", "dropped on the floor"),
]


@pytest.fixture
def old(tmp_path):
    """The folder of a store as the earlier program left it."""
    with tarfile.open(MADE) as archive:
        archive.extractall(tmp_path, filter="data")
    return tmp_path


def ask(folder, statement):
    with sqlite3.connect(folder / "qc.db") as conn:
        rows = conn.execute(statement).fetchall()
    conn.close()
    return rows


def test_no_entry_of_an_earlier_store_is_touched(old):
    assert ask(old, "SELECT version_num FROM alembic_version") == [("0002",)]
    before = ask(old, "SELECT * FROM entry ORDER BY id")
    with open_store(old) as store:
        assert store.verify() == []
        assert len(store.entries()) == len(before) == 15
    assert ask(old, "SELECT * FROM entry ORDER BY id") == before
    assert ask(old, "SELECT version_num FROM alembic_version") == [(HEAD,)]


def test_decisions_move_to_columns_of_their_own_and_causes_stay(old):
    said = (
        "SELECT {} FROM signal_event WHERE what {} ('freeze', 'undo-freeze', 'leave-out', 'undo-leave-out')"
    )
    ends = ask(old, said.format("id, cause, action", "IN"))
    of_signals = ask(old, said.format("*", "NOT IN"))
    open_store(old).close()
    assert ask(old, said.format("id, first_serial, last_serial", "IN")) == ends
    assert {row[:2] for row in ask(old, said.format("cause, action", "IN"))} == {("", "")}
    assert [row[:7] for row in ask(old, said.format("*", "NOT IN"))] == of_signals
    assert {row[7:] for row in ask(old, said.format("*", "NOT IN"))} == {(None,) * 5}
    assert ("mandrel", "M-7 dressed") in {row[4:6] for row in of_signals}


def test_what_was_said_is_read_as_before(old):
    with open_store(old) as store:
        decided = store.said_of_series()
        assert [(d.what, d.about, d.first, d.last, d.who, d.text) for d in decided] == DECIDED
        assert {(d.cause, d.action) for d in decided} == {("", "")}
        first, spread, single = sorted(store.signals(), key=lambda s: s.plain["raised_serial"])
        assert [s.state for s in (first, spread, single)] == ["closed", "open", "open"]
        assert [said.what for said in spread.said] == [What.CLOSED_FALSE, What.REOPENED]
        closed = first.said[1]
        assert (closed.what, closed.cause, closed.action) == (What.CLOSED, "mandrel", "M-7 dressed")
        assert (closed.outcome, closed.first, outcome_of(closed)) == ("", "", "stays")
        assert closed.text == "Ticked: Re-measure TB-0003. two words"
        assert single.said[0].text == "größer als erwartet"
        assert (store.held()[0].row, store.held(open_only=False)[0].state) == (101, "dropped")
        assert store.readings().height == 6 and store.verdicts()[0].serials[-1] == "TB-0011"


def test_the_guards_are_the_same_and_still_hold(old):
    guards = (
        "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' "
        # without tables that came later, with theirs
        "AND tbl_name NOT IN ('judgement', 'told', 'taken_back', 'mapping_version', 'piece_event', "
        "'month_file', 'person_event', 'erasure', 'unread', 'unread_event') "
        "ORDER BY name"
    )
    before = ask(old, guards)
    open_store(old).close()
    assert ask(old, guards) == before
    conn = sqlite3.connect(old / "qc.db")
    for statement in ("UPDATE signal_event SET first_serial = 'TB-1'", "DELETE FROM signal_event"):
        with pytest.raises(sqlite3.IntegrityError, match="never changed or deleted"):
            conn.execute(statement)
    conn.close()


def test_a_guard_that_was_taken_away_before_is_still_missed(old):
    ask(old, "DROP TRIGGER signal_event_no_update")
    with open_store(old) as store:
        assert store.verify() == ["The guard against update on table signal_event was taken away."]


def test_a_row_altered_before_is_still_found_out(old):
    (guard,) = ask(old, "SELECT sql FROM sqlite_master WHERE name = 'signal_event_no_update'")
    ask(old, "DROP TRIGGER signal_event_no_update")
    ask(old, "UPDATE signal_event SET cause = 'TB-0002' WHERE id = 2")
    ask(old, guard[0])
    with open_store(old) as store:
        assert [sentence[:27] for sentence in store.verify()] == ["Entry 6 (series by IS on 20"]


def test_a_migration_that_fails_leaves_the_store_as_it_was(old, monkeypatch):
    def stop(conn):
        command_upgrade(conn, "head")
        raise RuntimeError("the power went")

    before = ask(old, "SELECT sql FROM sqlite_master ORDER BY name"), ask(old, "SELECT * FROM signal_event")
    monkeypatch.setattr("qc.store.database._upgrade", stop)
    with pytest.raises(RuntimeError):
        open_store(old)
    assert (
        ask(old, "SELECT sql FROM sqlite_master ORDER BY name"),
        ask(old, "SELECT * FROM signal_event"),
    ) == before


def test_what_an_earlier_program_told_is_taken_over_once(old, make):
    with open_store(old) as store:
        assert store.told() == [] and store.verify() == []
        kept = {one.series: one.plain for one in store.verdicts()}
        fresh = {"key": FORCE, "points": [], "signals": []}
        store.save_verdicts([fresh], as_of=make.day + timedelta(days=200))
        told = {one.series: one for one in store.told()}
        assert told[KEY].plain["signals"] == kept[KEY]["signals"] and told[KEY].program == ""
        assert [entry.note for entry in store.entries()][-2:] == ["adopted", "judged"]
        assert store.verify() == []
    ask(old, "UPDATE signal SET first_as_of = '2020-01-01' WHERE series = '" + KEY + "'")
    with open_store(old) as store:
        found = store.verify()
    assert found and all("is not the one that was told" in sentence for sentence in found)


def test_signals_of_an_earlier_program_are_numbered_as_they_were_told(old, make):
    with open_store(old) as store:
        before = store.signals()
        assert [one.number for one in before] == [1, 2, 3]
        raised = {**before[0].plain, "raised_serial": "TB-9999", "kind": "spread"}
        fresh = {"key": KEY, "points": [], "signals": [raised]}
        store.save_verdicts([fresh], as_of=make.day + timedelta(days=200))
        assert [one.number for one in store.signals()] == [1, 2, 3, 4]
        assert store.verify() == []


@pytest.mark.parametrize("revision", EARLIER)
def test_a_backup_of_each_earlier_schema_is_read(tmp_path, make, revision):
    """A store of that migration with a plan, its entry hashed by hand."""
    database = Database(sqlite_url(tmp_path / "qc.db"))
    row = {"id": 1, "hash": sheet_hash(b"a: 1"), "text": "a: 1"}
    content = content_hash({"plan_version": {name: [value] for name, value in row.items()}})
    entry = Entry(1, "plan", "QL", make.when, "version 1", content, START, "")
    with database.engine.connect().execution_options(qc_writes=True) as conn, conn.begin():
        command_upgrade(conn, revision)
        own = {"content": content, "before": START, "hash": entry.own_hash()}
        conn.execute(
            text(
                "INSERT INTO entry (id, kind, who, at, note, content, before, hash) "
                "VALUES (1, 'plan', 'QL', 1778776215123456, 'version 1', :content, :before, :hash)"
            ),
            own,
        )
        conn.execute(
            text("INSERT INTO plan_version (id, entry, hash, text) VALUES (:id, 1, :hash, :text)"), row
        )
    database.close()
    assert ask(tmp_path, "SELECT version_num FROM alembic_version") == [(revision,)]
    back = restore(tmp_path, tmp_path.parent / f"{tmp_path.name}-again")
    assert back.head == own["hash"]
    with open_store(back.folder) as store:
        assert store.verify() == [] and store.plan_text() == "a: 1"
        store.save_verdicts([], as_of=make.day, states={"judged up to": [0, 0]})
        assert store.verify() == []
    assert ask(tmp_path, "SELECT version_num FROM alembic_version") == [(revision,)]


def test_the_life_goes_on_after_it(old, make):
    with open_store(old) as store:
        later = make.when + timedelta(days=1)
        store.say(FORCE, Saying(What.FREEZE, "IS", "x", first="TB-0001", last="TB-0009"), when=later)
        assert store.verify() == []
        assert [said.about for said in store.said_of_series()][-1] == FORCE


def test_what_an_earlier_program_took_in_can_be_taken_back(old, make):
    with open_store(old) as store:
        first = int(store.readings()["id"][0])
        store.withdraw_reading(first, who="IS", when=make.when + timedelta(days=400), why="wrong piece")
        assert first not in store.readings()["id"].to_list()
        assert store.verify() == []


def command_upgrade(conn, revision):
    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS))
    config.attributes["connection"] = conn
    command.upgrade(config, revision)


def test_a_decision_is_hashed_as_when_it_stood_in_the_columns_of_a_cause(tmp_path, new_database_url, make):
    """A store of the second migration, its rows put in by hand and hashed in the form of that time."""
    folder = tmp_path / "shop"
    folder.mkdir()
    database = Database(
        sqlite_url(folder / "qc.db") if new_database_url is None else read_url(new_database_url)
    )
    rows = [
        {
            "id": 1,
            "entry": 1,
            "signal": KEY,
            "what": "freeze",
            "cause": "TB-1",
            "action": "TB-9",
            "text": "x",
        },
        {"id": 2, "entry": 2, "signal": "ab", "what": "closed", "cause": "die", "action": "", "text": ""},
    ]
    before = START
    plain = database.engine.connect().execution_options(qc_writes=True)
    with plain as conn, conn.begin():
        command_upgrade(conn, "0002")
        for row in rows:
            content = content_hash({"signal_event": {k: [v] for k, v in row.items() if k != "entry"}})
            kind = "series" if row["what"] == "freeze" else "signal"
            entry = Entry(row["entry"], kind, "IS", make.when, row["what"], content, before, "")
            before = entry.own_hash()
            conn.execute(
                text(
                    "INSERT INTO entry (id, kind, who, at, note, content, before, hash) "
                    "VALUES (:id, :kind, 'IS', 1778776215123456, :note, :content, :before, :hash)"
                ),
                {
                    **{k: getattr(entry, k) for k in ("id", "kind", "note", "content", "before")},
                    "hash": before,
                },
            )
            conn.execute(
                text(
                    f"INSERT INTO signal_event ({', '.join(row)}) VALUES ({', '.join(f':{k}' for k in row)})"
                ),
                row,
            )
    database.close()
    with open_store(folder, url=new_database_url) as store:
        assert store.verify() == []
        (frozen,) = store.said_of_series()
        assert (frozen.first, frozen.last, frozen.cause, frozen.when) == ("TB-1", "TB-9", "", make.when)
        store.say(KEY, Saying(What.FREEZE, "IS", "x", first="TB-1", last="TB-9"), when=make.when)
        anew = {**rows[0], "id": 3}
        content = content_hash({"signal_event": {k: [v] for k, v in anew.items() if k != "entry"}})
        assert store.entries()[-1].content == content
        assert store.verify() == []
        refused = pytest.raises((DBAPIError, StoreError), match="never changed or deleted")
        with refused, store._database.writing() as conn:
            conn.execute(text("UPDATE signal_event SET first_serial = 'TB-2' WHERE id = 1"))

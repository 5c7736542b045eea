"""Whoever alters the store behind the program's back is found out, and the sentence names what."""

import os
import shutil
import sqlite3

import pytest
from postgres_server import name_of

from qc.sayings import Saying, What
from qc.store import PieceDecision, PieceWord, open_store, sheet_hash
from qc.store.chain import rows_by_entry
from qc.store.keeping import verify
from qc.store.sheetfiles import SheetFiles


def fill(folder, make, url=None):
    """Make a store with a row in every table of what was accepted; only to be copied."""
    with open_store(folder, url=url) as store:
        first = make.sheet("a.csv", readings=make.readings(6), events=make.events(2), held=make.held(2))
        store.add_sheets(
            [first, make.sheet("b.csv", readings=make.readings(6, first=50))], who="AB", when=make.when
        )
        store.record_plan("workshop: {name: x}\n", who="QL", when=make.when)
        store.settle_held([1], "dropped", who="QL", when=make.when)
        store.save_verdicts([verdict()], as_of=make.day)
        signal = store.signals()[0].id
        store.say(signal, Saying(What.COMMENT, "QL", "seen"), when=make.when)
        store.say(signal, Saying(What.CLOSED, "QL", "", "die worn", "die turned"), when=make.when)
        frozen = Saying(What.FREEZE, "QL", "new die", first="TB-1", last="TB-9")
        store.say("s/c/f", frozen, when=make.when)
        store.withdraw_reading(3, who="QL", when=make.when, why="wrong tube")
        store.undo_held(1, who="QL", when=make.when)
        store.decide_pieces([released("TB-1", make.when), released("TB-1", make.when, why="signal")])
        (folder / "reports" / "2026-01").mkdir(parents=True)
        for name in ("a.pdf", "b.html"):
            (folder / "reports" / "2026-01" / name).write_bytes(name.encode())
        hashes = {name: sheet_hash(name.encode()) for name in ("a.pdf", "b.html")}
        store.close_month("2026-01", hashes, who="QL", when=make.when)
        assert store.verify() == []
    return folder


@pytest.fixture(scope="module")
def sound(tmp_path_factory, make):
    return fill(tmp_path_factory.mktemp("sound") / "shop", make)


@pytest.fixture(scope="module")
def sound_on_a_server(tmp_path_factory, make, postgresql, migrated):
    address = postgresql.make(migrated)
    yield fill(tmp_path_factory.mktemp("sound") / "shop", make, address), address
    postgresql.drop(address)


@pytest.fixture(params=["sqlite", "postgresql"])
def altered(request, tmp_path, forge):
    """Return a function that alters a copy and gives what `verify` says of it then."""
    if request.param == "sqlite":
        kept, url = request.getfixturevalue("sound"), None
    else:
        kept, address = request.getfixturevalue("sound_on_a_server")
        server = request.getfixturevalue("postgresql")
        url = server.make(name_of(address))
    folder = shutil.copytree(kept, tmp_path / "altered")

    def alter(*statements):
        with open_store(folder, url=url) as store:
            forge(store, *statements)
            return store.verify()

    yield alter
    if url:
        server.drop(url)


@pytest.fixture
def shop(sound, tmp_path):
    """Return a copy that a test may alter."""
    return shutil.copytree(sound, tmp_path / "shop")


def released(serial, when, why="limit"):
    return PieceDecision(
        serial, PieceWord.RELEASED, "s", "c", why, "mouth: 8.4 in 10.0 to None", "seen", "QL", when
    )


def verdict():
    return {"key": "s/c/f", "signals": [{"kind": "shift", "raised_serial": "TB-1"}]}


def tamper(folder, *statements):
    """Change the file as somebody would who knows how: the guards are taken away and put back."""
    conn = sqlite3.connect(folder / "qc.db")
    guards = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in guards:
        conn.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        conn.execute(statement)
    for _, sql in guards:
        conn.execute(sql)
    conn.commit()
    conn.close()


def complaints(folder):
    with open_store(folder) as store:
        return store.verify()


ROWS = [
    ("UPDATE reading SET value = value + 1e-9 WHERE id = 3", "Entry 1 (sheet by AB on 2026-05-14, a.csv)"),
    ("UPDATE reading SET text = '13.91' WHERE id = 8", "Entry 2 (sheet by AB on 2026-05-14, b.csv)"),
    ("UPDATE origin SET gauge = 'MIC-2' WHERE id = 1", "Entry 1"),
    ("UPDATE origin SET day = '2026-05-13' WHERE id = 1", "Entry 1"),
    ("UPDATE place SET leg = 'lower' WHERE leg = 'upper'", "Entry 1"),
    ("DELETE FROM reading WHERE id = 12", "Entry 2"),
    ("UPDATE event SET day = '2026-06-01' WHERE id = 1", "Entry 1"),
    ("UPDATE held SET typed = '{}' WHERE id = 2", "Entry 1"),
    ("UPDATE held_event SET state = 'accepted'", "Entry 4"),
    ("UPDATE plan_version SET text = 'workshop: {name: y}'", "Entry 3"),
    ("UPDATE signal_event SET text = 'unseen' WHERE id = 1", "Entry 6"),
    ("UPDATE signal_event SET first_serial = 'TB-1' WHERE id = 1", "Entry 6"),
    ("UPDATE signal_event SET outcome = 'mended' WHERE id = 2", "Entry 7"),
    ("UPDATE signal_event SET from_serial = 'TB-2' WHERE id = 2", "Entry 7"),
    ("UPDATE signal_event SET role = 'lead' WHERE id = 2", "Entry 7"),
    ("UPDATE signal_event SET first_serial = cause, cause = '' WHERE id = 2", "Entry 7"),
    ("UPDATE signal_event SET last_serial = action, action = '' WHERE id = 2", "Entry 7"),
    ("UPDATE signal_event SET first_serial = 'TB-2' WHERE id = 3", "Entry 8"),
    ("UPDATE signal_event SET last_serial = NULL WHERE id = 3", "Entry 8"),
    ("UPDATE signal_event SET cause = first_serial WHERE id = 3", "Entry 8"),
    ("UPDATE signal_event SET action = last_serial, last_serial = NULL WHERE id = 3", "Entry 8"),
    ("UPDATE signal_event SET what = 'leave-out' WHERE id = 3", "Entry 8"),
    ("UPDATE taken_back SET reading = 4 WHERE id = 1", "Entry 9"),
    ("UPDATE taken_back SET decision = NULL WHERE id = 2", "Entry 10"),
    ("UPDATE taken_back SET waits_as = 2 WHERE id = 2", "Entry 10"),
    ("INSERT INTO taken_back (id, entry, reading) VALUES (99, 9, 5)", "Entry 9"),
    ("DELETE FROM taken_back WHERE id = 1", "Entry 9"),
    ("UPDATE piece_event SET what = 'kept-back' WHERE id = 1", "Entry 11"),
    ("UPDATE piece_event SET serial = 'TB-2' WHERE id = 2", "Entry 11"),
    ("UPDATE piece_event SET rests_on = '' WHERE id = 2", "Entry 11"),
    ("DELETE FROM piece_event WHERE id = 2", "Entry 11"),
    ("UPDATE month_file SET hash = 'abc' WHERE id = 1", "Entry 12"),
    ("UPDATE month_file SET month = '2026-02' WHERE id = 1", "Entry 12"),
    ("UPDATE month_file SET file = 'c.pdf' WHERE id = 2", "Entry 12"),
    ("DELETE FROM month_file WHERE id = 2", "Entry 12"),
    ("UPDATE sheet SET file = 'c.csv' WHERE id = 2", "Entry 2"),
    (
        "INSERT INTO reading (id, entry, origin, place, value, fingerprint) VALUES (99, 1, 1, 1, 1.0, x'00')",
        "Entry 1",
    ),
]


@pytest.mark.parametrize("statement, entry", ROWS, ids=[row[0][:40] for row in ROWS])
def test_an_altered_row_is_named_by_its_entry(altered, statement, entry):
    found = altered(statement)
    assert found
    assert found[0].startswith(entry)
    assert "not those that were accepted" in found[0]


def test_an_altered_entry_is_named(altered):
    assert altered("UPDATE entry SET who = 'CD' WHERE id = 2") == [
        "Entry 2 (sheet by CD on 2026-05-14, b.csv) was altered after it was made."
    ]


def test_an_entry_rehashed_to_fit_breaks_the_next(shop):
    with open_store(shop) as store:
        entry = store.entries()[1]
    forged = type(entry)(2, entry.kind, "CD", entry.when, entry.note, entry.content, entry.before, "")
    tamper(shop, f"UPDATE entry SET who = 'CD', hash = '{forged.own_hash()}' WHERE id = 2")
    assert complaints(shop) == [
        "Entry 3 (plan by QL on 2026-05-14, version 1) does not follow the entry before it: one of the two "
        "was altered."
    ]


def test_a_removed_entry_is_missed(altered):
    found = altered("DELETE FROM signal_event", "DELETE FROM entry WHERE id = 3")
    assert any(sentence.startswith("Entry 3 is missing") for sentence in found)


def test_rows_of_a_removed_last_entry_are_strays(altered):
    assert "2 rows of table month_file belong to no entry." in altered("DELETE FROM entry WHERE id = 12")


def test_a_guard_that_was_taken_away_is_missed(shop):
    conn = sqlite3.connect(shop / "qc.db")
    conn.execute("DROP TRIGGER reading_no_update")
    conn.commit()
    conn.close()
    assert complaints(shop) == ["The guard against update on table reading was taken away."]


def test_sheets_on_the_disk_are_compared(shop):
    one, two = sorted(p for p in (shop / "sheets").iterdir() if p.is_file())
    one.write_bytes(b"other")
    two.unlink()
    found = complaints(shop)
    assert len(found) == 2
    assert any(s.startswith("The sheet ") and s.endswith(f"was altered: sheets/{one.name}.") for s in found)
    assert any(s.endswith(f"is missing: no file sheets/{two.name}.") for s in found)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="a system without named pipes")
@pytest.mark.parametrize("put", ["pipe", "device"])
def test_a_pipe_or_a_device_in_the_place_of_a_sheet_is_named_and_not_waited_for(shop, put):
    """The pipe was waited for without end; the device took all memory of the machine."""
    place = min(p for p in (shop / "sheets").iterdir() if p.is_file())
    place.unlink()
    if put == "pipe":
        os.mkfifo(place)
    else:
        place.symlink_to("/dev/zero")
    (fault,) = complaints(shop)
    assert "cannot be read" in fault and f"{place} is no file: a pipe, a device, a folder or a link" in fault


def test_a_sheet_that_cannot_be_read_is_named(shop):
    one = min(p for p in (shop / "sheets").iterdir() if p.is_file())
    one.unlink()
    one.mkdir()
    assert any("cannot be read" in sentence for sentence in complaints(shop))


def test_a_damaged_file_is_said_in_one_sentence(shop):
    file = shop / "qc.db"
    data = bytearray(file.read_bytes())
    data[4096 * 3 : 4096 * 9] = b"\x55" * (4096 * 6)
    file.write_bytes(bytes(data))
    try:
        found = complaints(shop)
    except Exception as error:
        assert type(error).__name__ == "StoreError"
        assert "damaged" in str(error)
    else:
        assert any("damaged" in sentence for sentence in found)


@pytest.mark.parametrize(
    "table", ["entry", "sheet", "place", "origin", "reading", "event", "held", "held_event", "plan_version"]
)
@pytest.mark.parametrize("verb", ["UPDATE {} SET id = id", "DELETE FROM {}"])
def test_the_database_itself_refuses_to_change_what_was_accepted(shop, table, verb):
    conn = sqlite3.connect(shop / "qc.db")
    with pytest.raises(sqlite3.IntegrityError, match="never changed or deleted"):
        conn.execute(verb.format(table))
    conn.close()


def test_large_stores_are_verified_in_blocks(tmp_path, make, monkeypatch):
    monkeypatch.setattr("qc.store.keeping.verify._AT_ONCE", 2)
    with open_store(tmp_path) as store:
        for n in range(5):
            sheet = make.sheet(f"{n}.csv", readings=make.readings(2, first=10 * n))
            store.add_sheets([sheet], who="AB", when=make.when)
    tamper(tmp_path, "UPDATE reading SET value = 0 WHERE entry = 4")
    assert [sentence[:7] for sentence in complaints(tmp_path)] == ["Entry 4"]


ODD = [
    ("UPDATE reading SET value = 9e999 WHERE id = 3", "Table reading, column value: row 3 holds"),
    ("UPDATE reading SET value = 'wide' WHERE id = 3", "Table reading, column value: row 3 holds"),
    (
        "UPDATE reading SET note = CAST(x'ff41' AS TEXT) WHERE id = 3",
        "Row 3 of table reading holds no",
    ),
    ("UPDATE reading SET row = 'seven' WHERE id = 3", "Table reading, column row: row 3 holds"),
    ("UPDATE reading SET fingerprint = 'text' WHERE id = 3", "Table reading, column fingerprint: row 3"),
    (
        "UPDATE origin SET serial = CAST(x'c328' AS TEXT) WHERE id = 1",
        "Row 1 of table origin holds no",
    ),
    ("UPDATE origin SET air_c = -9e999 WHERE id = 1", "Table origin, column air_c: row 1 holds"),
    ("UPDATE origin SET measured_at = 'noon' WHERE id = 1", "Table origin, column measured_at: row 1"),
    ("UPDATE place SET position = 1.5 WHERE id = 1", "Table place, column position: row 1 holds"),
    ("UPDATE event SET value = 9e999 WHERE id = 1", "Table event, column value: row 1 holds"),
    ("UPDATE held SET typed = x'00ff' WHERE id = 2", "Table held, column typed: row 2 holds"),
    ("UPDATE entry SET note = CAST(x'fe' AS TEXT) WHERE id = 2", "Row 2 of table entry holds no readable"),
    ("UPDATE entry SET at = 'yesterday' WHERE id = 2", "Table entry, column at: row 2 holds"),
    ("UPDATE entry SET at = 9223372036854775807 WHERE id = 2", "The entries cannot be read"),
    ("UPDATE plan_version SET text = CAST(x'ff' AS TEXT)", "Row 1 of table plan_version holds no readable"),
    ("UPDATE sheet SET hash = 7 WHERE id = 1", "is missing: no file sheets/7"),
    ("UPDATE sheet SET size = 'big' WHERE id = 1", "Table sheet, column size: row 1 holds"),
    ("UPDATE signal_event SET text = x'01' WHERE id = 1", "Table signal_event, column text: row 1 holds"),
    ("UPDATE told SET body = x'78da'", "What was told cannot be read to the end"),
    ("UPDATE told SET body = NULL", "What was told cannot be read to the end"),
    ("UPDATE verdict SET body = 'x'", "Table verdict, column body: row 1 holds"),
    ("UPDATE state SET key = 'judged up to', value = x'ff'", "Table state, column value"),
    ("UPDATE judgement SET readings = 'all'", "Table judgement, column readings: row 1 holds"),
]


@pytest.mark.parametrize(("statement", "said"), ODD, ids=[row[0][:50] for row in ODD])
def test_what_no_row_can_hold_is_a_sentence_and_no_traceback(shop, statement, said):
    tamper(shop, statement)
    found = complaints(shop)
    assert any(said in sentence for sentence in found), found


def test_one_unreadable_row_hides_no_other_fault(shop):
    tamper(
        shop, "UPDATE reading SET value = 'wide' WHERE id = 3", "UPDATE reading SET value = 1 WHERE id = 9"
    )
    found = complaints(shop)
    assert any(s.startswith("Entry 1 ") and "cannot even be read" in s for s in found)
    assert any(s.startswith("Entry 2 ") and s.endswith("not those that were accepted.") for s in found)


def test_a_value_missing_where_none_may_be_is_named(shop):
    """The table is built anew without its rule, as a person with a database tool would."""
    conn = sqlite3.connect(shop / "qc.db")
    (built,) = conn.execute("SELECT sql FROM sqlite_master WHERE name = 'reading'").fetchone()
    conn.execute("PRAGMA writable_schema = ON")
    loose = built.replace("value DOUBLE NOT NULL", "value DOUBLE")
    assert loose != built
    conn.execute("UPDATE sqlite_master SET sql = ? WHERE name = 'reading'", (loose,))
    conn.commit()
    conn.close()
    tamper(shop, "UPDATE reading SET value = NULL WHERE id = 3")
    assert any("Table reading, column value: row 3 holds" in sentence for sentence in complaints(shop))


SCHEMA = [
    (
        "DROP TRIGGER reading_no_update; CREATE TRIGGER reading_no_update BEFORE UPDATE ON reading "
        "BEGIN SELECT 1; END",
        "The guard against update on table reading was replaced by another.",
    ),
    ("DROP TRIGGER told_no_delete", "The guard against delete on table told was taken away."),
    (
        "CREATE TRIGGER helper AFTER INSERT ON reading BEGIN SELECT 1; END",
        "A trigger that is not ours was added: helper.",
    ),
    ("CREATE VIEW mine AS SELECT 1", "A view that is not ours was added: mine."),
    ("DROP VIEW all_readings", "The view all_readings was taken away."),
    ("CREATE TABLE notes (x)", "A table that is not ours was added: notes."),
    ("DROP TABLE verdict", "The table verdict was taken away."),
]


ON_A_SERVER = [
    ("DROP TRIGGER reading_kept ON reading", "The guard against change on table reading was taken away."),
    (
        "ALTER TABLE told DISABLE TRIGGER told_kept",
        "The guard against change on table told is switched off.",
    ),
    ("ALTER TABLE told ENABLE REPLICA TRIGGER told_kept", "The guard against change on table told is sw"),
    (
        "DROP TRIGGER told_not_emptied ON told; CREATE TRIGGER told_not_emptied AFTER TRUNCATE ON told "
        "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()",
        "The guard against emptying on table told was replaced by another.",
    ),
    (
        "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
        "'BEGIN RETURN NEW;END'",
        "What the guards do was replaced",
    ),
    (
        "CREATE TRIGGER helper AFTER INSERT ON reading FOR EACH ROW EXECUTE FUNCTION refuse_change()",
        "A trigger that is not ours was added: helper.",
    ),
    ("CREATE RULE quiet AS ON INSERT TO event DO INSTEAD NOTHING", "A rule that is not ours was put on ev"),
    ("ALTER TABLE held ENABLE ROW LEVEL SECURITY", "A policy that can hide rows was put on held."),
    ("ALTER TABLE reading DISABLE TRIGGER ALL", "What table reading checks of each row is switched off."),
    ("CREATE VIEW mine AS SELECT 1", "A view that is not ours was added: mine."),
    ("DROP VIEW all_readings", "The view all_readings was taken away."),
    ("CREATE TABLE notes (x int)", "A table that is not ours was added: notes."),
    ("DROP TABLE verdict", "The table verdict was taken away."),
    ("UPDATE reading SET value = 'Infinity' WHERE id = 3", "Table reading, column value: row 3 holds"),
    ("UPDATE origin SET air_c = 'NaN' WHERE id = 1", "Table origin, column air_c: row 1 holds"),
    ("UPDATE told SET body = '\\x78da'::bytea", "What was told cannot be read to the end"),
    (
        "ALTER TABLE reading ALTER COLUMN value DROP NOT NULL; UPDATE reading SET value = NULL WHERE id = 3",
        "Table reading, column value: row 3 holds",
    ),
]


@pytest.mark.parametrize("altered", ["postgresql"], indirect=True)
@pytest.mark.parametrize(("statements", "said"), ON_A_SERVER, ids=[row[0][:60] for row in ON_A_SERVER])
def test_what_was_done_to_a_server_behind_its_back_is_seen(altered, statements, said):
    found = altered(*statements.split("; "))
    assert any(sentence.startswith(said) for sentence in found), found


@pytest.mark.parametrize(("statements", "said"), SCHEMA, ids=[row[1][:50] for row in SCHEMA])
def test_guards_replaced_missing_or_added_are_seen(shop, statements, said):
    conn = sqlite3.connect(shop / "qc.db")
    conn.executescript(statements)
    conn.close()
    assert any(sentence.startswith(said) for sentence in complaints(shop)), complaints(shop)


def test_a_sheet_that_no_entry_names_is_seen(shop, make):
    SheetFiles(shop / "sheets").keep(sheet_hash(b"put here"), b"put here")
    (found,) = complaints(shop)
    assert found.startswith(f"The file sheets/{sheet_hash(b'put here')} is named by no entry")


def test_what_an_interrupted_upload_left_is_no_fault_and_goes_with_the_next(shop, make):
    files = SheetFiles(shop / "sheets")
    files.announce([sheet_hash(b"cut off")])
    files.keep(sheet_hash(b"cut off"), b"cut off")
    with open_store(shop) as store:
        assert store.verify() == []
        store.add_sheets([make.sheet("d.csv", readings=make.readings(2, first=90))], who="A", when=make.when)
        assert store.verify() == []
    assert not files.path(sheet_hash(b"cut off")).exists()


def test_an_emptied_database_beside_sheets_is_no_sound_store(shop):
    for n in range(4):
        SheetFiles(shop / "sheets").keep(sheet_hash(bytes([n])), bytes([n]))
    names = (
        "taken_back",
        "piece_event",
        "month_file",
        "person_event",
        "erasure",
        "unread_event",
        "unread",
        "told",
        "judgement",
        "signal_event",
        "plan_version",
        "held_event",
        "held",
        "event",
        "reading",
    )
    names += ("reading", "origin", "place", "sheet", "entry", "verdict", "signal", "state")
    tamper(shop, *(f"DELETE FROM {name}" for name in names))
    (found,) = complaints(shop)
    assert found.startswith("6 files in sheets/ are named by no entry")
    assert "`qc restore`" in found


def test_a_file_of_a_closed_month_that_is_gone_or_altered_is_found_out(shop):
    place = shop / "reports" / "2026-01"
    (place / "a.pdf").unlink()
    (place / "b.html").write_bytes(b"other")
    assert complaints(shop) == [
        "reports/2026-01/a.pdf of the closed month is missing. Put it back from the last backup.",
        "reports/2026-01/b.html was altered since QL closed the month. Put it back from the last backup.",
    ]


@pytest.mark.parametrize("most", [1, 7, 10_000])
def test_few_rows_at_once_give_the_same_answer_and_name_the_same_entry(shop, forge, monkeypatch, most):
    """Blocks of entries are cut by their rows: one entry may have more, several together may not."""
    monkeypatch.setattr(verify, "_ROWS_AT_ONCE", most)
    read = []
    plain = verify.contents

    def counted(conn, first, last, *more):
        read.append((first, last))
        return plain(conn, first, last, *more)

    monkeypatch.setattr(verify, "contents", counted)
    with open_store(shop) as store:
        assert store.verify() == []
        sizes = {number: 0 for number in range(1, len(store.hashes()) + 1)}
        with store._database.reading() as conn:
            sizes |= rows_by_entry(conn)
        assert [number for first, last in read for number in range(first, last + 1)] == list(sizes)
        for first, last in read:
            rows = sum(sizes[number] for number in range(first, last + 1))
            assert first == last or rows <= most
        forge(store, "UPDATE reading SET value = 1.0 WHERE id = 3")
        (said,) = [text for text in store.verify() if "not those that were accepted" in text]
        assert said.startswith("Entry 1 ")

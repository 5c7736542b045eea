"""The chain by itself: what is hashed, in which form, and that it never changes from release to release."""

import hashlib
import json
from datetime import UTC, datetime, timedelta

import pytest

from qc.store.chain import _STATEMENTS, START, Entry, content_hash, contents, moment_of
from qc.store.tables import KEPT

ENTRY = Entry(1, "sheet", "AB", datetime(2026, 5, 14, 16, 30, tzinfo=UTC), "a.csv", "c" * 64, START, "")


def test_an_entry_hashes_its_parts_as_plain_json():
    """Anyone can work the hash out again without this program."""
    parts = [1, "sheet", "AB", 1778776200000000, "a.csv", "c" * 64, START]
    expected = hashlib.sha256(json.dumps(parts, separators=(",", ":")).encode()).hexdigest()
    assert ENTRY.own_hash() == expected


@pytest.mark.parametrize(
    "change",
    [
        {"id": 2},
        {"kind": "mend"},
        {"who": "CD"},
        {"when": ENTRY.when + timedelta(microseconds=1)},
        {"note": "b.csv"},
        {"content": "d" * 64},
        {"before": "1" * 64},
    ],
    ids=lambda change: next(iter(change)),
)
def test_every_part_counts(change):
    values = {name: getattr(ENTRY, name) for name in Entry.__slots__}
    assert Entry(**{**values, **change}).own_hash() != ENTRY.own_hash()


def test_the_same_moment_in_another_zone_is_the_same():
    from zoneinfo import ZoneInfo

    values = {name: getattr(ENTRY, name) for name in Entry.__slots__}
    moved = Entry(**{**values, "when": ENTRY.when.astimezone(ZoneInfo("Etc/GMT-1"))})
    assert moved.own_hash() == ENTRY.own_hash()


@pytest.mark.parametrize(
    "micros, moment",
    [
        (0, datetime(1970, 1, 1, tzinfo=UTC)),
        (-1, datetime(1969, 12, 31, 23, 59, 59, 999999, tzinfo=UTC)),
        (1778776215123456, datetime(2026, 5, 14, 16, 30, 15, 123456, tzinfo=UTC)),
    ],
)
def test_moments_are_exact(micros, moment):
    assert moment_of(micros) == moment


def test_content_does_not_depend_on_the_order_of_tables_but_on_all_else():
    one = {"reading": {"id": [1, 2], "value": [1.0, 2.0]}, "event": {"id": [1]}}
    assert content_hash(one) == content_hash(dict(reversed(one.items())))
    assert content_hash(one) != content_hash({**one, "reading": {"id": [2, 1], "value": [2.0, 1.0]}})
    assert content_hash({"a": {"b": [None, "x"]}}) != content_hash({"a": {"b": ["", "x"]}})
    assert content_hash({"a": {"b": [b"\x01"]}}) == content_hash({"a": {"b": ["01"]}})


def test_a_column_that_a_later_release_adds_changes_no_old_hash():
    one = {"reading": {"id": [1, 2], "value": [1.0, 2.0]}}
    later = {"reading": {"id": [1, 2], "humidity": [None, None], "value": [1.0, 2.0]}}
    assert content_hash(one) == content_hash(later)
    assert content_hash(one) != content_hash({"reading": {**later["reading"], "humidity": [None, 0.5]}})


@pytest.mark.parametrize("table", [one for one in KEPT if "entry" in one.c], ids=str)
def test_every_kept_table_that_names_its_entry_is_hashed_with_it(table):
    """A table that nobody hashes could be altered unseen: `qc verify` would call a forged row sound."""
    assert table.name in _STATEMENTS
    statement, number, columns = _STATEMENTS[table.name]
    assert number is table.c.entry
    assert set(columns) == {column.name for column in statement.selected_columns}
    assert set(table.c.keys()) - {"origin", "place"} <= set(
        columns
    )  # a reading is hashed as the row it came as


def test_the_content_of_a_sheet_does_not_change_from_release_to_release(store, make):
    """Stored hashes must still fit the rows after an update of the program or of a library."""
    sheet = make.sheet(readings=make.readings(3), events=make.events(1), held=make.held(1))
    store.add_sheets([sheet], who="AB", when=make.when)
    (entry,) = store.entries()
    assert entry.content == "9d3d9d367378cc3b29b0eac024764cf4bf9496e59abdd9f7f0a08228c723dcdb"


def test_contents_are_read_back_from_the_database(store, make):
    for name, first in (("a.csv", 0), ("b.csv", 50)):
        sheet = make.sheet(name, readings=make.readings(3, first=first))
        store.add_sheets([sheet], who="AB", when=make.when)
    with store._database.reading() as conn:
        both = contents(conn, 1, 2)
        assert both == {entry.id: entry.content for entry in store.entries()}
        assert contents(conn, 2, 2) == {2: both[2]}
        assert contents(conn, 3, 9) == {}
        assert contents(conn, 1, 1, ["event"]) == {}


def test_an_entry_knows_nothing_of_the_order_of_the_upload(store, make):
    """Rows of two sheets taken in at once belong to two entries, each with its own."""
    sheets = [make.sheet(f"{n}.csv", readings=make.readings(2, first=10 * n)) for n in range(4)]
    store.add_sheets(sheets, who="AB", when=make.when)
    entries = store.entries()
    assert [entry.note for entry in entries] == ["0.csv", "1.csv", "2.csv", "3.csv"]
    assert [entry.before for entry in entries] == [START, *(entry.hash for entry in entries[:-1])]
    assert len({entry.content for entry in entries}) == 4

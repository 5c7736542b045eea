"""A sheet that nobody could read is kept byte for byte, once, until it is read or put away."""

import pytest
from sqlalchemy.exc import DBAPIError

from qc.store import NewUnread, StoreError, open_store, sheet_hash
from qc.store.pieces import JudgedUpTo
from qc.store.sheetfiles import SheetFiles

DATA = b"Wandkarte;;\n;0,52;0,55\n"
OTHER = b"Wandkarte;;\n;0,53;0,54\n"
WHY = "a.csv: the columns fit none of the plan's cards. Name the card."


def odd(data=DATA, file="a.csv", refusal=WHY):
    return NewUnread(file, sheet_hash(data), data, refusal)


def test_what_was_handed_in_comes_back_with_who_when_and_why(store, make):
    (kept,) = store.keep_unread([odd()], who="AB", when=make.when)
    assert store.unread() == [kept] and kept.state == "waits"
    facts = (kept.file, kept.sheet, kept.size, kept.refusal, kept.who, kept.entered, kept.entry)
    assert facts == ("a.csv", sheet_hash(DATA), len(DATA), WHY, "AB", make.when, 1)
    assert store.sheet_bytes(kept.sheet) == DATA
    assert [(one.kind, one.who, one.note) for one in store.entries()] == [("unread", "AB", "a.csv")]
    assert store.verify() == [] and store.sheets() == []


def test_the_same_sheet_is_not_kept_twice_whatever_it_is_called(store, make):
    first = store.keep_unread([odd()], who="AB", when=make.when)
    again = store.keep_unread([odd(file="b.csv"), odd(OTHER), odd(OTHER)], who="CD", when=make.when)
    assert again[0] == first[0] and again[1] == again[2]
    assert [one.file for one in store.unread()] == ["a.csv", "a.csv"]
    assert len(store.entries()) == 2 and store.verify() == []


def test_one_that_was_taken_in_is_on_record_already(store, make):
    sheet = make.sheet("a.csv", readings=make.readings(2))
    store.add_sheets([sheet], who="AB", when=make.when)
    assert store.keep_unread([odd(sheet.data)], who="AB", when=make.when) == []
    assert store.unread() == [] and len(store.entries()) == 1


def test_it_waits_no_more_once_it_is_read(store, make):
    sheet = make.sheet("a.csv", readings=make.readings(2))
    store.keep_unread([odd(sheet.data)], who="AB", when=make.when)
    store.add_sheets([sheet], who="CD", when=make.when)
    assert store.unread() == []
    (kept,) = store.unread(open_only=False)
    assert (kept.state, kept.who, kept.settled_by, kept.settled) == ("read", "AB", "CD", make.when)
    assert kept.note == "read by its headings"
    assert len(store.entries()) == 2, "the sheet and what it settles are one change"
    assert store.verify() == []
    assert store.keep_unread([odd(sheet.data)], who="AB", when=make.when) == [kept]


def test_it_is_put_away_by_name_and_reason_and_may_be_read_after_all(store, make):
    sheet = make.sheet("a.csv", readings=make.readings(2))
    store.keep_unread([odd(sheet.data)], who="AB", when=make.when)
    store.put_away(sheet.hash, who="QL", when=make.when, why="typed anew")
    assert store.unread() == []
    (kept,) = store.keep_unread([odd(sheet.data)], who="AB", when=make.when)
    assert (kept.state, kept.note, kept.settled_by) == ("put-away", "typed anew", "QL")
    with pytest.raises(StoreError, match="No sheet .* waits"):
        store.put_away(sheet.hash, who="QL", when=make.when, why="twice")
    assert [one.note for one in store.entries()] == ["a.csv", "a.csv: typed anew"]
    store.add_sheets([sheet], who="CD", when=make.when)
    assert store.unread(open_only=False)[0].state == "read" and store.verify() == []


def test_it_leaves_nothing_to_judge(store, make):
    store.add_sheets([make.sheet(readings=make.readings(6))], who="AB", when=make.when)
    reached = store.reached()
    store.keep_unread([odd()], who="AB", when=make.when)
    store.put_away(sheet_hash(DATA), who="QL", when=make.when, why="blank")
    assert store.waiting(JudgedUpTo.of(reached.to_dict())) is None


def test_it_is_kept_as_it_was_or_verify_says_so(store, make):
    store.keep_unread([odd()], who="AB", when=make.when)
    store.put_away(sheet_hash(DATA), who="QL", when=make.when, why="blank")
    for statement in ("UPDATE unread SET refusal = ''", "DELETE FROM unread_event"):
        with pytest.raises((DBAPIError, StoreError)), store._database.writing() as conn:
            conn.exec_driver_sql(statement)
    store._files.path(sheet_hash(DATA)).write_bytes(b"other")
    assert store.verify() == [f"The sheet a.csv (entry 1) was altered: sheets/{sheet_hash(DATA)}."]


@pytest.mark.parametrize(
    ("statement", "entry"),
    [
        ("UPDATE unread SET refusal = 'read'", "Entry 1"),
        ("UPDATE unread SET file = 'b.csv'", "Entry 1"),
        ("UPDATE unread_event SET state = 'read'", "Entry 2"),
        ("UPDATE unread_event SET note = ''", "Entry 2"),
        ("DELETE FROM unread_event", "Entry 2"),
    ],
)
def test_an_altered_row_is_named_by_its_entry(tmp_path, make, forge, statement, entry):
    with open_store(tmp_path) as store:
        store.keep_unread([odd()], who="AB", when=make.when)
        store.put_away(sheet_hash(DATA), who="QL", when=make.when, why="blank")
        forge(store, statement)
        assert [said[:7] for said in store.verify()] == [entry]


def test_what_an_interrupted_upload_left_goes_and_what_waits_stays(tmp_path, make):
    files = SheetFiles(tmp_path / "sheets")
    with open_store(tmp_path) as store:
        store.keep_unread([odd()], who="AB", when=make.when)
        files.announce([sheet_hash(DATA), sheet_hash(OTHER)])
        files.keep(sheet_hash(OTHER), OTHER)
        store.add_sheets([make.sheet(readings=make.readings(2))], who="AB", when=make.when)
        assert files.path(sheet_hash(DATA)).exists() and not files.path(sheet_hash(OTHER)).exists()
        assert store.verify() == []

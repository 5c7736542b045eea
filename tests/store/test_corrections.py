"""What becomes of held rows, and of accepted ones that were wrong."""

import pytest

from qc.store import StoreError


@pytest.fixture
def filled(store, make):
    sheets = [make.sheet(readings=make.readings(3), held=make.held(3))]
    store.add_sheets(sheets, who="AB", when=make.when)
    return store


def ids(rows):
    return [row.id for row in rows]


def test_a_mended_row_comes_in_under_its_sheet(filled, make):
    new = filled.settle_held(
        [2], "accepted", who="QL", when=make.when, readings=make.readings(1, first=60, text="13,9")
    )
    assert new == [4]
    row = filled.readings_by_id(new).row(0, named=True)
    assert row["text"] == "13,9"
    assert row["sheet"] == filled.sheets()[0].sheet
    assert ids(filled.held()) == [1, 3]
    last = filled.entries()[-1]
    assert (last.kind, last.who) == ("mend", "QL")
    assert filled.verify() == []


def test_a_mended_event_comes_in(filled, make):
    filled.settle_held([1], "accepted", who="QL", when=make.when, events=make.events(1))
    assert filled.events().height == 1
    assert filled.verify() == []


def test_a_mended_row_that_is_known_already_is_not_stored_twice(filled, make):
    new = filled.settle_held([1], "accepted", who="QL", when=make.when, readings=make.readings(1))
    assert new == []
    assert filled.readings().height == 3


def test_a_mended_row_may_replace_what_was_recorded(filled, make):
    (new,) = filled.settle_held(
        [1], "accepted", who="QL", when=make.when, readings=make.readings(1, value=14.0), replaces=1
    )
    assert filled.readings()["id"].to_list() == [2, 3, new]


def test_dropped_rows_stay_on_record(filled, make):
    filled.settle_held([1, 2, 3], "dropped", who="QL", when=make.when, note="test card")
    assert filled.held() == []
    kept = filled.held(open_only=False)
    assert [row.state for row in kept] == ["dropped"] * 3
    assert [row.text for row in kept] == ["13,9x"] * 3
    assert ids(filled.held(open_only=False, ids=[2])) == [2]


@pytest.mark.parametrize(
    "named, state, sentence",
    [
        ([], "dropped", "No held row was named"),
        ([99], "dropped", "no held row 99. `qc held list`"),
        ([1], "mislaid", "can be accepted or dropped, not 'mislaid'"),
    ],
)
def test_what_cannot_be_settled_is_said(filled, make, named, state, sentence):
    before = filled.pulse()
    with pytest.raises(StoreError, match=sentence):
        filled.settle_held(named, state, who="QL", when=make.when)
    assert filled.pulse() == before


def test_a_row_is_settled_once(filled, make):
    filled.settle_held([1], "dropped", who="QL", when=make.when)
    with pytest.raises(StoreError, match="held row 1 is already dropped"):
        filled.settle_held([1, 2], "accepted", who="QL", when=make.when)
    assert ids(filled.held()) == [2, 3]


def test_a_corrected_reading_takes_the_place_of_the_old_one(filled, make):
    new = filled.replace_reading(
        2, make.readings(1, value=13.5), who="QL", when=make.when, why="read upside down"
    )
    assert filled.readings()["id"].to_list() == [1, 3, new]
    assert filled.readings_by_id([2])["value"].to_list() == [pytest.approx(13.9, abs=1e-4)]
    assert filled.readings_by_id([new])["sheet"].to_list() == [filled.sheets()[0].sheet]
    last = filled.entries()[-1]
    assert (last.kind, last.note) == ("correction", "read upside down")
    assert filled.verify() == []


def test_the_old_sheet_does_not_bring_a_corrected_value_back(filled, make):
    filled.replace_reading(1, make.readings(1, value=13.5), who="QL", when=make.when)
    counts = filled.add_sheets(
        [
            make.sheet("old.csv", readings=make.readings(3)),
            make.sheet("new.csv", readings=make.readings(1, value=13.5)),
        ],
        who="AB",
        when=make.when,
    )
    assert [count.accepted for count in counts] == [0, 0]
    assert filled.readings().height == 3


def test_a_correction_can_be_corrected_back_to_the_first_value(filled, make):
    newer = filled.replace_reading(1, make.readings(1, value=13.5), who="QL", when=make.when)
    newest = filled.replace_reading(newer, make.readings(1), who="QL", when=make.when)
    assert filled.readings()["id"].to_list() == [2, 3, newest]
    assert filled.verify() == []


def test_what_cannot_be_replaced_is_said(filled, make):
    new = filled.replace_reading(1, make.readings(1, value=13.5), who="QL", when=make.when)
    with pytest.raises(StoreError, match=f"1 was already replaced, by {new}"):
        filled.replace_reading(1, make.readings(1, value=13.6), who="QL", when=make.when)
    with pytest.raises(StoreError, match="no reading 99"):
        filled.replace_reading(99, make.readings(1), who="QL", when=make.when)
    with pytest.raises(StoreError, match="exactly one row"):
        filled.replace_reading(2, make.readings(2), who="QL", when=make.when)

"""What becomes of held rows, and of accepted ones that were wrong."""

from datetime import timedelta

import pytest

from qc.store import Settlement, StoreError, open_store


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


def test_when_the_sheet_of_a_mended_row_came_is_known_beside_when_it_was_answered(filled, make):
    answer = make.when + timedelta(days=9)
    first = make.readings(2, first=60)
    new = filled.settle_held([2, 3], "accepted", who="QL", when=answer, readings=first)
    filled.settle_held([1], "accepted", who="QL", when=answer, events=make.events(1))
    waited = filled.waited([1, *new])
    assert {number: (one.held, one.came) for number, one in waited.items()} == {
        number: (2, make.when) for number in new
    }
    (event,) = filled.events()["id"]
    assert filled.waited([event], events=True)[event].held == 1
    later = filled.handed_in_later(1, first["day"].max())
    assert (later.readings, later.first, later.last) == (2, None, None)
    assert [(one.readings, one.came, one.answered) for one in later.answered] == [(2, make.when, answer)]


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


def test_a_reading_taken_back_is_asked_by_nobody_and_stays_on_record(filled, make):
    mark = filled.news().mark
    before = filled.pieces()
    filled.withdraw_reading(2, who="QL", when=make.when, why="the gauge was not closed")
    assert filled.readings()["id"].to_list() == [1, 3]
    assert filled.readings_by_id([2]).height == 1
    assert filled.news(mark).readings["serial"].to_list() == ["TB-0000"], "judging must hear of it"
    assert filled.news(filled.news().mark).readings.is_empty()
    assert filled.pieces().rows() == before.rows()
    last = filled.entries()[-1]
    assert (last.kind, last.who, last.note) == ("withdrawal", "QL", "the gauge was not closed")
    assert filled.verify() == []


def test_a_piece_of_which_nothing_stands_is_no_piece(filled, make):
    for number in (1, 2, 3):
        filled.withdraw_reading(number, who="QL", when=make.when)
    assert filled.pieces().is_empty()
    assert filled.means(["TB-0000"], until=make.day).is_empty()
    assert filled.around(["TB-0000"], until=make.day).is_empty()


def test_the_sheet_does_not_bring_back_what_was_taken_back(filled, make):
    filled.withdraw_reading(1, who="QL", when=make.when)
    (count,) = filled.add_sheets([make.sheet(readings=make.readings(3))], who="AB", when=make.when)
    assert (count.accepted, count.already_known) == (0, 3)
    assert filled.readings().height == 2


def test_what_was_taken_back_comes_in_again_by_a_correction(filled, make):
    filled.withdraw_reading(1, who="QL", when=make.when, why="wrong piece")
    with pytest.raises(StoreError, match="1 was taken back already"):
        filled.withdraw_reading(1, who="QL", when=make.when)
    new = filled.replace_reading(1, make.readings(1), who="QL", when=make.when, why="right after all")
    assert filled.readings()["id"].to_list() == [2, 3, new]
    with pytest.raises(StoreError, match=f"1 was already replaced, by {new}"):
        filled.withdraw_reading(1, who="QL", when=make.when)
    assert filled.verify() == []


def test_history_tells_what_became_of_each_reading(filled, make):
    new = filled.replace_reading(1, make.readings(1, value=13.5), who="QL", when=make.when, why="upside down")
    filled.withdraw_reading(3, who="KV", when=make.when, why="no such place")
    rows = filled.history(serials=["TB-0000"]).select("id", "state", "by", "changed_by", "why").rows()
    assert rows == [
        (1, "corrected", new, "QL", "upside down"),
        (2, "stands", None, None, None),
        (3, "taken back", None, "KV", "no such place"),
        (new, "stands", None, None, None),
    ]
    assert filled.history(ids=[3])["changed_at"].to_list() == [make.when]
    assert filled.history(serials=["nobody"]).is_empty()


def test_a_mend_is_undone_with_what_it_brought(filled, make):
    row = make.readings(1, first=60, text="13,9")
    (new,) = filled.settle_held([2], "accepted", who="QL", when=make.when, readings=row)
    waits = filled.undo_held(2, who="KV", when=make.when, why="it was another tube")
    assert waits == 4 and ids(filled.held()) == [1, 3, 4]
    assert filled.readings()["id"].to_list() == [1, 2, 3]
    assert filled.history(ids=[new])["state"].to_list() == ["taken back"]
    old, again = filled.held(open_only=False, ids=[2, 4])
    assert (old.typed, old.reasons, old.cell) == (again.typed, again.reasons, again.cell)
    assert filled.entries()[-1].kind == "undo" and filled.verify() == []
    with pytest.raises(StoreError, match="waits as row 4"):
        filled.undo_held(2, who="KV", when=make.when)
    # the same mend once more brings the same reading in once more
    assert len(filled.settle_held([4], "accepted", who="QL", when=make.when, readings=row)) == 1
    assert filled.verify() == []


def test_an_undone_mend_of_an_event_takes_the_event_back(filled, make):
    mark = filled.news().mark
    filled.settle_held([1], "accepted", who="QL", when=make.when, events=make.events(1))
    filled.undo_held(1, who="QL", when=make.when)
    assert filled.events().is_empty()
    assert filled.news(mark).events["kind"].unique().to_list() == ["shipped"]
    assert filled.verify() == []


def test_a_row_set_aside_waits_again(filled, make):
    filled.settle_held([1], "dropped", who="QL", when=make.when)
    assert filled.undo_held(1, who="QL", when=make.when) == 4
    assert ids(filled.held()) == [2, 3, 4]
    again = make.sheet("again.csv", readings=make.readings(3), held=make.held(3))
    (count,) = filled.add_sheets([again], who="AB", when=make.when)
    assert (count.held, count.held_again) == (3, 3), "the row that waits again is held already"


def test_undoing_a_correction_lets_the_old_figure_stand_again(filled, make):
    row = make.readings(1, value=13.5)
    (new,) = filled.settle_held([1], "accepted", who="QL", when=make.when, readings=row, replaces=1)
    filled.undo_held(1, who="QL", when=make.when)
    standing = filled.readings(serials=["TB-0000"])
    assert standing["value"].to_list() == [pytest.approx(v) for v in (13.900001, 13.900002, 13.9)]
    assert filled.history(ids=[1, new])["by"].to_list() == [new, new + 1]
    assert filled.verify() == []


def test_what_was_put_right_since_is_not_undone(filled, make):
    row = make.readings(1, first=60)
    (new,) = filled.settle_held([1], "accepted", who="QL", when=make.when, readings=row)
    newer = filled.replace_reading(new, make.readings(1, first=61), who="QL", when=make.when)
    with pytest.raises(
        StoreError, match=f"replaced by {newer} since. Put that one right: qc correct {newer}"
    ):
        filled.undo_held(1, who="QL", when=make.when)
    with pytest.raises(StoreError, match="Nothing was decided about a held row 3"):
        filled.undo_held(3, who="QL", when=make.when)


def test_a_correction_may_say_what_stood_first(filled, make):
    """A card says once more what was corrected before: it comes in, though the figure came once already."""
    first = make.readings(1)
    newer = filled.replace_reading(1, make.readings(1, value=13.5), who="QL", when=make.when)
    new = filled.settle_held([1], "accepted", who="QL", when=make.when, readings=first, replaces=newer)
    assert len(new) == 1 and new[0] in filled.readings()["id"].to_list()


def several(make):
    """Return decisions of every sort: taken, set aside, known already, an event, a correction."""
    return [
        Settlement((1,), "accepted", make.readings(2, first=60), note="as typed"),
        Settlement((2,), "dropped", note="set aside"),
        Settlement((3,), "accepted", make.readings(1), note="as typed"),
        Settlement((4, 5), "accepted", events=make.events(1), note="by hand"),
        Settlement((6,), "accepted", make.readings(1, first=60), note="the same once more"),
        Settlement((7,), "accepted", make.readings(1, first=1, value=13.5), replaces=2, note="proposal"),
    ]


def test_many_settled_at_once_leave_what_one_after_the_other_leave_to_the_last_hash(tmp_path, make):
    heads, ids = [], []
    for name in ("at once", "in turn"):
        with open_store(tmp_path / name) as store:
            sheet = make.sheet(readings=make.readings(3), held=make.held(8))
            store.add_sheets([sheet], who="AB", when=make.when)
            parts = [several(make)] if name == "at once" else [[one] for one in several(make)]
            ids.append([own for part in parts for own in store.settle_each(part, who="QL", when=make.when)])
            heads.append([entry.to_dict() for entry in store.entries()])
            assert store.verify() == []
    assert ids[0] == ids[1] == [[4, 5], [], [], [], [], [6]]
    assert heads[0] == heads[1] and len(heads[0]) == 7


def test_one_of_many_settled_at_once_is_undone_by_itself(store, make):
    store.add_sheets([make.sheet(readings=make.readings(3), held=make.held(8))], who="AB", when=make.when)
    store.settle_each(several(make), who="QL", when=make.when)
    store.undo_held(1, who="QL", when=make.when)
    assert store.readings()["id"].to_list() == [1, 3, 6], "4 and 5 are gone, the correction stands"
    assert [row.id for row in store.held()] == [8, 9]
    assert store.verify() == []


def test_settled_at_once_what_rests_on_another_of_them_is_told_as_in_turn(filled, make):
    """A reading that the first one replaces makes room for the second, which says what it said."""
    same = make.readings(1)
    again = [
        Settlement((1,), "accepted", make.readings(1, value=13.5), replaces=1),
        Settlement((2,), "accepted", same),
    ]
    assert [len(own) for own in filled.settle_each(again, who="QL", when=make.when)] == [1, 1]
    both = [
        Settlement((3,), "accepted", make.readings(1, value=13.6), replaces=2),
        Settlement((3,), "dropped"),
    ]
    with pytest.raises(StoreError, match="named in two decisions"):
        filled.settle_each(both, who="QL", when=make.when)
    assert ids(filled.held()) == [3]


def test_two_of_many_that_correct_one_reading_are_both_refused(store, make):
    store.add_sheets([make.sheet(readings=make.readings(3), held=make.held(2))], who="AB", when=make.when)
    both = [Settlement((n,), "accepted", make.readings(1, value=13.5 + n), replaces=1) for n in (1, 2)]
    with pytest.raises(StoreError, match="already replaced"):
        store.settle_each(both, who="QL", when=make.when)
    assert ids(store.held()) == [1, 2] and len(store.entries()) == 1

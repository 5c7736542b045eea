import json
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from qc.ingest import Known, MendError, Recorded, identity, mend_row, recheck
from qc.ingest.frames import reading_frame

TODAY = date(2026, 5, 20)
HEADINGS = ["Date", "Serial", "Model", "Person", "Gauge", "Station", "Direction", "Wall [mm]"]
GOOD = ["2026-05-12", "TH-1001", "tenor", "AB", "BM-1", "3", "90", "0.51"]


@pytest.fixture
def held(judge):
    def run(column, text, title="Bell wall map", headings=HEADINGS, row=GOOD):
        cells = [text if name == column else cell for name, cell in zip(headings, row, strict=True)]
        return judge([["Card", title], [], headings, cells]).held.row(0, named=True)

    return run


def again(held_row, changes, plan, known=None, **more):
    return recheck([mend_row(held_row, changes, plan)], plan, known or Known(today=TODAY), **more)[0]


@pytest.mark.parametrize(
    ("column", "text", "changes", "field", "value"),
    [
        ("Wall [mm]", "x", {"value": "0,52"}, "value", 0.52),
        ("Wall [mm]", "", {"value": 0.52}, "value", 0.52),
        ("Date", "soon", {"day": "13.05.2026"}, "day", date(2026, 5, 13)),
        ("Serial", "", {"serial": " TH-1002 "}, "serial", "TH-1002"),
        ("Person", "ZZ", {"person": "CD"}, "person", "CD"),
        ("Station", "9", {"station": "4"}, "station", "4"),
        ("Gauge", "BM-7", {"gauge": "BM-1"}, "gauge", "BM-1"),
    ],
)
def test_a_mended_row_is_accepted_by_the_same_check(held, plan, column, text, changes, field, value):
    checked = again(held(column, text), changes, plan)
    assert checked.held.height == 0
    row = checked.readings.row(0, named=True)
    assert row[field] == value
    assert f"mended: {field}" in row["note"]


def test_what_was_typed_stays(held, plan):
    row = again(held("Wall [mm]", "x"), {"value": 0.52}, plan).readings.row(0, named=True)
    assert row["text"] == "x"


def test_the_proposal_can_be_accepted_as_it_is(held, plan):
    row = held("Wall [mm]", "510")
    checked = again(row, json.loads(row["proposal"]), plan)
    assert checked.readings["value"].to_list() == [0.51]


def test_a_new_day_moves_the_moment(held, plan):
    row = again(held("Date", "soon"), {"day": "2026-01-13"}, plan).readings.row(0, named=True)
    assert row["measured_at"] == datetime(2026, 1, 12, 23, 0, tzinfo=UTC)
    assert row["offset_min"] == 60


def test_a_mend_that_is_wrong_again_is_held_again(held, plan):
    checked = again(held("Wall [mm]", "x"), {"value": 5.1}, plan)
    assert "outside-sensible" in checked.reasons()
    assert checked.rows == 1


def test_a_confirmed_doubt_lets_the_row_pass_and_a_fault_does_not(judge, plan, held):
    doubled = judge([["Card", "Bell wall map"], [], HEADINGS, GOOD, GOOD]).held.row(0, named=True)
    assert again(doubled, {}, plan, confirmed=["doubled-row"]).held.height == 0
    assert again(held("Wall [mm]", "x"), {}, plan, confirmed=["not-a-number"]).held.height == 1


def test_a_correction_names_the_reading_it_replaces(judge, plan):
    old = reading_frame(
        [
            {
                "serial": "TH-1001",
                "stage": "bell",
                "characteristic": "wall",
                "leg": "",
                "station": "3",
                "direction": "90",
                "surface": "",
                "valve": "",
                "area": "",
                "repeat": 1,
                "day": date(2026, 5, 12),
                "value": 0.47,
            }
        ]
    )
    known = Known(today=TODAY, recorded={identity(old)[0]: Recorded(42, 0.47)})
    row = judge([["Card", "Bell wall map"], [], HEADINGS, GOOD], past=known).held.row(0, named=True)
    assert json.loads(row["proposal"]) == {"replaces": 42}
    mended = mend_row(row, json.loads(row["proposal"]), plan)
    assert mended.replaces == 42
    assert recheck([mended], plan, known)[0].readings["value"].to_list() == [0.51]
    assert recheck([replace(mended, replaces=None)], plan, known)[0].held.height == 1


def test_cells_that_could_not_be_read_are_settled_by_the_mend(judge, plan):
    rows = [
        ["Card", "Tuning card"],
        ["Serial", "TH-1"],
        ["Model", "tenor"],
        ["Date", "2026-05-12"],
        [],
        ["Partial", "Position", "Cents"],
        ["three", "1", "4"],
    ]
    row = judge(rows).held.row(0, named=True)
    checked = again(row, {"partial": "3"}, plan)
    assert checked.readings["partial"].to_list() == [3]
    assert again(row, {"position": 2}, plan).held.height == 1


def test_events_are_mended_too(held, plan):
    row = held(
        "Hours",
        "long",
        "Rework list",
        ["Date", "Serial", "Hours", "Cause"],
        ["2026-05-12", "TH-1", "1", "dent"],
    )
    checked = again(row, {"value": "1,5"}, plan)
    assert checked.events["value"].to_list() == [1.5]
    shipped = held("Shipped", "soon", "Shipping list", ["Serial", "Shipped", "Person"], ["TH-1", "x", "AB"])
    assert again(shipped, {"day": "2026-05-12"}, plan).events["day"].to_list() == [date(2026, 5, 12)]


def test_good_and_fault_may_be_typed_as_words(held, plan):
    row = held(
        "Joint faults",
        "maybe",
        "Joints card",
        ["Date", "Serial", "Model", "Joint faults"],
        ["2026-05-12", "TH-1", "tenor", "0"],
    )
    assert again(row, {"value": "ok"}, plan).readings["value"].to_list() == [0.0]


def test_many_rows_are_judged_together_and_answered_one_by_one(held, plan):
    rows = [
        mend_row(held("Wall [mm]", "x"), {"value": v, "serial": f"TH-10{n:02d}"}, plan)
        for n, v in enumerate((0.5, 5.0, 0.51), 1)
    ]
    assert [c.held.height for c in recheck(rows, plan, Known(today=TODAY))] == [0, 1, 0]


@pytest.mark.parametrize(
    ("written", "text", "column", "value"),
    [
        ("Serial", "TH-7", "serial", "TH-7"),
        ("MODEL", "tenor", "model", "tenor"),
        ("Date", "13.05.2026", "day", date(2026, 5, 13)),
        ("Die", "M-2", "tool", "M-2"),
        ("Value", "0,52", "value", 0.52),
    ],
)
def test_a_column_is_named_as_the_card_has_it(held, plan, written, text, column, value):
    assert mend_row(held("Wall [mm]", "x"), {written: text}, plan).row[column] == value


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"text": "0.52"}, "text cannot be changed"),
        ({"sheet": "x"}, "sheet cannot be changed"),
        ({"colour": "red"}, "colour cannot be changed.* the columns are: .*day, serial, model"),
        ({"value": "thin"}, "'thin' is no figure for value. Type a number in mm"),
        ({"day": "soon"}, "'soon' is no date"),
        ({"partial": "x"}, "'x' is no whole number for partial"),
    ],
)
def test_mends_that_cannot_be_used_are_refused(held, plan, changes, words):
    with pytest.raises(MendError, match=words):
        mend_row(held("Wall [mm]", "x"), changes, plan)


def test_to_dict_says_before_and_after(held, plan):
    mended = mend_row(held("Wall [mm]", "x"), {"value": "0.52", "day": "2026-05-13"}, plan)
    plain = mended.to_dict()
    assert plain["changed"] == {"value": [None, 0.52], "day": ["2026-05-12", "2026-05-13"]}
    json.dumps(plain)

"""Taking sheets in: nothing lost, nothing twice, all or none."""

import math
from dataclasses import replace
from datetime import UTC, datetime

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qc.plan import EVENT, READING
from qc.store import StoreError, open_store, sheet_hash


def add(store, make, *sheets):
    return store.add_sheets(sheets, who="AB", when=make.when)


def test_every_row_is_accounted_for(store, make):
    sheet = make.sheet(readings=make.readings(6), events=make.events(2), held=make.held(3))
    (count,) = add(store, make, sheet)
    assert count.to_dict() == {
        "sheet": sheet.hash,
        "file": "slide.csv",
        "rows": 11,
        "accepted": 8,
        "held": 3,
        "already_known": 0,
        "reasons": {"not-a-number": 3},
        "held_again": 0,
    }


def test_what_goes_in_comes_out(store, make):
    rows = make.readings(6)
    add(store, make, make.sheet(readings=rows))
    back = store.readings()
    assert back.columns == [*READING, "id"]
    assert back["id"].to_list() == [1, 2, 3, 4, 5, 6]
    same = [name for name in rows.columns if name in READING]
    assert back.select(same).equals(rows.select(same))
    assert back["sheet"].unique().to_list() == [sheet_hash(b"slide.csv")]
    assert back["entered_at"].unique().to_list() == [make.when]
    assert back["note"].to_list() == [None] * 6


def test_events_come_out_too(store, make):
    add(store, make, make.sheet(events=make.events(2, kind="rework", value=1.5, code="handling", tool="M-7")))
    back = store.events("rework")
    assert back.columns == [*EVENT, "id"]
    assert back.select("kind", "serial", "value", "code", "tool").rows() == [
        ("rework", "TB-0000", 1.5, "handling", "M-7"),
        ("rework", "TB-0001", 1.5, "handling", "M-7"),
    ]


def test_the_same_sheet_again_changes_nothing(store, make):
    sheet = make.sheet(readings=make.readings(6), events=make.events(2), held=make.held(3))
    add(store, make, sheet)
    before = (store.entries(), store.held(), store.sheets(), store.readings(), store.events())
    (count,) = add(store, make, sheet)
    assert (count.rows, count.accepted, count.held, count.already_known) == (11, 0, 3, 8)
    assert count.reasons == {"not-a-number": 3}
    after = (store.entries(), store.held(), store.sheets(), store.readings(), store.events())
    assert before[:3] == after[:3]
    assert all(a.equals(b) for a, b in zip(before[3:], after[3:], strict=True))


def test_a_row_accepted_from_a_sheet_is_not_held_when_the_sheet_comes_again(store, make):
    """What came in meanwhile, such as a gauge check that was off, may doubt it: that is for the hold list."""
    sheet = make.sheet(readings=make.readings(6))
    add(store, make, sheet)
    before = (store.entries(), store.held())
    cells = store.readings().select("tab", "row", "column").head(2)
    doubted = make.held(3).with_columns(
        pl.Series("table", ["reading"] * 3),
        *(pl.Series(name, [*cells[name], cells[name][0]]) for name in ("tab", "row", "column")),
    )
    doubted = doubted.with_columns(row=pl.when(pl.int_range(3) == 2).then(999).otherwise("row"))
    (count,) = add(store, make, replace(sheet, readings=make.readings(6)[2:], held=doubted[:2]))
    assert (count.rows, count.accepted, count.held, count.already_known) == (6, 0, 0, 6)
    assert (store.entries(), store.held()) == before
    (count,) = add(store, make, replace(sheet, readings=make.readings(6)[2:], held=doubted))
    assert (count.held, count.already_known, len(store.held())) == (1, 6, 1)


def test_the_same_rows_in_another_sheet_are_known(store, make):
    rows = make.readings(6)
    add(store, make, make.sheet(readings=rows, held=make.held(2)))
    moved = rows.reverse().with_columns(
        row=pl.lit(77), column=pl.lit("G"), text=pl.lit("13,9"), note=pl.lit("x")
    )
    (count,) = add(store, make, make.sheet("other.xlsx", readings=moved, held=make.held(2)))
    assert (count.accepted, count.held, count.already_known) == (0, 2, 6)
    assert store.readings().height == 6
    assert len(store.held()) == 2
    assert [sheet.file for sheet in store.sheets()] == ["slide.csv", "other.xlsx"]


def test_the_same_rows_twice_in_one_upload_are_known_the_second_time(store, make):
    one = make.sheet("a.csv", readings=make.readings(3), held=make.held(1))
    two = make.sheet("b.csv", readings=make.readings(4), held=make.held(2))
    first, second = add(store, make, one, two)
    assert (first.accepted, second.accepted, second.already_known) == (3, 1, 3)
    assert (first.held, second.held, len(store.held())) == (1, 2, 2)


def test_a_row_doubled_in_its_sheet_counts_once(store, make):
    rows = pl.concat([make.readings(3), make.readings(2)])
    (count,) = add(store, make, make.sheet(readings=rows))
    assert (count.rows, count.accepted, count.already_known) == (5, 3, 2)


DIFFERENT = {
    "serial": "TB-9999",
    "stage": "lacquer",
    "characteristic": "outer_bore",
    "leg": "left",
    "spot": 3,
    "repeat": 2,
    "value": 14.0,
    "unit": "um",
    "person": "CD",
    "gauge": "MIC-2",
    "tool": "D1",
    "tool_count": 12,
    "batch": "B7",
    "method": "stop",
    "measured_at": datetime(2026, 5, 14, 9, 30, tzinfo=UTC),
    "has_time": True,
}


@pytest.mark.parametrize("column", DIFFERENT)
def test_any_difference_of_meaning_makes_another_reading(store, make, column):
    add(store, make, make.sheet("a.csv", readings=make.readings(1)))
    other = make.readings(1, **{column: DIFFERENT[column]})
    (count,) = add(store, make, make.sheet("b.csv", readings=other))
    assert (count.accepted, count.already_known) == (1, 0)


@pytest.mark.parametrize("value", [None, math.nan, math.inf])
def test_a_reading_without_a_figure_is_never_accepted_and_nothing_of_the_upload_stays(store, make, value):
    good = make.sheet("good.csv", readings=make.readings(3))
    bad = make.sheet("bad.csv", readings=make.readings(1, value=pl.lit(value, pl.Float64)))
    with pytest.raises(StoreError, match="must be held"):
        add(store, make, good, bad)
    assert store.readings().is_empty()
    assert store.entries() == []


def test_bytes_that_do_not_fit_their_hash_undo_the_whole_upload(store, make):
    good = make.sheet("good.csv", readings=make.readings(3))
    false = make.sheet("false.csv", readings=make.readings(3, first=50))
    false = type(false)(false.file, "0" * 64, false.data, false.card, false.readings)
    with pytest.raises(StoreError, match="send it again"):
        add(store, make, good, false)
    assert store.readings().is_empty()
    assert store.sheets() == []
    assert store.verify() == []
    (count,) = add(store, make, good)  # and the good one goes in afterwards
    assert count.accepted == 3


def test_the_sheet_is_kept_byte_for_byte(store, make):
    data = bytes(range(256)) * 3
    sheet = make.sheet("../../etc/passwd", data=data, readings=make.readings(1))
    add(store, make, sheet)
    assert store.sheet_bytes(sheet.hash) == data
    assert store.has_sheet(sheet.hash)
    assert not store.has_sheet("0" * 64)
    assert [p.name for p in (store.folder / "sheets").iterdir() if p.is_file()] == [sheet.hash]


def test_an_empty_upload_and_an_empty_sheet(store, make):
    assert add(store, make) == []
    (count,) = add(store, make, make.sheet())
    assert count.rows == 0
    assert len(store.sheets()) == 1


def test_each_sheet_is_an_entry_chained_to_the_one_before(store, make):
    add(store, make, make.sheet("a.csv", readings=make.readings(2)), make.sheet("b.csv", held=make.held(1)))
    one, two = store.entries()
    assert (one.id, one.kind, one.who, one.when, one.note) == (1, "sheet", "AB", make.when, "a.csv")
    assert two.before == one.hash
    assert two.hash == two.own_hash()
    assert one.to_dict()["when"] == make.when.isoformat()
    assert store.entries(since=1) == [two]


def test_a_sheet_that_comes_again_after_the_plan_was_mended_brings_its_held_rows_in(store, make):
    held = make.held(2, reason="unknown-person")
    add(store, make, make.sheet(readings=make.readings(3), held=held))
    now_good = make.readings(1, first=90, row=100, column="D")
    again = make.sheet(readings=pl.concat([make.readings(3), now_good]), held=held[1:])
    (count,) = add(store, make, again)
    assert (count.accepted, count.held, count.already_known) == (1, 1, 3)
    assert [row.row for row in store.held()] == [101]
    assert [row.state for row in store.held(open_only=False)] == ["accepted", "open"]
    assert len(store.sheets()) == 1
    assert store.verify() == []


def test_a_held_row_that_was_settled_is_known_when_it_comes_again(store, make):
    add(store, make, make.sheet(held=make.held(2)))
    store.settle_held([1], "dropped", who="QL", when=make.when, note="typed twice")
    (count,) = add(store, make, make.sheet("again.csv", held=make.held(2)))
    assert (count.held, count.already_known) == (1, 1)


cells = st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="\x00"), max_size=12)
numbers = st.floats(allow_nan=False, allow_infinity=False)
counts = st.one_of(st.none(), st.integers(-(2**62), 2**62))


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(cells, cells, numbers, counts), min_size=1, max_size=8))
def test_any_text_and_number_comes_back_and_is_known_afterwards(tmp_path_factory, make, rows):
    frame = pl.DataFrame(
        rows,
        schema={"note": pl.String, "station": pl.String, "value": pl.Float64, "tool_count": pl.Int64},
        orient="row",
    ).with_columns(serial=pl.int_range(pl.len()).cast(pl.String), day=pl.lit(make.day))
    with open_store(tmp_path_factory.mktemp("any")) as store:
        add(store, make, make.sheet("a.csv", readings=frame))
        back = store.readings().select(frame.columns)
        (again,) = add(store, make, make.sheet("b.csv", readings=frame.reverse()))
        assert (again.accepted, again.already_known) == (0, frame.height)
        assert store.verify() == []
    empty = [pl.col(name).replace({"": None}) for name in ("note", "station")]
    assert back.equals(frame.with_columns(empty))

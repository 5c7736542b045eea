"""Reading back: filters in the database give what filters on the whole table would."""

from datetime import timedelta

import polars as pl
import pytest

from qc.column_types import polars_schema
from qc.plan import EVENT, READING
from qc.store import HeldReason, SheetRecord, sheet_hash


@pytest.fixture
def wide(store, make):
    """Three characteristics at two stages, three models, forty serials over forty days, some corrected."""
    n = 480
    numbers = pl.int_range(n, eager=True)
    rows = make.readings(n).with_columns(
        serial=pl.format("TB-{}", numbers % 40),
        model=pl.Series([("alto", "tenor", "bass", None)[i % 40 % 4] for i in range(n)]),
        stage=pl.Series([("slide", "slide", "lacquer")[i % 3] for i in range(n)]),
        characteristic=pl.Series([("inner_od", "outer_bore", "thickness")[i % 3] for i in range(n)]),
        day=pl.Series([make.day + timedelta(days=i % 40) for i in range(n)]),
        repeat=numbers // 120 + 1,
    )
    store.add_sheets([make.sheet(readings=rows, events=make.events(5))], who="AB", when=make.when)
    store.add_sheets(
        [make.sheet("b.csv", events=make.events(3, kind="part", subject="T9"))], who="AB", when=make.when
    )
    for old in (1, 5, 400):
        row = store.readings_by_id([old]).with_columns(value=pl.lit(99.0))
        store.replace_reading(old, row, who="QL", when=make.when)
    return store


def test_columns_and_types_are_the_plans(wide):
    for frame, columns in ((wide.readings(), READING), (wide.events(), EVENT)):
        assert frame.columns == [*columns, "id"]
        assert [frame.schema[name] for name in columns] == list(polars_schema(columns).values())


def test_an_empty_store_answers_with_empty_frames_of_the_same_types(wide, tmp_path):
    from qc.store import open_store

    with open_store(tmp_path / "empty") as empty:
        assert empty.readings().schema == wide.readings().schema
        assert empty.events().schema == wide.events().schema
        assert empty.pieces().schema == wide.pieces().schema
        assert empty.recent_readings([("slide", "inner_od", "tenor", 5)]).is_empty()
        assert empty.recent_readings([("slide", "inner_od", "tenor", 5)]).schema == empty.readings().schema
        assert (empty.held(), empty.sheets(), empty.said_of_series()) == ([], [], [])
        assert (empty.verdicts(), empty.signals(), empty.entries(), empty.verify()) == ([], [], [], [])


FILTERS = {
    "stage": ({"stage": "lacquer"}, pl.col("stage") == "lacquer"),
    "characteristics": (
        {"stage": "slide", "characteristics": ["inner_od"]},
        (pl.col("stage") == "slide") & (pl.col("characteristic") == "inner_od"),
    ),
    "serials": ({"serials": ["TB-3", "TB-17", "none"]}, pl.col("serial").is_in(["TB-3", "TB-17"])),
    "no serials": ({"serials": []}, pl.lit(False)),
    "all": ({}, pl.lit(True)),
}


@pytest.mark.parametrize("name", FILTERS)
def test_filters_agree_with_filtering_everything(wide, name):
    arguments, condition = FILTERS[name]
    assert wide.readings(**arguments).equals(wide.readings().filter(condition))


def test_days_are_filtered_on_both_ends_included(wide, make):
    first, last = make.day + timedelta(days=3), make.day + timedelta(days=5)
    found = wide.readings(since=first, until=last)
    assert found.equals(wide.readings().filter(pl.col("day").is_between(first, last)))
    assert set(found["day"]) == {first + timedelta(days=n) for n in range(3)}


def test_more_serials_than_fit_one_question(wide):
    serials = [f"TB-{n}" for n in range(25_000)]
    assert wide.readings(serials=serials).equals(wide.readings())


def test_replaced_readings_are_left_out_and_their_successors_are_there(wide):
    rows = wide.readings()
    assert rows.height == 480
    assert not set(rows["id"]) & {1, 5, 400}
    assert rows.filter(pl.col("value") == 99.0).height == 3
    assert wide.readings_by_id([1, 400])["id"].to_list() == [1, 400]


@pytest.mark.parametrize("model", ["tenor", None])
def test_recent_readings_are_the_last_of_their_kind(wide, model):
    rows = wide.readings(stage="slide", characteristics=["inner_od"])
    own = rows.filter(pl.col("model").is_null() if model is None else pl.col("model") == model)
    found = wide.recent_readings([("slide", "inner_od", model, 7)])
    assert found.equals(own.sort("id").tail(7))


def test_recent_readings_of_several_kinds_come_kind_after_kind(wide, monkeypatch):
    """Asked for in one go or one by one, and in as many parts as one question takes, they are the same."""
    kinds = [("slide", "inner_od", "tenor", 7), ("slide", "none", None, 5), ("slide", "inner_od", None, 30)]
    apart = pl.concat([wide.recent_readings([kind]) for kind in kinds])
    assert apart.height == 37 and wide.recent_readings(kinds).equals(apart)
    monkeypatch.setattr("qc.store.queries.MOST_NAMES", 4)
    assert wide.recent_readings(kinds).equals(apart)


def test_events_by_kind_serial_subject_and_day(wide, make):
    assert wide.events("part").height == 3
    assert wide.events(["part", "shipped"]).height == 8
    assert wide.events(serials=["TB-0001"])["kind"].to_list() == ["shipped", "part"]
    assert wide.events(subjects=["T9"]).height == 3
    assert wide.events(since=make.day + timedelta(days=1)).is_empty()
    assert wide.events(until=make.day - timedelta(days=1)).is_empty()
    assert wide.events("shipped", since=make.day, until=make.day).height == 5


def test_pieces_have_model_first_day_and_shipping(wide, make):
    pieces = wide.pieces(["TB-5", "TB-0001"]).sort("serial")
    assert pieces.rows() == [
        ("TB-0001", "tenor", make.day, make.day),
        ("TB-5", "tenor", make.day + timedelta(5), None),
    ]
    assert wide.pieces().height == 45


def test_sheets_say_who_and_when(wide, make):
    assert wide.sheets() == [
        SheetRecord(1, sheet_hash(b"slide.csv"), "slide.csv", "slide-card", 9, make.when, "AB", 1),
        SheetRecord(2, sheet_hash(b"b.csv"), "b.csv", "slide-card", 5, make.when, "AB", 2),
    ]


def test_a_held_row_says_what_was_typed_and_why_it_waits(store, make):
    row = make.held(1).with_columns(proposal=pl.lit('{"value": 13.9}'))
    sheet = make.sheet(
        "a.csv", held=pl.concat([row, make.held(1, first=7, text="x").drop("tab", "cell")], how="diagonal")
    )
    store.add_sheets([sheet], who="AB", when=make.when)
    first, second = store.held()
    assert first.reasons == (HeldReason("not-a-number", "No number.", "Type it anew.", None),)
    assert (first.proposal, second.proposal) == ({"value": 13.9}, {})
    assert (first.state, first.who, first.entered) == ("open", "AB", make.when)
    assert (first.sheet, first.file) == (sheet.hash, "a.csv")
    assert (first.row, first.cell, second.row, second.tab, second.cell) == (100, "D100", 107, "", "")
    assert first.as_typed() == {"serial": "TB-0000", "text": "13,9x", "day": "2026-05-14", "row": 0}
    assert first.day == make.day


@pytest.mark.parametrize("typed", ['{"serial": "TB-1"}', '{"day": ""}', '{"day": null}', ""])
def test_a_held_row_without_a_readable_day_counts_on_the_day_it_came(store, make, typed):
    held = make.held(1).with_columns(typed=pl.lit(typed))
    store.add_sheets([make.sheet(held=held)], who="AB", when=make.when + timedelta(days=3))
    assert store.held()[0].day == make.day + timedelta(days=3)


def test_more_names_than_one_question_holds_are_asked_for_in_parts(wide, monkeypatch):
    serials = sorted(set(wide.readings()["serial"]))
    whole = wide.readings(serials=serials), wide.events(serials=serials)
    monkeypatch.setattr("qc.store.frames.MOST_NAMES", 3)
    assert whole[0].equals(wide.readings(serials=serials[::-1]))
    assert whole[1].equals(wide.events(serials=[*serials, *serials]))
    wide.set_states({f"s{n}": n for n in range(8)})
    assert wide.states([f"s{n}" for n in range(8)]) == {f"s{n}": n for n in range(8)}


def test_a_reader_sees_one_state_while_a_writer_works(wide, make):
    """A question that began before an upload is answered without it, and neither waits for the other."""
    with wide._database.reading() as conn:
        from qc.store.queries import read_readings

        before = read_readings(conn)
        wide.add_sheets(
            [make.sheet("c.csv", readings=make.readings(5, stage="new"))], who="AB", when=make.when
        )
        assert wide._database.sqlite is False or read_readings(conn).height == before.height
    assert wide.readings().height == before.height + 5

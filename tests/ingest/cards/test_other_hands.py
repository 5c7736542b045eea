"""Hands that write a corner, a unit, a place or a serial in a way of their own: read as they were meant."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from qc.ingest import Known, SheetError, check, read_sheet, unfold
from qc.plan import PLACE, load_plan

PLAN = load_plan((Path(__file__).parents[2] / "strangers" / "fourth" / "plan.yaml").read_text("utf-8"))
TODAY = date(2026, 4, 17)


def judge(text: str, known: Known | None = None):
    """Hand a sheet in to a workshop of the plan, which has nothing else unless it is given."""
    parts = [unfold(grid, PLAN) for grid in read_sheet(text.encode("utf-8"), "own.csv")]
    return check(parts, PLAN, known or Known(today=TODAY))


def read(text: str) -> set[tuple[str, str, str, float]]:
    """Return what is accepted of a sheet: serial, figure, places, value."""
    found = set()
    for one in judge(text):
        for row in one.readings.to_dicts():
            places = " ".join(f"{p}={row[p]}" for p in PLACE if row[p] not in (None, ""))
            found.add((row["serial"], row["characteristic"], places, row["value"]))
    return found


def asked(text: str, known: Known | None = None) -> list[tuple[str, str]]:
    """Return what is asked of each held row, and the mend that is offered."""
    return [
        (json.loads(row["reasons"])[0]["sentence"], row["proposal"])
        for one in judge(text, known)
        for row in one.held.to_dicts()
    ]


SLIDE = {
    ("OS-301", "outer_bore", "leg=upper station=mouth", 14.052),
    ("OS-301", "outer_bore", "leg=lower station=mouth", 14.055),
    ("OS-301", "inner_od", "leg=upper station=mouth surface=stocking", 13.902),
    ("OS-301", "inner_od", "leg=lower station=mouth surface=stocking", 13.899),
}
HEAD = "Slide card;;OS-301\nrowan;15.04.2026;JO\n\n"


@pytest.mark.parametrize(
    "table",
    [
        pytest.param(
            ";upper;lower\nBore mouth;14.052;14.055\nStocking mouth;13.902;13.899\n", id="legs across"
        ),
        pytest.param(
            "Place;Stocking;Bore\nU mouth;13.902;14.052\nL mouth;13.899;14.055\n", id="short places"
        ),
        pytest.param(
            "Point;Stocking;Bore\nmouth upper;13.902;14.052\nmouth lower;13.899;14.055\n", id="station first"
        ),
        pytest.param(
            "Bore;mouth;crook\nupper;14.052;\nlower;14.055;\n\nStocking;mouth;crook\nupper;13.902;\nlower;13.899;\n",
            id="a corner over each table",
        ),
        pytest.param(
            "What;Place;Value;Unit\nBore;U mouth;14052;µm\nBore;L mouth;14.055;mm\n"
            "Stocking;U mouth;13.902;mm\nStocking;L mouth;13899;um\n",
            id="a unit in each row",
        ),
    ],
)
def test_one_slide_in_many_hands(table: str) -> None:
    assert read(HEAD + table) == SLIDE


TUNING = "Tuning card\nSerial;OS-302;Model;rowan;Date;15.04.2026;Valve;open\n\n"
NOTES = {
    ("OS-302", "note", "valve=open position=1 partial=2", 4.0),
    ("OS-302", "note", "valve=open position=1 partial=3", -2.0),
    ("OS-302", "note", "valve=open position=2 partial=2", 5.0),
    ("OS-302", "note", "valve=open position=2 partial=3", -1.0),
}


@pytest.mark.parametrize(
    ("corner", "columns"), [("Pos / Part.", "2;3"), ("Position \\ Partial", "2;3")], ids=["short", "whole"]
)
def test_a_corner_names_rows_and_columns(corner: str, columns: str) -> None:
    sheet = f"{TUNING}{corner};{columns}\n1;4;-2\n2;5;-1\n"
    assert read(sheet) == NOTES


def test_a_corner_the_other_way_round_is_told_by_its_numbers() -> None:
    sheet = f"{TUNING}Part. / Pos;2;8\n1;4;-2\n2;5;-1\n"
    assert {places for _, _, places, _ in read(sheet)} == {
        f"valve=open position={row} partial={column}" for row in (1, 2) for column in (2, 8)
    }


def test_pieces_stand_in_columns_behind_a_number_sign() -> None:
    sheet = (
        "Bell card\nNo.;OS-303;OS-304\nModel;rowan;alder\nDate;14.4.26;15.4.26\nBell mass (g);408,5;238,9\n"
    )
    assert read(sheet) == {("OS-303", "bell_mass", "", 408.5), ("OS-304", "bell_mass", "", 238.9)}


def test_a_unit_that_does_not_fit_is_asked_about() -> None:
    sheet = "Bell card\nSerial;Model;Date;What;Value;Unit\nOS-303;rowan;15.04.2026;Bell mass;408.5;mm\n"
    assert "unit 'mm' cannot be read" in asked(sheet)[0][0]


ON_RECORD = Known(today=TODAY, serials={f"OS-{n}": "rowan" for n in range(290, 302)})


@pytest.mark.parametrize("typed", ["OS 303", "OS–303", "os303", "OS_303", "os - 303", "OS-303"])
@pytest.mark.parametrize("known", [ON_RECORD, Known(today=TODAY)], ids=["known way", "first sheet"])
def test_a_serial_is_one_whatever_stands_between_its_letters_and_number(typed: str, known: Known) -> None:
    (one,) = judge(f"Bell card\nSerial;Model;Date;Bell mass\n{typed};rowan;15.04.2026;408.5\n", known)
    row = one.readings.to_dicts()[0]
    assert row["serial"] == ("OS303" if typed == "os303" and not known.serials else "OS-303")
    assert row["note"] == ("" if typed == row["serial"] else f"serial typed {typed}")


def test_a_piece_on_record_is_found_whatever_its_sign() -> None:
    known = Known(today=TODAY, serials={"OS303": "rowan"})
    (one,) = judge("Bell card\nSerial;Model;Date;Bell mass\nOS-303;rowan;15.04.2026;408.5\n", known)
    assert one.readings["serial"].to_list() == ["OS303"]


@pytest.mark.parametrize(
    ("number", "known", "whole"),
    [
        ("303", ON_RECORD, "OS-303"),
        ("297", ON_RECORD, "OS-297"),
        ("303", Known(today=TODAY), ""),
        ("03", Known(today=TODAY, serials={"OS-303": "rowan", "OS-403": "rowan"}), ""),
        ("03", Known(today=TODAY, serials={"OS-303": "rowan", "OS-404": "rowan"}), "OS-303"),
    ],
    ids=["next", "on record", "first sheet", "two end so", "one ends so"],
)
def test_a_number_alone_is_asked_about_with_the_one_serial_that_fits(
    number: str, known: Known, whole: str
) -> None:
    (said, mend), *others = asked(
        f"Bell card\nNo.;Model;Date;Bell mass\n{number};rowan;15.04.2026;408.5\n", known
    )
    assert f"{number} is a number without the OS that the shop's serials begin with" in said
    assert json.loads(mend or "{}").get("serial", "") == whole and not others


def test_numbers_that_stand_on_record_are_serials_of_their_own() -> None:
    known = Known(today=TODAY, serials={"17": "rowan"})
    (one,) = judge("Bell card\nNo.;Model;Date;Bell mass\n303;rowan;15.04.2026;408.5\n", known)
    assert one.readings["serial"].to_list() == ["303"]


def test_a_date_that_goes_two_ways_is_asked_about_with_both() -> None:
    (said, _) = asked("Pull test\nDate;Serial;Model;Pull\n04/03/2026;OS-303;rowan;1.6\n")[0]
    assert "may mean 4 Mar 2026 read day-first or 3 Apr 2026 read month-first" in said


def test_a_place_that_no_figure_has_is_asked_about_by_its_name_and_costs_only_its_row() -> None:
    sheet = HEAD + "Place;Stocking;Bore\nU bell;13.902;14.052\nL mouth;13.899;14.055\n"
    assert [sentence.split(": ", 1)[1][:33] for sentence, _ in asked(sheet)] == [
        "Slide card has no place U bell."[:33]
    ] * 2
    assert {places.split(" surface")[0] for _, _, places, _ in read(sheet)} == {"leg=lower station=mouth"}


def test_a_place_that_no_figure_has_is_refused_where_nothing_else_is_read() -> None:
    with pytest.raises(SheetError, match="no place U bell"):
        judge(HEAD + "Place;Stocking;Bore\nU bell;13.902;14.052\n")


BELLS = "Model;Serial;Bell mass\nrowan;OS-303;408.5\nrowan;OS-304;407.9\n"


@pytest.mark.parametrize("line", ["date 15.4.2026;by JO", "date 15.4.2026;warm day", "Date 15.4.2026;;JO;?"])
def test_what_bears_its_own_label_above_a_table_holds_whatever_stands_beside_it(line: str) -> None:
    (one,) = judge(f"Bell card\n{line}\n\n{BELLS}")
    assert one.readings["day"].to_list() == [date(2026, 4, 15)] * 2
    assert one.readings["person"].to_list() == (["JO" if "JO" in line else ""] * 2)


def test_who_signs_a_sheet_and_is_not_in_the_plan_is_asked_about() -> None:
    (said, _), *_ = asked(f"Bell card\ndate 15.4.2026\nby QX\n\n{BELLS}")
    assert "QX" in said
    assert not asked(f"Bell card\ndate 15.4.2026\nby hand\n\n{BELLS}")


TABLE = ";upper;lower\nBore mouth;14.052;14.055\nStocking mouth;13.902;13.899\n"


@pytest.mark.parametrize(
    "line",
    [
        "Measured slide OS-301, rowan, 15.04.2026, JO",
        "the slide OS-301;15.04.2026;JO;rowan",
        "OS-301 (rowan's order), 15.04.2026, JO, 21.5 °C, rowan",
    ],
)
def test_a_line_of_words_says_what_is_understood_of_it(line: str) -> None:
    assert read(f"Slide card\n{line}\n\n{TABLE}") == SLIDE
    (one,) = judge(f"Slide card\n{line}\n\n{TABLE}")
    assert set(one.readings["person"]) == {"JO"} and set(one.readings["day"]) == {date(2026, 4, 15)}
    assert set(one.readings["air_c"]) == ({21.5} if "°C" in line else {None})


def test_of_two_serials_on_a_line_of_words_none_is_taken() -> None:
    with pytest.raises(SheetError, match="Serial"):
        judge(f"Slide card\nlike OS-300, now OS-301 it is, rowan, 15.04.2026, JO\n\n{TABLE}")

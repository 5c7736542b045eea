"""The page of a piece: judgement first, each figure where it is worst, maps of its places, ways on."""

from dataclasses import replace
from datetime import date

import pytest

from dashboard.along import draw_along
from dashboard.drawing import markup
from dashboard.pages import also, instruments
from qc.jobs.board import FigureOfPiece, PartOfPiece, PieceRecord, PlaceFigure, grid_of
from qc.jobs.whole_piece import Among, Leaving

DAY = date(2026, 11, 20)


def place(value, lower=100.0, upper=200.0, **at):
    inside = (
        None
        if lower is None and upper is None
        else (lower is None or value >= lower) and (upper is None or value <= upper)
    )
    return PlaceFigure(", ".join(at.values()), at, value, lower, upper, inside)


def figure(name, *places, lower=100.0, upper=200.0):
    worst = min(places, key=lambda one: one.value)
    return FigureOfPiece(
        "slide",
        "Slide",
        name,
        name.capitalize(),
        "um",
        "measured",
        150.0,
        worst,
        lower,
        upper,
        worst.inside,
        False,
        "95 µm at upper, mouth, under 100 µm",
        "",
        "BG-1",
        "",
        "",
        "KM",
        False,
        "bore gauge BG-1 was never checked",
        DAY,
        places,
        among=Among(20, 18, 2, 120.0, 9.0),
    )


LEGS = [
    place(v, leg=leg, station=at)
    for leg, v, at in [
        ("upper", 95.0, "mouth"),
        ("upper", 150.0, "crook"),
        ("lower", 140.0, "mouth"),
        ("lower", 145.0, "crook"),
    ]
]


@pytest.fixture
def record():
    leaving = Leaving("Slide", DAY, "", (), DAY, DAY, None, None, "It stands at Slide since 20 Nov 2026.")
    part = PartOfPiece("bell", "B-9", "SH-1", "", DAY, "AB")
    return PieceRecord(
        "TQ-0442",
        "tenor",
        "Tenor",
        "Slide, 20 Nov 2026",
        None,
        DAY,
        None,
        (),
        (figure("clearance", *LEGS),),
        (),
        (part,),
        (),
        (),
        (),
        (),
        (),
        (),
        leaving,
        ("Keep it back: clearance.", "Outside its limits in 1 of 1 figure."),
    )


@pytest.fixture
def page(in_app, board, monkeypatch, record):
    view = replace(board.instrument("TQ-0442"), record=record)
    monkeypatch.setattr(board, "instrument", lambda serial: view)
    return instruments.one_layout("TQ-0442")


def test_the_judgement_stands_before_the_figures(page, texts):
    said = texts(page)
    assert said.index("Keep it back: clearance.") < said.index("Its figures") < said.index("above 18 of 20")
    assert "gauge in doubt" in said and "95 at upper, mouth" in said


def test_every_place_is_on_the_map_and_what_is_outside_says_so(page, texts):
    said = texts(page)
    assert all(one in said for one in ("95", "150", "140", "145")) and " out" in said


def test_parts_lead_to_all_that_bears_their_batch(page):
    assert "/also/batch/SH-1" in str(page.to_plotly_json())


def test_grids_are_laid_out_by_what_was_measured():
    legs = grid_of(figure("clearance", *LEGS))
    assert (legs.rows, legs.columns) == (("upper", "lower"), ("mouth", "crook"))
    assert legs.cells[0][0].out and not legs.cells[1][1].out
    notes = [
        place(float(n), None, None, valve="open", position=p, partial=n)
        for p, n in [("1", "10"), ("1", "2"), ("3", "2")]
    ]
    grid = grid_of(figure("note", *notes, lower=None, upper=None))
    assert grid.rows == ("partial 2", "partial 10") and grid.columns == ("position 1", "position 3")
    assert grid.cells[1][1] is None
    spots = grid_of(
        figure(
            "thickness", *(place(float(n), area=a, spot=str(n)) for a in ("flare", "stem") for n in (1, 2))
        )
    )
    assert (spots.rows, spots.columns) == (("flare", "stem"), ("spot 1", "spot 2"))


def test_lines_along_the_legs_lie_between_the_limits():
    drawn = markup(draw_along(figure("clearance", *LEGS)))
    assert "upper leg" in drawn and ">100<" in drawn and ">200<" in drawn
    assert draw_along(figure("leak", place(3.0))) is None


def test_a_serial_nobody_knows_offers_the_nearest(in_app, board, monkeypatch, texts):
    monkeypatch.setattr(board, "instrument", lambda serial: None)
    assert "TQ-0442" in texts(instruments.one_layout("TQ-O442"))


def test_all_that_a_tool_touched_has_a_page(in_app, texts):
    said = texts(also.layout("tool", "M-7"))
    assert "Tool M-7 touched 20 pieces; 10 left the shop." in said and "TQ-0400" in said
    assert "No reading and no part" in texts(also.layout("tool", "M-99"))
    assert "No reading and no part" in texts(also.layout("moon", "M-7"))

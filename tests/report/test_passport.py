"""The passport fits on one page whatever a piece has, and its strips show what lies outside."""

from datetime import date

import pypdfium2
import pytest

from qc.report.passport import Passport, PassportFigure, PassportMap, passport_pdf
from qc.report.passport.sheet import strip_of


def made(figures=3, parts=2, events=2, words="Inside its limits."):
    row = PassportFigure(
        "Slide: Clearance",
        "150 µm",
        "120 at upper leg, mouth",
        "100 to 200",
        "inside",
        False,
        (120.0, 150.0),
        100.0,
        200.0,
    )
    grid = PassportMap(
        "Slide: Clearance [µm]", ("mouth", "crook"), ("upper", "lower"), ((("120", False), ("98", True)),) * 2
    )
    wide = PassportMap(
        "Notes [cents]",
        tuple(f"position {n}" for n in range(14)),
        ("partial 2",) * 9,
        ((("1", False),) * 14,) * 9,
    )
    return Passport(
        "KW-117",
        "Tenor",
        "Polish, 4 May 2026",
        "Ostrel Brass",
        date(2026, 5, 5),
        None,
        (words,) * 6,
        (row,) * figures,
        (("bell", "B-9", "batch SH-1", "2 May 2026 by AB"),) * parts,
        (("3 May 2026", words),) * events,
        True,
        (grid, grid, wide),
    )


def pages(passport):
    return pypdfium2.PdfDocument(passport_pdf(passport))


@pytest.mark.parametrize(
    "passport", [made(), made(60, 40, 40, "word " * 200), made(0, 0, 0)], ids=["usual", "too much", "bare"]
)
def test_it_is_one_page_and_can_be_signed(passport):
    document = pages(passport)
    assert len(document) == 1
    text = document[0].get_textpage().get_text_range()
    assert "KW-117" in text and "Released by" in text


def test_what_does_not_fit_is_counted():
    text = pages(made(60, 40, 40))[0].get_textpage().get_text_range()
    assert "38 more figures, 32 more parts, 28 more events" in text


def test_the_same_passport_gives_the_same_bytes():
    assert passport_pdf(made()) == passport_pdf(made())


@pytest.mark.parametrize(
    "places, lower, upper, outside",
    [
        ((90.0, 150.0), 100.0, 200.0, [True, False]),
        ((8.4, 14.0), 10.0, None, [True, False]),
        ((3.0, 9.1), None, 9.0, [False, True]),
        ((1.0, 2.0), None, None, [False, False]),
    ],
)
def test_a_dot_lies_beyond_its_limit_just_where_the_place_does(places, lower, upper, outside):
    dots, low, high = strip_of(places, lower, upper)
    assert [(low is not None and dot < low) or (high is not None and dot > high) for dot in dots] == outside
    assert all(0 <= dot <= 1 for dot in dots)

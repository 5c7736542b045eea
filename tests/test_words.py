"""Words that every floor shares."""

import calendar
import re
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.intervals import digits_words, interval_words, stepped_words
from qc.words import (
    MONTHS,
    closest,
    count_words,
    dated_words,
    day_words,
    level_words,
    listed,
    month_words,
    number_words,
    pieces_words,
    places_words,
    plain_words,
    quantity_words,
    some_of,
    unit_words,
)


def test_long_lists_are_cut_with_a_count():
    assert some_of([]) == "none"
    assert some_of(["a"]) == "a"
    assert some_of(map(str, range(12))) == "0, 1, 2, 3, 4, 5, 6, 7 and 4 more"


@given(st.dates(min_value=date(1900, 1, 1)))
def test_days_and_months_are_those_of_the_calendar(day):
    assert MONTHS == list(calendar.month_name)[1:], "the standard library's names"
    assert dated_words(day) == f"{day.day} {day:%b} {day.year}" == f"{day_words(day)} {day.year}"
    assert month_words(f"{day:%Y-%m}") == f"{day:%B} {day.year}"


def test_one_thing_has_no_plural_and_every_other_number_has():
    assert [count_words(n, "day") for n in (0, 1, 2, 11)] == ["0 days", "1 day", "2 days", "11 days"]
    assert [count_words(n, "series", "series") for n in (1, 3)] == ["1 series", "3 series"]
    assert (pieces_words(1), pieces_words(3)) == ("1 piece", "3 pieces")


@given(st.lists(st.text("abc", min_size=1), min_size=1))
def test_a_list_names_every_word_once_and_has_one_and(words):
    said = listed(words)
    assert said.replace(" and ", ", ").split(", ") == words
    assert said.count(" and ") == (len(words) > 1)


@given(st.text("abcdefgh", min_size=1), st.lists(st.text("abcdefgh", min_size=1), unique=True))
def test_the_closest_word_is_one_of_those_allowed_and_an_exact_one_is_found(typed, allowed):
    assert closest(typed, allowed) in {"", *allowed}
    if typed in allowed and all(sorted(other) != sorted(typed) for other in allowed if other != typed):
        assert closest(typed, allowed) == typed


@pytest.mark.parametrize("typed, allowed", [("tenor", ["tenor-f", "tenor-g"]), ("x", ["AB"]), ("x", [])])
def test_two_close_ones_or_none_give_no_guess(typed, allowed):
    assert closest(typed, allowed) == ""


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0.0, "0"),
        (12.6, "13"),
        (-12.6, "−13"),
        (9.96, "10.0"),
        (0.25, "0.2"),
        (0.0312, "0.031"),
        (3e-4, "0.00030"),
    ],
)
def test_numbers_have_as_many_places_as_make_sense(value, said):
    assert number_words(value) == said


def test_small_lengths_are_said_in_micrometres():
    assert quantity_words(0.0032, "mm") == "3.2 µm"
    assert quantity_words(0.5, "mm") == "0.5 mm"


def test_levels_follow_the_scale_they_stand_on():
    assert level_words(13.585, 0.07) == "13.585"
    assert level_words(150.2, 100) == "150"
    assert level_words(5.0, 0.0) == "5.0"


def test_units_are_written_for_people():
    assert [unit_words(u) for u in ("um", "cent", "N", "count")] == ["µm", "cents", "N", ""]


FIGURE = st.floats(-1e6, 1e6)
PRINTED = re.compile(r"[−+]?\d[\d.e+]*")


@given(FIGURE, FIGURE, FIGURE, st.integers(0, 6), st.sampled_from(["mm", "um", "cent", ""]), st.booleans())
def test_every_figure_carries_a_minus_or_none(value, low, high, places, unit, signed):
    """No hyphen for a minus, no sign before nought, whichever function writes it."""
    texts = [
        number_words(value),
        places_words(value, places, signed=signed),
        digits_words(value, places + 1, signed=signed),
        plain_words(value),
        level_words(value, abs(high) + 1e-3),
        stepped_words(value, 10.0**-places),
        quantity_words(value, unit),
        interval_words(value, low, high, unit, signed=signed),
    ]
    for text in texts:
        bare = text.replace("e-", "e")  # a power of ten of few digits
        assert "-" not in bare, text
        for figure in PRINTED.findall(bare):
            nought = not figure.strip("−+0.")
            assert not nought or figure[0] not in "−+", text

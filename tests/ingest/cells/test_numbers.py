import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.ingest.cells.numbers import COMMA_NOTE, read_number, read_whole


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("14.05", 14.05),
        (" 14.050 ", 14.05),
        ("14,05", 14.05),
        ("0,152", 0.152),
        ("+3", 3.0),
        ("-3.5", -3.5),
        ("\u22123,5", -3.5),
        (".5", 0.5),
        (",5", 0.5),
        ("1e-3", 0.001),
        ("1.234,5", 1234.5),
        ("1,234.5", 1234.5),
        ("0,1525", 0.1525),
    ],
)
def test_figures_are_read(text, value):
    assert read_number(text).value == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "nan",
        "NaN",
        "inf",
        "-Infinity",
        "1e999",
        "",
        "n. g.",
        "abc",
        "1_000",
        "0x1F",
        "--5",
        "14.05.2026",
        "1,2,3",
        "5 6",
        "<0.5",
        "~14",
    ],
)
def test_what_is_no_number_is_left_unread(text):
    assert read_number(text).value is None


def test_a_comma_before_three_digits_is_judged_by_the_nominal_and_noted():
    assert read_number("14,052", nominal=14.05).value == 14.052
    assert read_number("14,052", nominal=14.05).note == COMMA_NOTE
    assert read_number("14,052", nominal=14000.0).value == 14052
    assert read_number("-14,052", nominal=-14.0).value == -14.052


def test_without_a_nominal_it_is_left_open():
    assert read_number("14,052").value is None
    assert read_number("14,052", nominal=0.0).value is None
    assert read_number("14,052", nominal=-3.0).value is None


def test_a_sheet_of_decimal_commas_settles_it_without_a_note():
    assert read_number("14,052", comma_decimal=True).value == 14.052
    assert read_number("14,052", comma_decimal=True).note == ""


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("14.05 mm", "mm", 14.05),
        ("14050um", "mm", 14.05),
        ("0.5532 in", "mm", 14.05128),
        ('0.5532"', "mm", 14.05128),
        ("0.152 mm", "um", 152.0),
        ("30 min", "h", 0.5),
    ],
)
def test_a_unit_behind_the_figure_is_converted(text, unit, value):
    assert read_number(text, unit).value == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(("text", "unit"), [("14.05 g", "mm"), ("14.05 mm", ""), ("14.05 foo", "mm")])
def test_a_unit_that_does_not_fit_is_not_ignored(text, unit):
    assert read_number(text, unit).value is None


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e12, max_value=1e12))
def test_what_python_writes_is_read_back_exactly(value):
    assert read_number(repr(value)).value == value


@given(st.floats(min_value=0.001, max_value=999.999), st.integers(0, 2))
def test_point_and_comma_say_the_same(value, digits):
    text = f"{value:.{digits}f}"
    assert read_number(text.replace(".", ",")).value == read_number(text).value


@given(st.text(max_size=20))
def test_any_text_is_a_finite_number_or_none(text):
    value = read_number(text, "mm", nominal=14.0).value
    assert value is None or math.isfinite(value)


@pytest.mark.parametrize(
    ("text", "value"),
    [("5", 5), ("5.0", 5), ("-2", -2), ("5.5", None), ("x", None), ("", None), ("1e12", None)],
)
def test_whole_numbers(text, value):
    assert read_whole(text) == value

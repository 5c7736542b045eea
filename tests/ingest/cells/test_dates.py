from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.ingest.cells.dates import nearest_year, possible_days, read_moment, spreadsheet_day

ZONE = "CET"


@pytest.mark.parametrize(
    "text",
    ["2026-05-14", "14.05.2026", "14.5.2026", " 2026-5-14 ", "2026-05-14 00:00:00", "2026-05-14T00:00"],
)
def test_whole_dates(text):
    moment = read_moment(text, ZONE)
    assert moment.day == date(2026, 5, 14)
    assert moment.at == datetime(2026, 5, 13, 22, 0, tzinfo=UTC)
    assert moment.offset_min == 120


def test_the_time_may_stand_in_a_cell_of_its_own():
    assert read_moment("2026-01-14", ZONE, "10:30").at == datetime(2026, 1, 14, 9, 30, tzinfo=UTC)
    assert read_moment("2026-01-14", ZONE, "10:30").has_time
    assert not read_moment("2026-01-14", ZONE, "soon").has_time
    assert not read_moment("2026-01-14", ZONE).has_time


@pytest.mark.parametrize(
    "text",
    [
        "14.05",
        "14.05.",
        "10/11/2026",
        "10-11-2026",
        "24/11/26",
        "05/14/2026",
        "Mon 24.11.2026",
        "05-14-2026",
        "2026-02-30",
        "31.4.2026",
        "46156",
        "soon",
        "",
        "2026-05-14 25:00",
    ],
)
def test_what_can_be_read_two_ways_or_not_at_all_is_left(text):
    assert read_moment(text, ZONE) is None


def test_the_offset_follows_the_season():
    assert read_moment("2026-01-14", ZONE).offset_min == 60


@given(st.dates(date(2000, 1, 1), date(2099, 12, 31)))
def test_both_ways_of_writing_say_the_same_day(day):
    assert read_moment(day.isoformat(), "UTC").day == day
    assert read_moment(f"{day.day}.{day.month}.{day.year}", "UTC") == read_moment(day.isoformat(), "UTC")


@pytest.mark.parametrize(
    ("number", "day"),
    [
        pytest.param(46156, date(2026, 5, 14), id="trade table: 14.05 becomes 46156 in 2026"),
        pytest.param(36526, date(2000, 1, 1), id="a known day number of spreadsheets"),
        (35999, None),
        (60001, None),
        (46156.5, None),
    ],
)
def test_spreadsheet_days(number, day):
    assert spreadsheet_day(number) == day


def test_the_two_calendars_lie_1462_days_apart():
    assert (spreadsheet_day(40000, epoch_1904=True) - spreadsheet_day(40000)).days == 1462


def test_a_date_without_its_year_gets_the_nearest_one_not_in_the_future():
    today = date(2026, 5, 20)
    assert nearest_year(14, 5, date(2026, 5, 18), today) == date(2026, 5, 14)
    assert nearest_year(28, 12, date(2026, 1, 4), today) == date(2025, 12, 28)
    assert nearest_year(1, 6, date(2026, 5, 18), today) == date(2025, 6, 1)
    assert nearest_year(31, 4, today, today) is None
    assert nearest_year(29, 2, date(2026, 3, 1), today) is None


@pytest.mark.parametrize(
    "text",
    [
        "2026/11/24",
        "2026.11.24",
        "24.11.26",
        "24/11/2026",
        "24-11-2026",
        "24 November 2026",
        "24th of November 2026",
        "24. Nov. 2026",
        "November 24, 2026",
        "24-Nov-26",
        "Tue 24.11.2026",
        "Di, 24.11.2026",
        "Tuesday 24 November 2026",
    ],
)
def test_a_day_is_the_same_in_every_writing_of_one_meaning(text):
    moment = read_moment(text, ZONE)
    assert moment is not None
    assert moment.day == date(2026, 11, 24)
    assert not moment.has_time


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("10/11/2026", [date(2026, 10, 11), date(2026, 11, 10)]),
        ("10/10/2026", [date(2026, 10, 10)]),
        ("24/11/26", [date(2024, 11, 26), date(2026, 11, 24)]),
        ("05/14/2026", [date(2026, 5, 14)]),
        ("Fri 10/11/2026", []),
        ("Tue 10/11/2026", [date(2026, 11, 10)]),
        ("soon", []),
    ],
)
def test_all_days_that_a_writing_may_mean_are_told(text, days):
    assert list(possible_days(text)) == days

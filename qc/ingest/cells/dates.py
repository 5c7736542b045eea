"""Typed dates into days and moments; anything that can be read two ways stays unread."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

_ISO = re.compile(r"^(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ]+(\d{1,2}):(\d{2})(?::(\d{2}))?)?$")
_POINTED = re.compile(r"^(\d{1,2})\.(\d{1,2})\.(\d{4})(?:\s+(\d{1,2}):(\d{2})(?::(\d{2}))?)?$")
_CLOCK = r"(?:,?\s+(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2}))?)?$"
_YEAR_FIRST = re.compile(r"^(?P<a>\d{4})(?P<sign>[/.-])(?P<b>\d{1,2})(?P=sign)(?P<c>\d{1,2})\.?" + _CLOCK)
_YEAR_LAST = re.compile(
    r"^(?P<a>\d{1,2})(?P<sign>[/.-])\s?(?P<b>\d{1,2})(?P=sign)\s?(?P<c>\d{4}|\d{2})" + _CLOCK
)
_MONTH_FIRST = re.compile(r"(?:^|\s)\d{1,2}[/-](?:1[3-9]|2\d|3[01])[/-]\d{4}")
_DAY_WORD = re.compile(
    r"^(?P<a>\d{1,2})(?:\.|st|nd|rd|th)?[\s-]+(?:of\s+)?(?P<word>[a-zä]{3,9})\.?,?[\s-]+(?P<c>\d{4}|\d{2})"
    + _CLOCK
)
_WORD_DAY = re.compile(
    r"^(?P<word>[a-zä]{3,9})\.?\s+(?P<a>\d{1,2})(?:st|nd|rd|th)?,?\s+(?P<c>\d{4})" + _CLOCK
)
_WEEKDAY = re.compile(r"^(?P<name>[a-z]{2,10})\.?,?\s+(?P<rest>.*\d.*)$")
_MONTHS = (
    "january|jan|januar", "february|feb|februar", "march|mar|märz|maerz|mrz", "april|apr", "may|mai",
    "june|jun|juni", "july|jul|juli", "august|aug", "september|sept|sep", "october|oct|oktober|okt",
    "november|nov", "december|dec|dezember|dez",
)  # fmt: skip
_WEEKDAYS = (
    "monday|mon|mo|montag", "tuesday|tues|tue|tu|dienstag|di", "wednesday|wed|we|mittwoch|mi",
    "thursday|thurs|thur|thu|th|donnerstag|do", "friday|fri|fr|freitag", "saturday|sat|sa|samstag|sonnabend",
    "sunday|sun|su|sonntag|so",
)  # fmt: skip
MONTH_OF = {word: number for number, words in enumerate(_MONTHS, 1) for word in words.split("|")}
WEEKDAY_OF = {word: number for number, words in enumerate(_WEEKDAYS) for word in words.split("|")}
_TIME = re.compile(r"^(\d{1,2})[:.](\d{2})(?::(\d{2}))?$")
BARE = re.compile(r"^(\d{1,2})\.(\d{1,2})\.?$")
SERIAL = re.compile(r"^\d{5}(?:\.0+)?$")
SPREADSHEET_FIRST, SPREADSHEET_LAST = 36000, 60000  # 1998 to 2064 as spreadsheet day numbers


_YEAR = re.compile(r"(?<!\d)(?:19|20)\d\d(?!\d)")


@dataclass(frozen=True, slots=True)
class Moment:
    """A day in the plan's zone and the moment it stands for.

    Attributes
    ----------
    day : date
        Day in the plan's zone.
    at : datetime
        UTC; midnight of that day in the zone where no time was typed.
    offset_min : int
        Offset of the zone from UTC then. [min]
    has_time : bool
        False where only a date was typed.
    """

    day: date
    at: datetime
    offset_min: int
    has_time: bool


@lru_cache(maxsize=4096)
def read_moment(text: str, zone: str, time_text: str = "", order: str = "") -> Moment | None:
    """Read a date in any writing that can be meant one way only, with or without a time.

    Year first (``2026-05-14``, ``2026/05/14``, ``2026.05.14``), points (``14.05.2026``, ``14.5.26``: the day
    first), a month in words (``14 May 2026``, ``14. Mai 2026``, ``May 14, 2026``), a weekday before it.
    ``14/05/2026`` has one reading, since there is no month 14; ``10/05/2026`` has two and stays unread, and
    so does ``05/14/2026``: a bench that writes the month first is asked once, not guessed at.

    Parameters
    ----------
    text : str
        The date as typed.
    zone : str
        Time zone of the plan.
    time_text : str
        A time from a cell of its own, empty where there is none.
    order : {"", "day-first", "month-first"}
        Which way round this bench writes dates with strokes, once it was asked.

    Returns
    -------
    Moment or None
        None where the text is no date, one that can be read two ways, or one whose weekday is another.

    Examples
    --------
    >>> read_moment("14.05.2026", "CET").at.isoformat()
    '2026-05-13T22:00:00+00:00'
    >>> read_moment("14.05", "UTC") is None, read_moment("2026-02-30", "UTC") is None
    (True, True)
    >>> [read_moment(t, "UTC").day.isoformat() for t in ("Tue 24.11.2026", "24 Nov 2026", "24/11/2026")]
    ['2026-11-24', '2026-11-24', '2026-11-24']
    >>> read_moment("10/11/2026", "UTC") is None, read_moment("Mon 24.11.2026", "UTC") is None
    (True, True)
    >>> read_moment("10/11/2026", "UTC", order="month-first").day.isoformat()
    '2026-10-11'
    """
    tidy = text.strip()
    match, parts = _ISO.match(tidy), (1, 2, 3)
    if match is None:
        match, parts = _POINTED.match(tidy), (3, 2, 1)
    if match is not None:
        days = _real_days([tuple(int(match[i]) for i in parts)])
        clock = (match[4], match[5], match[6]) if match[4] else None
    else:
        days, clock = _other_writing(tidy.casefold(), order)
        days = () if not order and len(days) == 1 and _MONTH_FIRST.search(tidy) else days
    if len(days) != 1:
        return None
    if clock is None and time_text.strip():
        typed = _TIME.match(time_text.strip())
        clock = (typed[1], typed[2], typed[3]) if typed else None
    try:
        local = datetime.combine(days[0], time())
        if clock is not None:
            local = datetime.combine(local, time(int(clock[0]), int(clock[1]), int(clock[2] or 0)))
        return moment_of(local, zone, has_time=clock is not None)
    except (ValueError, OverflowError):
        return None


def possible_days(text: str) -> tuple[date, ...]:
    """Return every day that a typed date may mean, in order; none where it is no date.

    Examples
    --------
    >>> [day.isoformat() for day in possible_days("10/11/2026")]
    ['2026-10-11', '2026-11-10']
    """
    match = _ISO.match(text.strip())
    if match is not None:
        return _real_days([(int(match[1]), int(match[2]), int(match[3]))])
    return _other_writing(text.strip().casefold())[0]


def days_of(text: str) -> tuple[date, ...]:
    """Return the day a text means, both where it can be read two ways, none where it is no date.

    Examples
    --------
    >>> [day.isoformat() for day in days_of("10/03/2026")], days_of("10 March 2026")
    (['2026-03-10', '2026-10-03'], (datetime.date(2026, 3, 10),))
    """
    moment = read_moment(text, "UTC")
    if moment is not None:
        return (moment.day,)
    return tuple(day for day in both_ways(text) or () if day is not None)


def both_ways(text: str) -> tuple[date | None, date | None] | None:
    """Return a date with strokes read with the day first and with the month first; None where order says all.

    Examples
    --------
    >>> [day.isoformat() for day in both_ways("10/11/2026")]
    ['2026-11-10', '2026-10-11']
    >>> both_ways("05/14/2026")[0] is None, both_ways("14/05/2026"), both_ways("10.11.2026")
    (True, None, None)
    """
    tidy = text.strip().casefold()
    if _ISO.match(tidy) or (len(possible_days(tidy)) < 2 and not _MONTH_FIRST.search(tidy)):
        return None
    ways = [next(iter(_other_writing(tidy, order)[0]), None) for order in ("day-first", "month-first")]
    return None if ways[0] == ways[1] else (ways[0], ways[1])


def is_written_day(text: str) -> bool:
    """Tell whether a text that ought to be a serial is a whole day, its year included.

    Examples
    --------
    >>> [is_written_day(text) for text in ("2026-03-10", "10/3/2026", "10 March 2026", "2026-13-40")]
    [True, True, True, False]
    """
    if _YEAR.search(text) is None:
        return False
    return bool(possible_days(text)) or read_moment(text, "UTC") is not None


def _other_writing(text: str, order: str = "") -> tuple[tuple[date, ...], tuple[str, str, str] | None]:
    """Return the days a text in small letters may mean, and its time."""
    weekday = None
    named = _WEEKDAY.match(text)
    if named is not None and named["name"] in WEEKDAY_OF:
        weekday, text = WEEKDAY_OF[named["name"]], named["rest"].strip()
    found, ways = None, []
    if found := _YEAR_FIRST.match(text):
        ways = [(int(found["a"]), int(found["b"]), int(found["c"]))]
    elif found := _YEAR_LAST.match(text):
        a, b, c = int(found["a"]), int(found["b"]), int(found["c"])
        year = c if len(found["c"]) == 4 else 2000 + c
        ways = [(year, b, a)]
        if found["sign"] != "." and order:
            ways = [(year, b, a) if order == "day-first" else (year, a, b)]
        elif found["sign"] != ".":
            # with strokes some write the month first, and with a short year others the year
            ways += [(year, a, b)] + ([(2000 + a, b, c)] if len(found["c"]) == 2 else [])
    elif (found := _DAY_WORD.match(text) or _WORD_DAY.match(text)) and found["word"] in MONTH_OF:
        year = int(found["c"])
        ways = [(year if year > 99 else 2000 + year, MONTH_OF[found["word"]], int(found["a"]))]
    days = tuple(day for day in _real_days(ways) if weekday is None or day.weekday() == weekday)
    if found is None or not found["hour"]:
        return days, None
    return days, (found["hour"], found["minute"], found["second"])


def _real_days(ways: Iterable[tuple[int, ...]]) -> tuple[date, ...]:
    """Return the days there are among year, month and day, each once, in order."""
    days = set()
    for year, month, day in ways:
        try:
            days.add(date(year, month, day))
        except (ValueError, OverflowError):
            continue
    return tuple(sorted(days))


def moment_of(local: datetime, zone: str, *, has_time: bool) -> Moment:
    """Return the moment of a local time in a zone.

    Examples
    --------
    >>> moment_of(datetime(2026, 1, 5), "UTC", has_time=False).offset_min
    0
    """
    there = local.replace(tzinfo=ZoneInfo(zone))
    offset = there.utcoffset() or timedelta(0)
    return Moment(local.date(), there.astimezone(UTC), int(offset.total_seconds() // 60), has_time)


def spreadsheet_day(number: float, *, epoch_1904: bool = False) -> date | None:
    """Return the day a spreadsheet's day number stands for, None outside 1998 to 2064.

    Day 1 is 1900-01-01 and 1900 counts as a leap year, as spreadsheets do; with the other epoch day 0 is
    1904-01-01, 1462 days later.

    Examples
    --------
    >>> spreadsheet_day(46156)
    datetime.date(2026, 5, 14)
    """
    if not SPREADSHEET_FIRST <= number <= SPREADSHEET_LAST or number != int(number):
        return None
    first = date(1904, 1, 1) if epoch_1904 else date(1899, 12, 30)
    return first + timedelta(days=int(number))


def nearest_year(day: int, month: int, near: date, today: date) -> date | None:
    """Return the day in the year that brings it nearest to `near` without lying in the future.

    Examples
    --------
    >>> nearest_year(28, 12, date(2026, 1, 5), date(2026, 11, 24))
    datetime.date(2025, 12, 28)
    """
    days = []
    for year in (near.year - 1, near.year, near.year + 1):
        try:
            days.append(date(year, month, day))
        except ValueError:
            continue
    days = [found for found in days if found <= today]
    return min(days, key=lambda found: abs((found - near).days)) if days else None

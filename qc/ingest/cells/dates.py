"""Typed dates into days and moments; anything that can be read two ways stays unread."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

_ISO = re.compile(r"^(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ]+(\d{1,2}):(\d{2})(?::(\d{2}))?)?$")
_POINTED = re.compile(r"^(\d{1,2})\.(\d{1,2})\.(\d{4})(?:\s+(\d{1,2}):(\d{2})(?::(\d{2}))?)?$")
_TIME = re.compile(r"^(\d{1,2})[:.](\d{2})(?::(\d{2}))?$")
BARE = re.compile(r"^(\d{1,2})\.(\d{1,2})\.?$")
SERIAL = re.compile(r"^\d{5}(?:\.0+)?$")
SPREADSHEET_FIRST, SPREADSHEET_LAST = 36000, 60000  # 1998 to 2064 as spreadsheet day numbers


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
def read_moment(text: str, zone: str, time_text: str = "") -> Moment | None:
    """Read ``2026-05-14`` or ``14.05.2026``, with or without a time.

    Parameters
    ----------
    text : str
        The date as typed.
    zone : str
        Time zone of the plan.
    time_text : str
        A time from a cell of its own, empty where there is none.

    Returns
    -------
    Moment or None
        None where the text is no date, or one that can be read two ways.

    Examples
    --------
    >>> read_moment("14.05.2026", "CET").at.isoformat()
    '2026-05-13T22:00:00+00:00'
    >>> read_moment("14.05", "UTC") is None, read_moment("2026-02-30", "UTC") is None
    (True, True)
    """
    tidy = text.strip()
    match, order = _ISO.match(tidy), (1, 2, 3)
    if match is None:
        match, order = _POINTED.match(tidy), (3, 2, 1)
    if match is None:
        return None
    year, month, day = (int(match[i]) for i in order)
    clock = (match[4], match[5], match[6]) if match[4] else None
    if clock is None and time_text.strip():
        typed = _TIME.match(time_text.strip())
        clock = (typed[1], typed[2], typed[3]) if typed else None
    try:
        local = datetime(year, month, day)
        if clock is not None:
            local = datetime.combine(local, time(int(clock[0]), int(clock[1]), int(clock[2] or 0)))
        return moment_of(local, zone, has_time=clock is not None)
    except (ValueError, OverflowError):
        return None


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

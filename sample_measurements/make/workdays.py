"""The workshop's calendar: which days are worked, counted from the first."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def working_days(first: date, last: date, days_off: Sequence[str | date]) -> list[date]:
    """Return the days from `first` to `last` that are worked, in order.

    Examples
    --------
    >>> days = working_days(date(2026, 11, 20), date(2026, 11, 25), ["sat", "sun", date(2026, 11, 24)])
    >>> [day.day for day in days]
    [20, 23, 25]
    """
    off = set(days_off)
    span = (first + timedelta(days=step) for step in range((last - first).days + 1))
    return [day for day in span if day not in off and WEEKDAYS[day.weekday()] not in off]


def fortnight(day: date, first: date) -> int:
    """Return the number of the two-week span `day` lies in, counted from the Monday of `first`."""
    monday = first - timedelta(days=first.weekday())
    return (day - monday).days // 14

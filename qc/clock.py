"""The only place that asks what time it is, so that every result can be had again for another day."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

_LEAST = timedelta(microseconds=1)


def now() -> datetime:
    """Return the present moment in UTC."""
    return datetime.now(UTC)


def today(zone: str, as_of: date | None = None) -> date:
    """Return the workshop's day: `as_of` where a command was given one, else the day in the plan's zone."""
    return as_of if as_of is not None else now().astimezone(ZoneInfo(zone)).date()


def moment(zone: str, as_of: date | None = None) -> datetime:
    """Return the moment of entry [UTC]: now, or the end of the day `as_of` in the plan's zone."""
    if as_of is None:
        return now()
    return datetime.combine(as_of, time(23, 59, 59), ZoneInfo(zone)).astimezone(UTC)


def founding(day: date) -> datetime:
    """Return the moment [UTC] at which a workshop is founded on a day, before its plan names a zone.

    Ten in the morning is the same day in every zone from ten hours behind to thirteen ahead.
    """
    return datetime.combine(day, time(10), UTC)


def day_of(when: datetime, zone: str) -> date:
    """Return the workshop's day of a moment: in the evening it may be tomorrow already in UTC, as it is kept.

    Examples
    --------
    >>> day_of(datetime(2026, 6, 30, 23, 30, tzinfo=UTC), "Europe/Berlin")
    datetime.date(2026, 7, 1)
    """
    return when.astimezone(ZoneInfo(zone)).date()


def end_of(day: date, zone: str) -> datetime:
    """Return the last microsecond [UTC] of a workshop's day."""
    return datetime.combine(day + timedelta(days=1), time(), ZoneInfo(zone)).astimezone(UTC) - _LEAST

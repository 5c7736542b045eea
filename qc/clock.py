"""The only place that asks what time it is, so that every result can be had again for another day."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo


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

"""How benches bundle what they hand in: by month, by fortnight, or a handful of instruments at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import date
from itertools import groupby
from typing import TypeVar

from sample_measurements.make import scenario
from sample_measurements.make.workdays import fortnight

Item = TypeVar("Item")


def by_month(items: Sequence[Item], day_of: Callable[[Item], date]) -> Iterator[tuple[str, list[Item]]]:
    """Yield (month as ``2026-05``, its items); the items stand in order of day."""
    for month, group in groupby(items, key=lambda item: day_of(item).isoformat()[:7]):
        yield month, list(group)


def by_fortnight(items: Sequence[Item], day_of: Callable[[Item], date]) -> Iterator[tuple[str, list[Item]]]:
    """Yield (last day of the bundle, its items) a fortnight at a time."""
    for _, group in groupby(items, key=lambda item: fortnight(day_of(item), scenario.FIRST_DAY)):
        bundle = list(group)
        yield day_of(bundle[-1]).isoformat(), bundle


def by_day(items: Sequence[Item], day_of: Callable[[Item], date]) -> Iterator[tuple[date, list[Item]]]:
    """Yield (day, its items)."""
    for day, group in groupby(items, key=day_of):
        yield day, list(group)


def by_handful(items: Sequence[Item], day_of: Callable[[Item], date], least: int) -> Iterator[list[Item]]:
    """Yield whole days' items together until there are `least` of them, the last bundle with what is left."""
    bundle: list[Item] = []
    for _, group in by_day(items, day_of):
        bundle += group
        if len(bundle) >= least:
            yield bundle
            bundle = []
    if bundle:
        yield bundle

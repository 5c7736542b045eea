"""Pieces measured once more: since a finding held them, or since their cause was mended."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta

import polars as pl

from qc.jobs.workshop import Workshop
from qc.sayings import CLOSINGS, MENDED, Said, outcome_of, told_here
from qc.watch import Point, SeriesKey, SeriesVerdict


def measured_since_mended(
    workshop: Workshop, verdict: SeriesVerdict, points: Sequence[Point], said: Iterable[Said]
) -> dict[str, date]:
    """Return the pieces measured once more since their cause was mended, with the newest day.

    It was mended when somebody said so, and where the first piece made after it is named, on the day after
    that one was measured at the latest: which of two readings of one day came first is not known. A signal
    may be reopened and closed again: a piece that was measured in between was measured. One that was made
    after a mend that did not hold waits for the next one.
    """
    closings = [one for one in said if one.what in CLOSINGS and outcome_of(one) == MENDED]
    places = {point.serial: point for point in verdict.points}
    mends: list[tuple[Point | None, date]] = []
    for one in sorted(told_here(closings, workshop.plan.workshop.time_zone), key=lambda one: one.when):
        first, closed = places.get(one.first), one.when.date()
        mends.append((first, closed if first is None else min(closed, first.day + timedelta(days=1))))
    since = {
        point.serial: next((day for first, day in mends if _ends(first, day, point)), date.max)
        for point in points
    }
    return measured_again(workshop, verdict.key, points, since, on=True)


def _ends(first: Point | None, day: date, point: Point) -> bool:
    """Say whether a piece was made before a mend: before its first piece, else by the day it was told."""
    return day >= point.day if first is None else first.ordinal > point.ordinal


def measured_again(
    workshop: Workshop,
    key: SeriesKey,
    points: Sequence[Point],
    since: Mapping[str, date],
    *,
    on: bool = False,
) -> dict[str, date]:
    """Return the pieces measured for a figure once more after a day of each, with the newest day.

    With `on` also those of that day itself; what was measured first on it was measured once.
    """
    figure = workshop.plan.characteristic(key.stage, key.characteristic)
    if not points or figure is None:
        return {}
    first = {point.serial: point.day for point in points}
    rows = workshop.store.figures(key.stage, figure.sources, until=workshop.today, serials=sorted(first))
    newest = rows.group_by("serial").agg(pl.col("day").max()).iter_rows()
    return {
        serial: day
        for serial, day in newest
        if day is not None and day > first[serial] and (day > since[serial] or (on and day == since[serial]))
    }

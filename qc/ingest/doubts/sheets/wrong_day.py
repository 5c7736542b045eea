"""A day that cannot be right beside the other days of the piece and of its neighbours in the series.

The year of the last calendar, the day and the month changed over, a stage before the one it follows: each is
seen from when the piece was at its other stages, and from when the pieces just before it came to this one.
"""

from __future__ import annotations

from bisect import bisect_left
from datetime import date, timedelta

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.doubts.record import Record, gather_record, taken_apart
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason

LONG_BEFORE = timedelta(days=45)
"""A card so much older than those of the pieces just before it in the series is asked about; chosen."""

SLACK = timedelta(days=4)
"""Stages may change places by so much, as where two people share a piece; chosen."""

NEIGHBOURS = 3
"""So many pieces with lower numbers speak for when a piece can have come; chosen."""

RECENT = timedelta(days=31)
"""A mended day must be no older than this on the day of the upload; chosen."""


def find_wrong_day(facts: Facts, doubted: Doubts) -> Doubted:
    """Find cards of a day before the piece was so far, or could be."""
    told = _events(facts, doubted)
    if facts.readings.is_empty():
        return Doubted([], told)
    rows = facts.readings.filter(
        (pl.col("serial") != "") & pl.col("day").is_not_null() & ~pl.col(INDEX).is_in(list(doubted))
    )
    record = gather_record(facts, doubted)
    numbers = _numbers(record)
    found = []
    keys = ["serial", "stage", "characteristic", "day"]
    for serial, stage, name, day, own in rows.group_by(keys, maintain_order=True).agg(INDEX).iter_rows():
        figure = (str(stage), str(name))
        said = _before_its_stage(str(serial), str(stage), day, record) or _before_neighbours(
            str(serial), figure, day, record, numbers
        )
        if said is None:
            continue
        problem, earliest = said
        better = _mended(day, earliest, facts.known.today)
        proposal: dict[str, object] = {"day": better[0].isoformat()} if better else {}
        meant = " or ".join(d.isoformat() for d in better)
        mend = f"If {meant} is meant, accept or type it; else confirm the day." if better else _ASK
        found += [Finding(index, Reason.WRONG_DAY, problem, mend, proposal) for index in own]
    return Doubted(found, told)


_ASK = "Look at the day and the serial, and type what is right; if it is so, confirm it."


MOVES = ("shipped", "returned", "play-test")
"""Events that a piece comes to when it is made."""


def _events(facts: Facts, doubted: Doubts) -> list[Finding]:
    """Find pieces said to be shipped or played before the first of their cards."""
    moved = facts.events.filter(
        pl.col("kind").is_in(MOVES) & (pl.col("serial") != "") & pl.col("day").is_not_null()
    )
    if moved.is_empty():
        return []
    record = gather_record(facts, doubted)
    found = []
    for row in moved.to_dicts():
        days = [taken[0] for taken in record.days.get(row["serial"], {}).values()]
        if not days or min(days) - row["day"] <= SLACK:
            continue
        better = _mended(row["day"], max(days), facts.known.today)
        proposal: dict[str, object] = {"day": better[0].isoformat()} if len(better) == 1 else {}
        meant = " or ".join(day.isoformat() for day in better)
        mend = f"If {meant} is meant, accept or type it; else confirm the day." if better else _ASK
        problem = f"{row['serial']} has the day {row['day']} here, but its first card is of {min(days)}"
        found.append(Finding(row[INDEX], Reason.WRONG_DAY, problem, mend, proposal))
    return found


def _before_its_stage(serial: str, stage: str, day: date, record: Record) -> tuple[str, date] | None:
    """Say which earlier stage of the piece is later than the day, with that day."""
    firsts = {at: record.first(serial, at) for at in record.before(stage, serial)}
    later = {at: first for at, first in firsts.items() if first is not None and first - day > SLACK}
    if not later:
        return None
    at = max(later, key=lambda name: later[name])
    problem = f"{serial} comes to {stage} on {day}, but was at {at}, which comes before, on {later[at]}"
    return problem, later[at]


Numbers = dict[tuple[str, tuple[str, str]], list[tuple[int, date]]]


def _numbers(record: Record) -> Numbers:
    found: Numbers = {}
    for serial, figures in record.days.items():
        parts = taken_apart(serial)
        if parts is not None:
            for figure, days in figures.items():
                found.setdefault((parts.head, figure), []).append((parts.number, days[0]))
    return {key: sorted(pairs) for key, pairs in found.items()}


def _before_neighbours(
    serial: str, figure: tuple[str, str], day: date, record: Record, numbers: Numbers
) -> tuple[str, date] | None:
    """Say that the pieces just before this one in the series all came long after the day."""
    parts = taken_apart(serial)
    if parts is None:
        return None
    series = numbers.get((parts.head, figure), [])
    below = bisect_left(series, parts.number, key=lambda pair: pair[0])
    lower = series[max(0, below - NEIGHBOURS) : below]
    if len(lower) < NEIGHBOURS or any(first - day <= LONG_BEFORE for _, first in lower):
        return None
    number, first = lower[-1]
    problem = (
        f"{serial} has the day {day}, but the pieces before it came to {figure[0]} later, the last on {first}"
    )
    return problem, min(first for _, first in lower)


def _mended(day: date, earliest: date, today: date) -> list[date]:
    """Return the days that one slip makes this one of and that can be, the nearest to the upload first."""
    options = {_day(today.year, day.month, day.day), _day(today.year - 1, day.month, day.day)}
    options |= {_day(day.year, day.day, day.month), _day(today.year, day.day, day.month)}
    near = {d for d in options if d and d != day and max(earliest, today - RECENT) <= d <= today}
    return sorted(near, reverse=True)


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None

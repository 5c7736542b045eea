"""Pieces that left while a signal held them: an answer given later takes none of them off the list.

Whoever asks where they went needs their names, whatever became of the cause: mended, left as it is or false.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import polars as pl

from qc.jobs.judging import SignalOfDay
from qc.jobs.workshop import Workshop
from qc.sayings import CLOSINGS, MENDED, What, outcome_of, told_here


@dataclass(frozen=True, slots=True)
class HeldSpan:
    """From which day on a signal held its pieces, and the moment of the answer that let them go."""

    first: date
    answered: datetime | None = None

    def covers(self, left: date, told: datetime | None) -> bool:
        """Say whether what left on a day, told of at a moment, left while the signal held it."""
        if left < self.first:
            return False
        if self.answered is None or left < self.answered.date():
            return True
        # of what left on the very day of the answer, the order of the two entries tells
        return left == self.answered.date() and told is not None and told <= self.answered


@dataclass(frozen=True, slots=True)
class LeftOn:
    """The day a piece, or what it is built into, left, and when that was handed in."""

    day: date
    told: datetime | None


def spans_of(signal: SignalOfDay, zone: str, *, made_after: bool = False) -> tuple[HeldSpan, ...]:
    """Return the stretches of days on which a signal held its pieces, in their order.

    A mend lets no piece go that was made under its cause: each is held until it is dealt with. Those that
    were `made_after` it are let go by it as by any answer.
    """
    start: date | None = signal.known or signal.found.raised_day
    found = []
    for one in told_here(signal.said, zone):
        lets_go = one.what in CLOSINGS and (made_after or outcome_of(one) != MENDED)
        if lets_go and start is not None:
            found.append(HeldSpan(start, one.when))
            start = None
        elif one.what is What.REOPENED and start is None:
            start = one.when.date()
    return (*found, HeldSpan(start)) if start is not None else tuple(found)


def departures(workshop: Workshop, only: Collection[str] | None = None) -> dict[str, LeftOn]:
    """Return when what is out left; a part leaves with what it is built into. `only` these, else all.

    Whoever goes through many signals asks once for all of them.
    """
    store, today = workshop.store, workshop.today
    built = store.events("part", subjects=None if only is None else sorted(only), until=today)
    inside = dict(built.filter(pl.col("subject") != "").select("subject", "serial").iter_rows())
    asked = None if only is None else sorted({*only, *inside.values()})
    moves = store.events(("shipped", "returned"), serials=asked, until=today).sort("day", "id")
    out: dict[str, LeftOn] = {}
    for kind, serial, day, told in moves.select("kind", "serial", "day", "entered_at").iter_rows():
        if kind == "shipped":
            out[serial] = LeftOn(day, told)
        else:
            out.pop(serial, None)
    parts = {part: out.get(whole) for part, whole in inside.items()}
    return {serial: left for serial, left in {**out, **parts}.items() if left is not None}


def held_since(spans: Sequence[HeldSpan], left: LeftOn | None) -> date | None:
    """Return since when a piece was held on the day it left; None where it was not held then.

    Of a piece that is here still it is the day from which it is held now.
    """
    if left is None:
        return spans[-1].first if spans and spans[-1].answered is None else None
    return next((span.first for span in reversed(spans) if span.covers(left.day, left.told)), None)


def left_while_held(
    workshop: Workshop,
    signal: SignalOfDay,
    serials: Iterable[str],
    gone: Mapping[str, LeftOn],
    *,
    made_after: bool = False,
) -> dict[str, date]:
    """Return of the pieces that a signal held those that left meanwhile, with the day they were held from.

    `gone` is what left of them, and when (`departures`); `made_after` that they were made after its mend.
    """
    spans = spans_of(signal, workshop.plan.workshop.time_zone, made_after=made_after)
    found = {one: held_since(spans, gone[one]) for one in serials if one in gone}
    return {serial: since for serial, since in found.items() if since is not None}

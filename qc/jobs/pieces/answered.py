"""Pieces that left while a signal held them: an answer given later takes none of them off the list.

Whoever asks where they went needs their names, whatever became of the cause: mended, left as it is or false.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from qc.jobs.judging import SignalOfDay
from qc.jobs.pieces.places import whereabouts
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


def spans_of(signal: SignalOfDay, zone: str) -> tuple[HeldSpan, ...]:
    """Return the stretches of days on which a signal held its pieces, in their order.

    A mend lets no piece go: those made under its cause are held until each is dealt with.
    """
    start: date | None = signal.known or signal.found.raised_day
    found = []
    for one in told_here(signal.said, zone):
        if one.what in CLOSINGS and outcome_of(one) != MENDED and start is not None:
            found.append(HeldSpan(start, one.when))
            start = None
        elif one.what is What.REOPENED and start is None:
            start = one.when.date()
    return (*found, HeldSpan(start)) if start is not None else tuple(found)


def departures(workshop: Workshop, serials: Iterable[str]) -> dict[str, LeftOn]:
    """Return of pieces that are out when they left; a part leaves with what it is built into."""
    where = whereabouts(workshop, serials)
    gone = {serial: one for serial, one in where.items() if one.shipped is not None}
    if not gone:
        return {}
    wholes = sorted({one.whole or serial for serial, one in gone.items()})
    events = workshop.store.events("shipped", serials=wholes, until=workshop.today)
    rows = events.select("serial", "day", "entered_at").iter_rows()
    told = {(serial, day): when for serial, day, when in rows}
    return {
        serial: LeftOn(one.shipped, told.get((one.whole or serial, one.shipped)))
        for serial, one in gone.items()
        if one.shipped is not None
    }


def held_since(spans: Sequence[HeldSpan], left: LeftOn | None) -> date | None:
    """Return since when a piece was held on the day it left; None where it was not held then.

    Of a piece that is here still it is the day from which it is held now.
    """
    if left is None:
        return spans[-1].first if spans and spans[-1].answered is None else None
    return next((span.first for span in reversed(spans) if span.covers(left.day, left.told)), None)


def left_while_held(workshop: Workshop, signal: SignalOfDay, serials: Iterable[str]) -> dict[str, date]:
    """Return of the pieces that a signal held those that left meanwhile, with the day they were held from."""
    spans = spans_of(signal, workshop.plan.workshop.time_zone)
    found = {serial: held_since(spans, left) for serial, left in departures(workshop, serials).items()}
    return {serial: since for serial, since in found.items() if since is not None}

"""A piece as it was known on a day, above all on the day it left."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Literal

from qc import clock
from qc.jobs.errors import JobError
from qc.jobs.then import known as as_known
from qc.jobs.whole_piece.record import PieceRecord, piece_record
from qc.jobs.whole_piece.serials import known_serial, unknown_piece
from qc.jobs.workshop import Workshop, asked_day
from qc.watch import part_uses, way_up
from qc.words import dated_words

SHIPPED: Literal["shipped"] = "shipped"
"""Stands for the day on which the piece left."""


def piece_as_known(
    workshop: Workshop, serial: str, day: str, *, due: date | None = None, as_of: date | None = None
) -> PieceRecord:
    """Return what was known of a piece at the end of a day, by the plan, the limits and the words of then.

    Parameters
    ----------
    workshop : Workshop
        An open workshop, with all that is known now.
    serial : str
        The piece.
    day : str
        A day, or ``shipped`` for the last one on which it left. What was handed in later changes nothing.
    due : date, optional
        As for `piece_record`.
    as_of : date, optional
        Measured by this day, where that is not the day itself.

    Raises
    ------
    JobError
        There is no such piece, it has not left, or nothing of it had been handed in by then.
    """
    serial = known_serial(workshop, serial)
    history = workshop.store.history(serials=[serial])
    events = workshop.store.events(serials=[serial])
    if history.is_empty() and events.is_empty():
        raise JobError(unknown_piece(workshop, serial))
    asked = _day_it_left(workshop, serial) if day.strip().lower() == SHIPPED else asked_day(day)
    then = as_known(workshop, asked)
    if as_of is not None:
        then = replace(then, today=as_of)
    if then.store.history(serials=[serial]).is_empty() and then.store.events(serials=[serial]).is_empty():
        moments = [*history["entered_at"].drop_nulls(), *events["entered_at"].drop_nulls()]
        zone = workshop.plan.workshop.time_zone
        first = f" It was handed in on {dated_words(clock.day_of(min(moments), zone))}." if moments else ""
        raise JobError(f"Nothing was known of {serial} here on {dated_words(asked)}.{first}")
    return piece_record(then, serial, due=due)


def _day_it_left(workshop: Workshop, serial: str) -> date:
    """Return the last day on which a piece, or the instrument it is in, left."""
    way = (serial, *way_up(serial, part_uses(workshop.store.events("part"))))
    left = workshop.store.events("shipped", serials=list(way))["day"].drop_nulls()
    if left.is_empty():
        raise JobError(f"{serial} has not left, so there is no such day. Name one: --known YYYY-MM-DD")
    day: date = left.max()  # type: ignore[assignment]
    return day

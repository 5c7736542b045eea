"""A piece as it was known on a day, above all on the day it left."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Literal

import polars as pl

from qc.jobs.errors import JobError
from qc.jobs.then import known as as_known
from qc.jobs.then import later_words, waited_words
from qc.jobs.whole_piece.late import came_later, day_of_entry
from qc.jobs.whole_piece.left_without import left_without
from qc.jobs.whole_piece.record import PieceRecord, piece_record
from qc.jobs.whole_piece.serials import known_serial, unknown_piece
from qc.jobs.whole_piece.sharing import Genealogy
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
        first = _first_of(workshop, history, events)
        raise JobError(f"Nothing was known of {serial} here on {dated_words(asked)}.{first}")
    record = piece_record(then, serial, due=due)
    return with_what_came_later(workshop, then, record, history, asks_day=due is not None)


def with_what_came_later(
    workshop: Workshop,
    then: Workshop,
    record: PieceRecord,
    history: pl.DataFrame | None = None,
    *,
    asks_day: bool = False,
) -> PieceRecord:
    """Return a piece as it was known, and beside it what of the days until then came only later.

    Parameters
    ----------
    workshop, then : Workshop
        With all that is known now, and as it was known on the day.
    record : PieceRecord
        As it was known on the day.
    history : polars.DataFrame, optional
        All its readings (`qc.store.Store.history`), for who has them at hand.
    asks_day : bool
        It was asked whether a day can hold: when it can leave is told all the same.
    """
    serial = record.serial
    if history is None:
        history = workshop.store.history(serials=[serial])
    house = later_words(workshop.store, then)
    notes = [note for note in record.notes if note != house]
    notes += _of_its_own(workshop, then, serial, history)
    asked = then.then.day if then.then else then.today
    left = workshop.store.events("shipped", serials=[serial], until=asked)
    if left.is_empty() or record.shipped is not None or asks_day:
        return replace(record, notes=tuple(notes))
    # what is known by now to have left that day is not foretold to leave later
    newest = left.sort("entered_at").row(-1, named=True)
    answered = day_of_entry(workshop, newest["entered_at"])
    handed = f"was handed in on {dated_words(answered)}"
    if (row := workshop.store.waited([newest["id"]], events=True).get(newest["id"])) is not None:
        handed = waited_words(1, [day_of_entry(workshop, row.came)], [answered])
    tree = Genealogy(then, part_uses(then.store.events("part", until=then.today)))
    without = left_without(then, serial, record.model, max(left["day"]), tree)
    told = f"It left on {dated_words(max(left['day']))}, as {handed}; when it can leave is not told."
    # the judgement is that of the day: nobody knew then that it had left, so not without what either
    notes.append(f"{told} {without}".rstrip())
    return replace(record, leaving=None, notes=tuple(notes))


def _first_of(workshop: Workshop, history: pl.DataFrame, events: pl.DataFrame) -> str:
    """Say when the first card of a piece came, and where it waited as a held row, until when."""
    first: list[tuple[date, date, bool]] = []
    for rows, of_events in ((history, False), (events, True)):
        waited = workshop.store.waited(rows["id"].to_list(), events=of_events)
        for number, moment in rows.select("id", "entered_at").drop_nulls().iter_rows():
            accepted, row = day_of_entry(workshop, moment), waited.get(number)
            came = day_of_entry(workshop, row.came) if row is not None else accepted
            first.append((came, accepted, row is not None))
    if not first:
        return ""
    came, accepted, waiting = min(first)
    how = waited_words(1, [came], [accepted]) if waiting else f"was handed in on {dated_words(came)}"
    return f" It {how}."


def _of_its_own(workshop: Workshop, then: Workshop, serial: str, history: pl.DataFrame) -> list[str]:
    """Say what of a piece was measured by the day and known after it, or that there is nothing.

    It is the day by which things were known that counts, also where a later one is asked of.
    """
    day = then.then.day if then.then else then.today
    shown = dated_words(day)
    return came_later(workshop, serial, day, history) or [
        f"All that is on record of {serial} for the days up to {shown} had been handed in by then."
    ]


def _day_it_left(workshop: Workshop, serial: str) -> date:
    """Return the last day on which a piece, or the instrument it is in, left."""
    way = (serial, *way_up(serial, part_uses(workshop.store.events("part"))))
    left = workshop.store.events("shipped", serials=list(way))["day"].drop_nulls()
    if left.is_empty():
        raise JobError(f"{serial} has not left, so there is no such day. Name one: --known YYYY-MM-DD")
    day: date = left.max()  # type: ignore[assignment]
    return day

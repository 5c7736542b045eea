"""A piece as it was known on a day, or on the day it left; what was handed in later is named, not made up."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from qc import clock
from qc.jobs.errors import JobError
from qc.jobs.then import known
from qc.jobs.whole_piece.record import PieceRecord, piece_record
from qc.jobs.workshop import Workshop, asked_day
from qc.words import count_words, dated_words

SHIPPED = "shipped"
"""Stands for the day on which the piece left."""


def piece_as_known(workshop: Workshop, serial: str, when: str, *, due: date | None = None) -> PieceRecord:
    """Return everything that was known of a piece at the end of a day.

    Parameters
    ----------
    workshop : Workshop
        An open workshop, as it is.
    serial : str
        The piece.
    when : str
        The day, in any writing a card may have, or ``shipped``: the day it left last.
    due : date, optional
        As in `piece_record`.

    Raises
    ------
    JobError
        The piece has not left; or nothing was known of it here then, with the day on which it was handed in.
    UsageError
        `when` is no day.
    """
    serial = serial.strip()
    day = _left(workshop, serial) if when.strip().lower() == SHIPPED else asked_day(when)
    past = known(workshop, day)
    try:
        later = _later(workshop, past, serial, day)
        try:
            found = piece_record(past, serial, due=due)
        except JobError:
            if not later:
                raise
            raise JobError(f"{later}; nothing was known of {serial} here on {dated_words(day)}.") from None
        beside = (f"{later}; not known here on {dated_words(day)}.",) if later else ()
        told = past.then.notes[1:] if past.then and later else past.then.notes if past.then else ()
        return replace(found, known=day, notes=(*beside, *told, *found.notes))
    finally:
        past.store.close()


def _left(workshop: Workshop, serial: str) -> date:
    days = workshop.store.pieces([serial])["shipped"].drop_nulls().to_list()
    if not days:
        raise JobError(f"{serial} has not left, going by what was handed in. Name a day: --known YYYY-MM-DD")
    return max(days)


def _later(workshop: Workshop, past: Workshop, serial: str, day: date) -> str:
    """Say what of a piece had been measured by a day and was handed in after it, empty where nothing was."""
    assert past.then is not None
    late = workshop.store.handed_in_later(past.then.entry, day, serial=serial)
    if late is None:
        return ""
    zone = workshop.plan.workshop.time_zone
    first, last = (dated_words(clock.day_of(when, zone)) for when in (late.first, late.last))
    handed = f"on {first}" if first == last else f"between {first} and {last}"
    were = "was" if late.readings == 1 else "were"
    return f"{count_words(late.readings, 'reading')} of {serial} {were} handed in {handed}"

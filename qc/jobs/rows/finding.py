"""Accepted readings: listed by piece with what became of each, found by what a person calls them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from qc.jobs.errors import JobError
from qc.jobs.rows.naming import figure_words, piece_words, place_words, value_words
from qc.jobs.workshop import Workshop
from qc.plain import FrameRow, JsonObject
from qc.plan import PLACE
from qc.report.terminal import readings_text
from qc.stats import Tabled
from qc.words import unit_words

STANDS = "stands"
MOST_NAMED = 12
"""So many readings are named where a name fits several; chosen, a screen holds them."""

_NUMBER = re.compile(r"#?([0-9]{1,12})")


@dataclass(frozen=True, slots=True)
class PieceReading:
    """A reading of a piece, and how it stands.

    Attributes
    ----------
    id : int
        Its number in the store: the name by which it is corrected.
    serial, stage, characteristic, figure, place, unit, person, day : str
        What it says; `figure` and `place` in words, the day as ISO text.
    value : float
        The figure. [unit]
    typed : str
        As it was typed.
    state : {"stands", "corrected", "taken back"}
        What became of it.
    by : int or None
        The reading that stands in its place.
    changed_by, why : str
        Who changed it, and why; empty where it stands.
    """

    id: int
    serial: str
    stage: str
    characteristic: str
    figure: str
    place: str
    value: float
    unit: str
    typed: str
    day: str
    person: str
    state: str
    by: int | None
    changed_by: str
    why: str

    def to_dict(self) -> JsonObject:
        """Return plain values; its number is called `reading`, as in every answer."""
        named = {name: getattr(self, name) for name in self.__slots__ if name != "id"}
        return {"reading": self.id, **named}

    def cells(self) -> tuple[str, ...]:
        """Return what a line of a list says of it."""
        figure = ", ".join(part for part in (self.figure, self.place) if part)
        said = f"{value_words(self.value, self.typed)} {unit_words(self.unit)}".rstrip()
        became = "" if self.state == STANDS else self.state
        became += f", {self.by} stands" if self.by else ""
        became += f" by {self.changed_by}: {self.why}" if became and self.why else ""
        return str(self.id), self.day, figure, said, self.person, became


@dataclass(frozen=True, slots=True)
class PieceReadings(Tabled):
    """All readings of a piece that ever came in, in order of entry."""

    ROWS = "readings"

    serial: str
    readings: tuple[PieceReading, ...]

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"serial": self.serial, "readings": [one.to_dict() for one in self.readings]}

    def to_text(self) -> str:
        """List them by number, and say how one is put right."""
        return readings_text(self.serial, [one.cells() for one in self.readings])


def readings_of(workshop: Workshop, serial: str) -> PieceReadings:
    """Return every reading of a piece, or of the piece of a reading, with how it stands and what replaced it.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    serial : str
        The piece, or what one of its readings is called.
    """
    number = _NUMBER.fullmatch(serial.strip())
    rows = list(workshop.store.history(serials=[serial]).iter_rows(named=True))
    if not rows:
        named = workshop.store.history(ids=[int(number[1])]) if number else None
        own = named["serial"][0] if named is not None and named.height else None
        serial = own or serial.partition("/")[0].strip()
        rows = list(workshop.store.history(serials=[serial]).iter_rows(named=True))
    return PieceReadings(serial, tuple(_reading(row, workshop) for row in rows))


def standing_reading(workshop: Workshop, name: str) -> FrameRow:
    """Return the reading that a name means: where it was corrected, the one that stands in its place.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    name : str
        Its number, or the serial with whatever tells it from the others, parted by ``/``: stage, figure,
        place, day.

    Returns
    -------
    dict
        A row of `Store.history`: a reading that stands, or one that was taken back.

    Raises
    ------
    JobError
        There is no such reading, or there are several; it names them.
    """
    number = _NUMBER.fullmatch(name.strip())
    rows = workshop.store.history(ids=[int(number[1])]) if number else None
    if number and rows is not None and rows.height:
        row = rows.row(0, named=True)
        while row["by"] is not None:
            row = workshop.store.history(ids=[row["by"]]).row(0, named=True)
        return row
    serial, *told = [part.strip() for part in name.split("/")]
    every = list(workshop.store.history(serials=[serial]).iter_rows(named=True))
    own = [row for row in every if row["by"] is None and all(_says(row, word, workshop) for word in told)]
    standing = [row for row in own if row["state"] == STANDS] or own
    if len(standing) == 1:
        return standing[0]
    raise JobError(_which(name, standing or every, workshop, several=bool(standing)))


def _which(name: str, rows: Sequence[FrameRow], workshop: Workshop, *, several: bool) -> str:
    """Say that a name fits no reading, or several, and how the one that is meant is named."""
    if not rows:
        return f"There is no reading {name}. `qc correct SERIAL` lists those of a piece with their numbers."
    said = "; ".join(
        f"{row['id']} {piece_words(row, workshop.plan)}, {value_words(row['value'], row['text'] or '')} "
        f"{unit_words(row['unit'] or '')}".rstrip()
        for row in rows[:MOST_NAMED]
    )
    rest = (
        f"; and {len(rows) - MOST_NAMED} more (qc correct {rows[0]['serial']})"
        if len(rows) > MOST_NAMED
        else ""
    )
    how = f"{len(rows)} readings are called {name}" if several else f"No reading is called {name}"
    return f"{how}. Name one by its number: {said}{rest}."


def _says(row: FrameRow, word: str, workshop: Workshop) -> bool:
    """Say whether a reading is of the stage, figure, place or day that a word of its name tells."""
    told = [
        row["stage"],
        row["characteristic"],
        figure_words(row, workshop.plan),
        row["day"],
        place_words(row),
    ]
    told += [row[part] for part in PLACE]
    if (row["repeat"] or 1) > 1:
        told.append(f"reading {row['repeat']}")
    return word.casefold() in {str(one).casefold() for one in told if one is not None}


def _reading(row: dict[str, Any], workshop: Workshop) -> PieceReading:
    """Turn a stored row into a reading with its words."""
    return PieceReading(
        id=row["id"],
        serial=row["serial"] or "",
        stage=row["stage"] or "",
        characteristic=row["characteristic"] or "",
        figure=figure_words(row, workshop.plan),
        place=place_words(row),
        value=row["value"],
        unit=row["unit"] or "",
        typed=row["text"] or "",
        day=row["day"].isoformat() if row["day"] else "",
        person=row["person"] or "",
        state=row["state"],
        by=row["by"],
        changed_by=row["changed_by"] or "",
        why=row["why"] or "",
    )

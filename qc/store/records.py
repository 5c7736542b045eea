"""What the store gives out, a record for a row: nobody reads a row by the names of its columns.

What was said of a signal or a series is a `qc.sayings.Said`, a version of the plan a `PlanVersion`, an
accepted change an `Entry`. Readings, events and pieces come in bulk and are frames.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any, Literal

from qc.plain import JsonObject
from qc.sayings import Said, SignalState, state_after

HeldState = Literal["open", "accepted", "dropped"]
"""What became of a held row; an open one still waits."""


@dataclass(frozen=True, slots=True)
class HeldReason:
    """One reason why a row is held.

    Attributes
    ----------
    id : str
        Stable name.
    sentence, mend : str
        What is wrong and where; what to do.
    proposal : mapping or None
        Column -> value that would put it right.
    covers : tuple of str
        Names of faults of the same cell that this reason explains; they are not told beside it.
    """

    id: str
    sentence: str
    mend: str = ""
    proposal: Mapping[str, object] | None = None
    covers: tuple[str, ...] = ()

    def to_dict(self) -> JsonObject:
        """Return plain values, as a held row is told to others."""
        return {"id": self.id, "sentence": self.sentence, "mend": self.mend, "proposal": self.proposal}


@dataclass(frozen=True, slots=True)
class HeldRecord:
    """A row that was not accepted as it stood.

    Attributes
    ----------
    id : int
        Number of the row.
    sheet, file, tab, column, cell : str
        Where it stands; empty where a sheet has no such thing.
    row : int or None
        Its line.
    table : {"reading", "event"}
        What it would have been.
    text, typed : str
        The figure as typed; the whole row as unfolded, a JSON object.
    reasons : tuple of HeldReason
        Everything that is wrong with it.
    proposal : mapping
        Column -> value that one click would change; empty where nothing is offered.
    state : HeldState
        What became of it.
    entered, who
        Moment and person of the upload.
    """

    id: int
    sheet: str
    file: str
    tab: str
    row: int | None
    column: str
    cell: str
    table: str
    text: str
    typed: str
    reasons: tuple[HeldReason, ...]
    proposal: Mapping[str, Any]
    state: HeldState
    entered: datetime
    who: str

    def as_typed(self) -> JsonObject:
        """Return the row as unfolded: column -> value, days and moments as ISO text."""
        row: JsonObject = json.loads(self.typed) if self.typed else {}
        return row

    @property
    def day(self) -> date:
        """Its measured day; of one without a readable day, the day it was handed in."""
        typed = self.as_typed().get("day")
        return date.fromisoformat(typed) if typed else self.entered.date()


@dataclass(frozen=True, slots=True)
class WaitedRecord:
    """How an accepted row waited: number of the held row, moment its sheet came (UTC), serial as typed."""

    held: int
    came: datetime
    serial: str


@dataclass(frozen=True, slots=True)
class SheetRecord:
    """A sheet that was taken in: its SHA-256, file name, card, size [bytes], and the entry it made."""

    id: int
    sheet: str
    file: str
    card: str
    size: int
    entered: datetime
    who: str
    entry: int


@dataclass(frozen=True)
class VerdictRecord:
    """What the watch said of a series on a day, as it is kept: its plain values, packed."""

    series: str
    as_of: date
    packed: bytes

    @cached_property
    def plain(self) -> Mapping[str, Any]:
        """What its ``to_dict()`` gave; unpacked where it is asked for, which takes some milliseconds."""
        found: Mapping[str, Any] = json.loads(zlib.decompress(self.packed))
        return found

    @property
    def serials(self) -> list[str]:
        """The pieces it rests on, in order, without rebuilding the whole verdict."""
        return [point["serial"] for point in self.plain["points"]]


@dataclass(frozen=True, slots=True)
class SignalRecord:
    """A signal: what the watch found, and what people said of it.

    Attributes
    ----------
    id, series : str
        See `signal_id`; ``stage/characteristic/family``.
    first_as_of, last_as_of : date
        The first and last day by which it was judged.
    plain : mapping
        The finding, plain values of a ``SignalResult``.
    said : tuple of Said
        Oldest first.
    number : int
        What people call it by: counted in the order in which signals were first told, never given twice.
    """

    id: str
    series: str
    first_as_of: date
    last_as_of: date
    plain: Mapping[str, Any]
    said: tuple[Said, ...]
    number: int = 0

    @property
    def state(self) -> SignalState:
        """How it stands after all that was said."""
        return state_after(self.said)


def reasons_of(text: str | None) -> tuple[HeldReason, ...]:
    """Read the reasons of a held row from the column they are kept in."""
    found = json.loads(text) if text else []
    return tuple(HeldReason(r["id"], r["sentence"], r["mend"] or "", r["proposal"]) for r in found)

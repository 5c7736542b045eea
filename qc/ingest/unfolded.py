"""One unfolded row by name and type: what the adaptors fill in, with the columns that `qc.ingest.frames` has.

`offset_min` and `has_time` are of readings alone; an event's frame leaves them out.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import TypedDict


class SharedColumns(TypedDict):
    """What readings and events have in common."""

    measured_at: datetime | None
    day: date | None
    offset_min: int | None
    has_time: bool
    day_text: str
    serial: str
    model: str
    stage: str
    person: str
    batch: str
    tool: str
    note: str
    sheet: str
    tab: str
    row: int
    file: str
    card: str


class PlaceColumns(TypedDict, total=False):
    """Where on a piece a reading was taken."""

    leg: str
    station: str
    direction: str
    surface: str
    valve: str
    position: int | None
    partial: int | None
    area: str
    spot: int | None


class ReadingColumns(SharedColumns, PlaceColumns):
    """What every reading of one row of a card shares."""

    repeat: int | None
    tool_count: int | None
    air_c: float | None
    method: str


class FigureColumns(TypedDict):
    """What was typed in the cell that a reading or an event is about."""

    value: float | None
    unit: str
    text: str
    cell: str
    column: str
    hint: str
    bad: str


class UnfoldedReading(ReadingColumns, FigureColumns):
    """One reading, not yet judged."""

    characteristic: str
    gauge: str


class UnfoldedEvent(SharedColumns, FigureColumns):
    """One event, not yet judged."""

    kind: str
    subject: str
    code: str


Rows = tuple[list[UnfoldedReading], list[UnfoldedEvent]]
"""What a sheet unfolds into."""

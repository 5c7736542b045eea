"""A history as a table with a reading a row: piece, figure, place, day and value, a column each.

Sheets of a bench are laid out for people, in a hundred ways; what a workshop kept for years in files of its
own has one plain form. Its cells are read by the same reader as those of a card, and judged by the same
rules.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from qc.ingest.cards import (
    FIGURE_WORDS,
    VALUE,
    WHAT_WORDS,
    CardMapping,
    CardSheet,
    Column,
    Parts,
    ReadAs,
    RowReader,
)
from qc.ingest.cells import Heading, heading, plain
from qc.ingest.errors import SheetError
from qc.ingest.frames import event_frame, reading_frame
from qc.ingest.reading import Grid
from qc.ingest.sources.repeats import number_repeats
from qc.ingest.sources.unfolding import Unfolded
from qc.ingest.unfolded import UnfoldedReading
from qc.plan import PLACE, Card, Characteristic, Plan
from qc.words import closest, listed

FIGURE, NAME, STAGE = "figure", "name", "stage"
PLAIN = "value"
"""Where this stands over a column, another word for a figure says something else: the number of a reading."""

MOMENT, TIMED = "measured_at", "has_time"
"""Columns of `qc export` with the time of a reading: a moment in UTC, and whether one was typed."""

TRUE = {"true", "1", "yes"}

NEEDED = {"serial": "Serial", "day": "Date", NAME: "Characteristic", FIGURE: "Value"}
TAKEN = (
    *("serial", "model", "day", "time", STAGE, "person", "gauge", "tool", "tool_count", "batch", "air_c"),
    *(*PLACE, "repeat", "method", "note", "unit"),
)
"""Our names of the columns that a history may have beside its figures and what they are of."""


@dataclass(frozen=True, slots=True)
class TidyColumns:
    """The headings of a history under our names, and those that are not read."""

    columns: dict[str, Column]
    beside: tuple[str, ...]
    timed: int | None = None
    """The column that says whether a time was typed, where the times are moments of our own export."""


def tidy_columns(labels: Sequence[str], name: str) -> TidyColumns:
    """Read the headings of a history.

    Parameters
    ----------
    labels : sequence of str
        Headings as they stand.
    name : str
        Name of the file, for messages.

    Returns
    -------
    TidyColumns

    Raises
    ------
    SheetError
        A needed heading is missing, one stands twice, or one is nearly a known one.

    Examples
    --------
    >>> found = tidy_columns(["Serial", "Date", "Characteristic", "Value [mm]", "Weather"], "a.csv")
    >>> sorted(found.columns), found.beside
    (['day', 'figure', 'name', 'serial'], ('Weather',))
    """
    columns: dict[str, Column] = {}
    beside = []
    plainly = any(_column(0, label).heading.name == PLAIN for label in labels)
    # both as the export writes them: "Measured at" alone is another word for the day
    ours = {MOMENT, TIMED} <= set(labels)
    for index, label in enumerate(labels):
        if ours and label in {MOMENT, TIMED}:
            beside.append(label)
            continue
        column = _column(index, label)
        if plainly and column.heading.field == FIGURE and column.heading.name != PLAIN:
            column = Column(index, label, Heading(column.heading.name, ""))
        if not column.heading.field:
            beside += [label] if label.strip() else []
        elif column.heading.field in columns:
            both = f"{columns[column.heading.field].label} and {label}"
            raise SheetError(name, f"{both} mean the same", "Take one of the two columns out.", cell="line 1")
        else:
            columns[column.heading.field] = column
    missing = [label for field, label in NEEDED.items() if field not in columns]
    if missing:
        problem = f"a history needs the heading{'s' * (len(missing) > 1)} {listed(missing)}"
        raise SheetError(name, problem, "Write it over the column that holds it.", cell="line 1")
    known = [field.replace("_", " ") for field in (*TAKEN, *NEEDED.values()) if field not in columns]
    for label in beside:
        if ours and label in {MOMENT, TIMED}:
            continue
        if near := closest(plain(label), known):
            hint = f"Write {near.capitalize()} over the column, or a name that is not close to it."
            raise SheetError(name, f"the heading {label} is nearly {near}", hint, cell="line 1")
    return _with_moments(TidyColumns(columns, tuple(beside)), labels)


def _with_moments(found: TidyColumns, labels: Sequence[str]) -> TidyColumns:
    """Take the times of readings from the moments of an export, where no column has them as typed."""
    own = {label: index for index, label in enumerate(labels) if label in found.beside}
    if "time" in found.columns or not own.keys() >= {MOMENT, TIMED}:
        return found
    beside = tuple(label for label in found.beside if label not in {MOMENT, TIMED})
    columns = found.columns | {"time": Column(own[MOMENT], MOMENT, Heading(plain(MOMENT), "time"))}
    return TidyColumns(columns, beside, own[TIMED])


def tidy_figures(plan: Plan) -> dict[tuple[str, str], tuple[Card, Characteristic]]:
    """Return what a row of a history may be of.

    Parameters
    ----------
    plan : Plan
        The measuring plan.

    Returns
    -------
    dict
        Stage and figure, each by its id or its name in plain form -> the card that takes the figure, and it.
        An empty stage stands where no other stage has a figure of that name.
    """
    found: dict[tuple[str, str], tuple[Card, Characteristic]] = {}
    alone: dict[str, list[tuple[Card, Characteristic]]] = {}
    for stage in plan.stages:
        for figure in stage.characteristics:
            card = next((c for c in plan.cards if c.stage == stage.id and figure in plan.figures_on(c)), None)
            if card is None:
                continue
            for name in {plain(figure.id), plain(figure.name)}:
                alone.setdefault(name, []).append((card, figure))
                found |= {(plain(own), name): (card, figure) for own in (stage.id, stage.name)}
    return found | {("", name): ways[0] for name, ways in alone.items() if len(ways) == 1}


def tidy_said(cells: Sequence[str], columns: TidyColumns) -> tuple[str, str]:
    """Return which stage and figure a row names, in plain form; the stage is empty where it has no column."""
    named = columns.columns
    stage = plain(_cell(cells, named[STAGE])) if STAGE in named else ""
    return stage, plain(_cell(cells, named[NAME]))


def unfold_tidy(grid: Grid, plan: Plan, dates: str = "") -> Unfolded:
    """Unfold a part of a history: its first row are the headings, every other one a reading.

    Parameters
    ----------
    grid : Grid
        The part as read.
    plan : Plan
        The measuring plan.
    dates : {"", "day-first", "month-first"}
        Which way round dates with strokes are meant.

    Returns
    -------
    Unfolded
        A reading for each row, in the order of the rows.

    Raises
    ------
    SheetError
        The headings are not those of a history, or a row names a figure that is on no card of the plan.
    """
    columns = tidy_columns(grid.rows[0], grid.file)
    if columns.timed is not None:
        grid = _with_times(grid, columns, columns.timed, ZoneInfo(plan.workshop.time_zone))
    figures = tidy_figures(plan)
    wanted: dict[tuple[str, str], list[int]] = {}
    for row in range(1, len(grid.rows)):
        if any(grid.rows[row]):
            wanted.setdefault(tidy_said(grid.rows[row], columns), []).append(row)
    readings: list[tuple[int, UnfoldedReading]] = []
    for said, rows in wanted.items():
        if said not in figures:
            raise _strange(grid, rows[0], columns, said)
        readings += _read(grid, plan, columns, figures[said], rows, dates)
    readings.sort(key=lambda pair: pair[0])
    own = [reading for _, reading in readings]
    number_repeats(own, plan)
    first = own[0]["card"] if own else ""
    return Unfolded(grid.file, grid.tab, grid.sheet, first, reading_frame(own), event_frame([]))


def _with_times(grid: Grid, columns: TidyColumns, timed: int, zone: ZoneInfo) -> Grid:
    """Write the shop's time for each moment; a day that its moment is not on cannot be read then."""
    at, day = columns.columns["time"].index, columns.columns["day"].index
    rows = [grid.rows[0]]
    for row in grid.rows[1:]:
        cells = list(row)
        if at < len(cells) and cells[at].strip():
            clock, other = _clock(cells, at, timed, zone)
            typed = cells[day].strip() if day < len(cells) else ""
            if other and typed[:10] != other and typed:
                cells[day] = f"{typed}, but {columns.columns['time'].label} {cells[at].strip()}"
            cells[at] = clock
        rows.append(tuple(cells))
    return replace(grid, rows=tuple(rows))


def _clock(cells: Sequence[str], at: int, timed: int, zone: ZoneInfo) -> tuple[str, str]:
    """Return the shop's time of a moment in UTC and the day it is on; nothing where no time was typed."""
    said = cells[timed].strip().casefold() if timed < len(cells) else ""
    if said not in TRUE:
        return "", ""
    try:
        moment = datetime.fromisoformat(cells[at].strip())
        local = (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).astimezone(zone)
    except (ValueError, OverflowError):
        return "", "what is no moment"
    return f"{local:%H:%M:%S}", local.date().isoformat()


def _column(index: int, label: str) -> Column:
    """Take a heading of a history apart; one that is not its own has no field."""
    found = heading(label)
    if found.field in TAKEN:
        return Column(index, label, found)
    bare = heading(label, dict.fromkeys(FIGURE_WORDS, FIGURE) | dict.fromkeys(WHAT_WORDS, NAME))
    if bare.field in {FIGURE, NAME} and not bare.stray_unit:
        return Column(index, label, bare)
    return Column(index, label, Heading(found.name, ""))


def _cell(cells: Sequence[str], column: Column) -> str:
    return cells[column.index] if column.index < len(cells) else ""


def _strange(grid: Grid, row: int, columns: TidyColumns, said: tuple[str, str]) -> SheetError:
    at = columns.columns[NAME]
    problem = f"{' '.join(said).strip() or 'an empty cell'} is no figure on a card of the plan"
    hint = "Write its id or its name as the plan has it, with its stage; or put it on a card of the plan."
    return SheetError(grid.file, problem, hint, cell=grid.cell(row, at.index, at.label))


def _read(
    grid: Grid,
    plan: Plan,
    columns: TidyColumns,
    figure: tuple[Card, Characteristic],
    rows: Sequence[int],
    dates: str,
) -> list[tuple[int, UnfoldedReading]]:
    """Read the rows of one figure by the reader of a card's rows."""
    card, characteristic = figure
    field = VALUE + characteristic.id
    named = columns.columns
    parts = Parts(grid, (), "", tuple(named.values()), 0, tuple(rows))
    read_as = ReadAs(card.id, grid.rows[0], CardMapping(card.id, dates=dates)) if dates else None
    sheet = CardSheet(parts, card, {}, (), {**named, field: named[FIGURE]}, read_as)
    reader = RowReader(sheet, plan)
    return [(row.index, row.figure(characteristic, field, row.reading_fields())) for row in reader.rows()]

"""Parts a grid into its head (labels with values) and its one table (a heading row and rows below it)."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from qc.ingest.cells import Heading, heading, plain
from qc.ingest.errors import NothingFilledIn, SheetError
from qc.ingest.reading import Grid

HEAD_ROWS = 60
"""The headings of a table stand within so many rows."""


@dataclass(frozen=True, slots=True)
class HeadValue:
    """One line of the head: its label taken apart, the value as typed, and where the value stands."""

    label: str
    heading: Heading
    text: str
    row: int
    column: int


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the table: where it stands (from 0), what is written over it, and that taken apart."""

    index: int
    label: str
    heading: Heading


@dataclass(frozen=True, slots=True)
class Parts:
    """A sheet in its parts; `body` are the grid's rows (from 0) that hold something below the headings."""

    grid: Grid
    head: tuple[HeadValue, ...]
    title: str
    columns: tuple[Column, ...]
    header_row: int
    body: tuple[int, ...]


def part_sheet(grid: Grid, names: Collection[str] = ()) -> Parts:
    """Part a grid into head and table.

    Parameters
    ----------
    grid : Grid
        The sheet as read.
    names : collection of str
        Further headings that may stand over a column, in plain form: those of the plan's figures.

    Returns
    -------
    Parts
        Head values, columns and the rows of the table; headings taken apart by the general names.

    Raises
    ------
    SheetError
        No table, a column with figures but no heading, or two headings that are the same.
    """
    header = _header_row(grid, names)
    head, title = _head(grid, header)
    columns = _columns(grid, header)
    body = tuple(row for row in range(header + 1, len(grid.rows)) if any(c.strip() for c in grid.rows[row]))
    if not body:
        hint = "Fill in a row below the headings, or leave the sheet out."
        cell = grid.cell(header, columns[0].index, columns[0].label)
        raise NothingFilledIn(grid.file, "the table has no rows", hint, tab=grid.tab, cell=cell)
    return Parts(grid, head, title, columns, header, body)


def _header_row(grid: Grid, names: Collection[str]) -> int:
    """Find the headings: the row with most we know, two at least; else of three cells; else after a blank."""
    filled = [[text for text in row if text.strip()] for row in grid.rows]
    first = next((row for row, cells in enumerate(filled) if cells), None)
    if first is None:
        raise NothingFilledIn(grid.file, "the sheet is empty", "Fill it in, or leave it out.", tab=grid.tab)
    known = [sum(_is_heading(cell, names) for cell in cells) for cells in filled[:HEAD_ROWS]]
    if max(known) >= 2:
        # A line of the head can look like headings (Gauge, Tuner): the table's own come after it.
        return max(range(len(known)), key=lambda row: (known[row], row))
    wide = next((row for row, cells in enumerate(filled) if len(cells) >= 3), None)
    if wide is not None:
        return wide
    after = (row for row in range(first + 1, len(filled)) if filled[row] and not filled[row - 1])
    return next(after, first)


def _is_heading(text: str, names: Collection[str]) -> bool:
    found = heading(text)
    return bool(found.field) or found.name in names or plain(text) in names


def _head(grid: Grid, header: int) -> tuple[tuple[HeadValue, ...], str]:
    # a line of one cell holds its value behind a colon, or else is the sheet's title
    values: list[HeadValue] = []
    title = ""
    seen: dict[str, int] = {}
    for row in range(header):
        cells = [(i, text.strip()) for i, text in enumerate(grid.rows[row]) if text.strip()]
        if not cells:
            continue
        column, label = cells[0]
        if len(cells) == 1:
            label, colon, value = label.partition(":")
            if not colon and not heading(label).field:
                title = title or label
                continue
            value_column = column
        else:
            value_column, value = cells[1]
        known = heading(label)
        if known.field and known.field in seen:
            hint = f"Keep one of lines {grid.lines[seen[known.field]]} and {grid.lines[row]}."
            problem = f"the head says {label} twice"
            raise SheetError(grid.file, problem, hint, tab=grid.tab, cell=grid.cell(row, column, label))
        if known.field:
            seen[known.field] = row
        values.append(HeadValue(label.rstrip(":"), known, value.strip(), row, value_column))
    return tuple(values), title


def _columns(grid: Grid, header: int) -> tuple[Column, ...]:
    found = []
    widest = max(len(grid.rows[row]) for row in range(header, len(grid.rows)))
    for index in range(widest):
        label = grid.text(header, index).strip()
        if label:
            found.append(Column(index, label, heading(label)))
        elif index < len(grid.rows[header]) or grid.kind == "xlsx":
            # beyond the last heading of a csv line stand the pieces of a figure split at its decimal comma
            _refuse_unnamed(grid, header, index)
    refuse_doubled(grid, header, found)
    return tuple(found)


def refuse_doubled(grid: Grid, header: int, columns: Sequence[Column]) -> None:
    """Raise SheetError where two headings translate to one name."""
    taken: dict[str, Column] = {}
    for column in columns:
        key = column.heading.field or column.heading.name
        if key in taken:
            problem = f"the headings {taken[key].label} and {column.label} mean the same"
            hint = "Keep one of the two columns, or rename the one that holds something else."
            cell = grid.cell(header, column.index, column.label)
            raise SheetError(grid.file, problem, hint, tab=grid.tab, cell=cell)
        taken[key] = column


def _refuse_unnamed(grid: Grid, header: int, index: int) -> None:
    for row in range(header + 1, len(grid.rows)):
        if grid.text(row, index).strip():
            hint = "Write over the column what it holds."
            problem = "a column has figures but no heading"
            raise SheetError(grid.file, problem, hint, tab=grid.tab, cell=grid.cell(row, index))

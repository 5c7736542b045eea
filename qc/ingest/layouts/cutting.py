"""Cuts a sheet by its layout: each figure with all that is said of it, and the cell each was typed in."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from qc.ingest.cells import is_ditto, plain, read_decimal
from qc.ingest.layouts.shown import FACTS, LaidTable, Pointed, SheetLayout, ShownFigure, column_of, letters
from qc.ingest.reading import Grid

LaidCell = tuple[str, int, int]
"""A text with the line and the column (from 0) of the cell it stands in."""


@dataclass(frozen=True, slots=True)
class LaidRow:
    """One figure of a sheet: what it is as typed, its text and unit, the facts by the names of a reading."""

    what: str
    figure: LaidCell
    unit: str
    facts: Mapping[str, LaidCell]
    part: int = 0  # which of several figures of one cell, 0 where it is the only one


class Lines:
    """The cells of a grid by line of the file and column."""

    def __init__(self, grid: Grid) -> None:
        self.grid = grid
        self._rows = {line: row for row, line in enumerate(grid.lines)}
        self.last = max(grid.lines, default=0)
        self.right = max((len(row) for row in grid.rows), default=0) - 1

    def text(self, line: int, column: int) -> str:
        """Return the text of a cell, empty where the sheet has none there."""
        row = self._rows.get(line)
        return " ".join(self.grid.text(row, column).split()) if row is not None and column >= 0 else ""


def lines_of(grid: Grid) -> Lines:
    """Return the cells of a grid by line and column."""
    return Lines(grid)


def lay_out(grid: Grid, layout: SheetLayout, table: LaidTable) -> list[LaidRow]:
    """Return every figure that a table of a layout takes from a sheet, in the order of its pieces.

    Parameters
    ----------
    grid : Grid
        The sheet as read.
    layout : SheetLayout
        What the whole sheet is read with: marks of what was not measured, words, what completes a serial.
    table : LaidTable
        Which cells it takes.

    Returns
    -------
    list of LaidRow
        One for each cell that holds something. A piece that is named and has no figure at all gives one
        without a text, so that it is asked about.
    """
    lines = Lines(grid)
    marks = {plain(mark) for mark in layout.not_measured}
    said: dict[str, LaidCell] = {}
    found: list[LaidRow] = []
    for shift in _shifts(table, lines):
        if _left_out(table, lines, shift):
            continue
        own = _piece(layout, table, lines, shift, said, marks)
        found += own
    return found


def not_taken(grid: Grid, layout: SheetLayout) -> tuple[str, ...]:
    """Return the addresses of cells with a figure that the layout neither takes nor knows nor leaves out."""
    lines = Lines(grid)
    seen = {where for where, _ in layout.fixed}
    out: set[tuple[int, int]] = set()
    for table in layout.tables:
        for shift in _shifts(table, lines):
            cells = set(_looked_at(table, lines, shift))
            if _left_out(table, lines, shift):
                out |= set(_band(table, lines, shift))
            seen |= cells
    free = [
        (line, column)
        for line, row in zip(grid.lines, grid.rows, strict=True)
        for column, text in enumerate(row)
        if text.strip() and (line, column) not in seen | out and read_decimal(text.strip()) is not None
    ]
    return tuple(f"{letters(column)}{line}" for line, column in free)


def _shifts(table: LaidTable, lines: Lines) -> range:
    pieces = table.pieces
    if pieces.are == "sheet":
        return range(1)
    end = lines.last if pieces.are == "rows" else lines.right
    last = end if pieces.last < (1 if pieces.are == "rows" else 0) else min(pieces.last, end)
    return range(0, max(last - pieces.first + 1, 0), pieces.every)


def _moved(table: LaidTable, line: int, column: int, shift: int) -> tuple[int, int]:
    if not table.pieces.holds(line, column):
        return line, column
    return (line + shift, column) if table.pieces.are == "rows" else (line, column + shift)


def _band(table: LaidTable, lines: Lines, shift: int) -> Iterator[tuple[int, int]]:
    """Give every cell of the rows or columns of a piece."""
    pieces = table.pieces
    own = range(pieces.first + shift, pieces.first + shift + pieces.every)
    if pieces.are == "rows":
        yield from ((line, column) for line in own for column in range(lines.right + 1))
    elif pieces.are == "columns":
        yield from ((line, column) for column in own for line in range(1, lines.last + 1))


def _left_out(table: LaidTable, lines: Lines, shift: int) -> bool:
    """Tell whether a piece is none: a row or column that is named, or that holds one of the words."""
    pieces = table.pieces
    words = set()
    for text in table.leave_out:
        kind, _, which = text.partition(" ")
        start = pieces.first + shift
        if kind == "row" and which.isdigit():
            if pieces.are == "rows" and start <= int(which) < start + pieces.every:
                return True
        elif kind == "column" and which.isalpha() and which.isupper():
            if pieces.are == "columns" and start <= column_of(which) < start + pieces.every:
                return True
        else:
            words.add(plain(text))
    return bool(words) and any(plain(lines.text(*cell)) in words for cell in _band(table, lines, shift))


def _looked_at(table: LaidTable, lines: Lines, shift: int) -> Iterator[tuple[int, int]]:
    for spot in [spot for _, spot in table.facts if spot.kind == "cell"]:
        yield _moved(table, spot.line, spot.column, shift)
    for figure in table.figures:
        for line, column in _cells(figure):
            yield _moved(table, line, column, shift)
            for beside in (figure.what, figure.unit, *dict(figure.places).values()):
                if beside is not None and beside.kind in {"cell", "row", "column"}:
                    yield _where(table, beside, (line, column), shift)


def _cells(figure: ShownFigure) -> Iterator[tuple[int, int]]:
    line, column, last, right = figure.cells
    yield from ((one, other) for one in range(line, last + 1) for other in range(column, right + 1))


def _where(table: LaidTable, spot: Pointed, at: tuple[int, int], shift: int) -> tuple[int, int]:
    """Return the cell of a spot for the figure that stands `at` in the first piece."""
    line = at[0] if spot.kind == "column" else spot.line
    column = at[1] if spot.kind == "row" else spot.column
    return _moved(table, line, column, shift)


def _said(table: LaidTable, spot: Pointed, at: tuple[int, int], shift: int, lines: Lines) -> LaidCell:
    """Return what a spot says; a word stands in the cell of what it is said of."""
    if spot.kind == "word":
        return spot.word, *_moved(table, *at, shift)
    if spot.kind == "tab":
        text, line, column = lines.grid.tab, *_moved(table, *at, shift)
    else:
        line, column = _where(table, spot, at, shift)
        text = lines.text(line, column)
    taken = _part(text, spot.within)
    return (text if taken is None else taken), line, column


def _piece(
    layout: SheetLayout,
    table: LaidTable,
    lines: Lines,
    shift: int,
    said: dict[str, LaidCell],
    marks: set[str],
) -> list[LaidRow]:
    first = table.figures[0].cells[:2]
    facts: dict[str, LaidCell] = {}
    named = False
    heading_line: dict[str, LaidCell] = {}
    for name, spot in table.facts:
        text, line, column = _said(table, spot, first, shift, lines)
        if spot.kind == "cell" and table.pieces.holds(spot.line, spot.column) and text:
            named |= name == "serial"
        if name in table.as_above:
            other = spot.within and _part(lines.text(line, column), spot.within) is None
            if not text or is_ditto(text) or other:
                text, line, column = said.get(name, ("" if other else text, line, column))
            elif spot.within:
                heading_line[name] = text, line, column
        facts[name] = text, line, column
    named |= table.pieces.are == "sheet"
    rows = [row for figure in table.figures for row in _figure(layout, table, figure, facts, shift, lines)]
    taken = [row for row in rows if row.figure[0]]
    said |= facts if taken or named else heading_line
    measured = [row for row in taken if plain(row.figure[0]) not in marks]
    # a piece that is named and wholly empty is asked about, one with marks of "not measured" is not
    return measured if taken else rows[:1] if named else []


def _figure(
    layout: SheetLayout,
    table: LaidTable,
    figure: ShownFigure,
    facts: Mapping[str, LaidCell],
    shift: int,
    lines: Lines,
) -> Iterator[LaidRow]:
    shared = [one for one in table.figures if one.within and one.cells == figure.cells]
    for at in _cells(figure):
        line, column = _moved(table, *at, shift)
        text = lines.text(line, column)
        part = _part(text, figure.within)
        if part is None and text:
            if shared[0] is not figure or any(_part(text, one.within) is not None for one in shared):
                continue
            part = text  # no part of it is what was shown: the whole cell is asked about
        own = {name: _fact(layout, name, cell) for name, cell in facts.items()}
        for name, spot in figure.places:
            own[name] = _fact(layout, name, _said(table, spot, at, shift, lines))
        what = layout.meant(_said(table, figure.what, at, shift, lines)[0])
        unit = "" if figure.unit is None else layout.meant(_said(table, figure.unit, at, shift, lines)[0])
        number = 1 + shared.index(figure) if len(shared) > 1 else 0
        own = {FACTS[name]: cell for name, cell in own.items()}
        yield LaidRow(what, (layout.meant(part or ""), line, column), unit, own, number)


def _fact(layout: SheetLayout, name: str, cell: LaidCell) -> LaidCell:
    text, line, column = cell
    text = layout.meant(text)
    if name == "serial" and text and not text.startswith(layout.serials):
        text = layout.serials + text
    return text, line, column


def _part(text: str, within: tuple[str, ...]) -> str | None:
    """Return the part of a cell that the first fitting pattern marks, None where none fits.

    Examples
    --------
    >>> _part("TW-670 Kranich: in 2.4 N", ("{} *: *",)), _part("F 22,9", ("F {} / *", "F {}")), _part("x", ())
    ('TW-670', '22,9', 'x')
    """
    if not within:
        return text
    for pattern in within:
        if (found := _marked(text, pattern)) is not None:
            return found
    return None


def _marked(text: str, pattern: str) -> str | None:
    """Return what stands where a pattern has ``{}``; words between are looked for from the left."""
    pieces = [piece for piece in re.split(r"(\{\}|\*)", " ".join(pattern.split())) if piece]
    small = text.lower() if len(text.lower()) == len(text) else text
    place, open_since, taken = 0, -1, (0, 0)
    is_taken = False
    for number, piece in enumerate(pieces):
        if piece in {"{}", "*"}:
            open_since, is_taken = place, piece == "{}"
            continue
        last = number == len(pieces) - 1
        found = small.rfind(piece.lower()) if last and open_since >= 0 else small.find(piece.lower(), place)
        if found < place or (open_since < 0 and found != place):
            return None
        if is_taken:
            taken = open_since, found
        place, open_since, is_taken = found + len(piece), -1, False
    if open_since >= 0 and is_taken:
        taken = open_since, len(text)
    elif open_since < 0 and place != len(text):
        return None
    return text[taken[0] : taken[1]].strip() or None

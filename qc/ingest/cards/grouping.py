"""Lines and merged cells that speak for several rows: a model above its pieces, a serial over places."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from qc.ingest.cards.heading_lines import SaidPlaces, TableOfSheet, said_of_rows
from qc.ingest.cards.headlines import Cell, HeadReader
from qc.ingest.cards.laid import LayoutError, address
from qc.ingest.cards.sheet_words import SheetWords
from qc.ingest.cells import known_field
from qc.ingest.reading import Grid
from qc.plan import PLACE

GROUPS = {"model": "Model", "day": "Date", "person": "Person", "gauge": "Gauge", "tool": "Tool"}
"""What such a line may say, with the heading it would be under."""

SAID = -1
"""Column of a heading that no bench typed: what stands below it was said by a line of its own."""


def group_line(cells: Sequence[Cell], heads: HeadReader, words: SaidPlaces) -> dict[str, Cell]:
    """Return what a line of the table says of the rows below it, by our names; empty where it is a row."""
    filled = [cell for cell in cells if cell.text.strip()]
    if not filled or len(filled) > 2:
        return {}
    if said_places := said_of_rows(cells, words):
        return said_places
    if len(filled) == 2 and not known_field(filled[0].text.partition(":")[0]):
        return {}
    said = heads.read(filled)
    if not said or any(line.known not in GROUPS or not line.text for line in said):
        return {}
    return {line.known: line.cell._replace(text=line.text) for line in said}


def spread_groups(table: TableOfSheet, heads: HeadReader, words: SheetWords) -> TableOfSheet:
    """Return the table with what its group lines say in columns of their own, and without those lines."""
    if table.across:
        return table
    found = {n: said for n, row in enumerate(table.body) if (said := group_line(row, heads, words))}
    if not found or len(found) == len(table.body):
        return table
    if _kinds_of_rows(table, found, words) & {kind for said in found.values() for kind in said}:
        return table  # the rows begin with such a place: one without a figure is a row all the same
    own = {known_field(cell.text) for cell in table.headings if cell.text.strip()}
    titles = {**GROUPS, **{kind: kind.capitalize() for kind in PLACE}}
    names = [name for name in titles if any(name in said for said in found.values())]
    own |= {words.place_kind(cell.text) for cell in table.headings if cell.text.strip()}
    if set(names) & own:
        return table  # a column says it already: such a line may be a row whose other cells are empty
    width = max(len(table.headings), *(len(row) for row in table.body))
    line = table.headings[0].line
    blank = [Cell("", line, column) for column in range(len(table.headings), width)]
    headings = [*table.headings, *blank, *(Cell(titles[name], line, SAID) for name in names)]
    body: list[list[Cell]] = []
    current: dict[str, Cell] = {}
    for number, row in enumerate(table.body):
        if number in found:
            current |= found[number]
            continue
        filled = [*row, *(Cell("", row[-1].line, column) for column in range(len(row), width))]
        nothing = Cell("", row[-1].line, 0)
        body.append([*filled, *(current.get(name, nothing) for name in names)])
    return replace(table, headings=headings, body=body)


def _kinds_of_rows(table: TableOfSheet, found: Collection[int], words: SheetWords) -> set[str]:
    """Return the kinds of place that the rows of a table begin with."""
    firsts = [next((cell for cell in row if cell.text.strip()), None) for row in table.body]
    rows = [cell for n, cell in enumerate(firsts) if n not in found and cell is not None]
    return {kind for cell in rows for kind in words.places_said(cell.text)}


def refuse_wide(grid: Grid, table: TableOfSheet) -> None:
    """Raise LayoutError where a row has cells beyond the last heading."""
    for row in table.body:
        extra = [cell for cell in row[len(table.headings) :] if cell.text.strip()]
        if extra:
            hint = "Write a heading over each column; a figure split at its comma is written with a point."
            problem = "the row has more cells than there are headings"
            raise LayoutError(grid.file, problem, hint, tab=grid.tab, cell=address(grid, extra[0]))


def fill_boxes(
    grid: Grid, table: TableOfSheet, texts: list[list[str]], figures: Collection[int]
) -> list[list[str]]:
    """Fill what is drawn as one cell over several rows; a figure for several rows is refused."""
    rows = {row[0].line: n for n, row in enumerate(table.body) if row}
    for top, left, bottom, right in grid.boxes:
        lines = [rows.get(grid.lines[row]) for row in range(top, min(bottom + 1, len(grid.lines)))]
        inside = [n for n in lines if n is not None]
        if table.across or len(inside) < 2 and (not inside or left == right):
            continue
        if left != right or left in figures:
            cell = address(grid, table.body[inside[0]][0]._replace(column=left))
            hint = "Unmerge the cells and type the text into each row it is meant for."
            raise LayoutError(grid.file, "cells are merged", hint, tab=grid.tab, cell=cell)
        for n in inside[1:]:
            texts[n] += [""] * (left + 1 - len(texts[n]))
            texts[n][left] = texts[inside[0]][left]
    return texts

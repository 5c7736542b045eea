"""Cells drawn as one over several rows, and rows with more cells than headings."""

from __future__ import annotations

from collections.abc import Collection

from qc.ingest.cards.laid import LayoutError, address
from qc.ingest.cards.tables import TableOfSheet
from qc.ingest.reading import Grid


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

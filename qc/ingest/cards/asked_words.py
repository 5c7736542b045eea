"""A sheet told in the words of one question before it is read; every cell keeps its place."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from qc.ingest.cards.asked_plan import figure_name
from qc.ingest.cells import UNITS, known_field, plain
from qc.ingest.reading import Grid

TRIAL = re.compile(r"\b(?:trial|run|reading|rep|repeat|versuch|messung|durchgang)\b\.?\s*#?", re.IGNORECASE)
_PAIRED = frozenset({"person", "tool", "gauge", "batch", "model", "valve"})
"""Words before the number of a trial, and labels whose value may stand in the same cell."""


def renamed(grid: Grid, words: Mapping[str, str]) -> Grid:
    """Write headings that mean something in this question only in our words; tell labels from values."""
    rows = []
    for cells in grid.rows:
        told = []
        for text in cells:
            meant = words.get(figure_name(text)) if text[:1].isalpha() else None
            if meant is not None:
                unit = re.search(r"[\[(].*?[\])]", text)
                told.append(f"{meant} {unit[0]}" if unit else meant)
            else:
                told.append(_labelled(text))
        if known_field(next((text for text in cells if text.strip()), "").partition(":")[0]) == "card":
            told = [""] * len(told)  # whichever card it is, it is read for this question
        rows.append(tuple(told))
    return replace(grid, rows=tuple(rows))


def _labelled(text: str) -> str:
    """Write ``Tester AL`` as ``Tester: AL``: no plan need know who AL is."""
    first, _, rest = text.strip().partition(" ")
    if not rest or ":" in text or known_field(text) or known_field(first) not in _PAIRED:
        return TRIAL.sub("", text) if TRIAL.match(text.strip()) and text.strip()[-1:].isdigit() else text
    return f"{first}: {rest.strip()}" if len(rest.split()) == 1 and plain(rest) not in UNITS else text


def upright(grid: Grid) -> Grid:
    """Turn notes that are written across, a note a column: there every figure could also be a heading.

    Each cell keeps the place it was typed in.
    """
    block = [row for row, cells in enumerate(grid.rows) if len(cells) > 2 and known_field(cells[0])]
    fields = {known_field(grid.rows[row][0]) for row in block}
    if not {"partial"} < fields or not fields & {"cents", "hz"} or block[-1] - block[0] != len(block) - 1:
        return grid
    width = max(len(grid.rows[row]) for row in block)
    turned = tuple(tuple(grid.text(row, column) for row in block) for column in range(width))
    at = tuple(
        tuple((grid.lines[row], column, grid.text(row, 0).strip()) for row in block)
        for column in range(width)
    )
    above, below = range(block[0]), range(block[-1] + 1, len(grid.rows))
    if any(any(grid.rows[row]) for row in below):
        return grid
    said = tuple(tuple((grid.lines[row], n, "") for n in range(len(grid.rows[row]))) for row in above)
    lines = (*(grid.lines[row] for row in above), *(grid.lines[block[0]] for _ in turned))
    rows = (*(grid.rows[row] for row in above), *turned)
    return replace(grid, rows=rows, lines=lines, widths=(), boxes=(), origins=(*said, *at))


def with_card(grid: Grid, title: str, *, headed: bool) -> Grid:
    """Say above the sheet which card it is, so that what is wrong with it is told in full."""
    first = grid.lines[0] if grid.lines else 1
    # where the headings stand in the first column, a label there would be one of them
    said = ("Card", title) if headed else (title,)
    return replace(
        grid,
        rows=(said, *grid.rows),
        lines=(first, *grid.lines),
        widths=(len(said), *grid.widths) if grid.widths else (),
        boxes=tuple((top + 1, left, bottom + 1, right) for top, left, bottom, right in grid.boxes),
        origins=((), *grid.origins) if grid.origins else (),
    )

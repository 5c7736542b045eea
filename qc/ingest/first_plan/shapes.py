"""Finds the headings of a sheet whose words nobody knows yet, by its shape, and what belongs to each."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from qc.ingest.cards import FIGURE_WORDS, WHAT_WORDS
from qc.ingest.cells import (
    about,
    is_blank_mark,
    known_field,
    plain,
    possible_days,
    read_decimal,
    read_verdict,
)
from qc.ingest.reading import Grid


def headings_at(grid: Grid) -> int:
    """Return the row of headings: the one with most words that have a figure in the row right below them.

    Only where no row has one, a blank line may stand between, and then good or faulty is a figure too.
    """
    filled = [row for row, cells in enumerate(grid.rows) if any(text.strip() for text in cells)]
    pairs = list(zip(filled, filled[1:], strict=False))
    near = [(row, below) for row, below in pairs if below == row + 1]
    for tried, read in ((near, holds_figures), (near, is_read), (pairs, is_read)):
        over = {row: _over_figures(grid, row, below, read) for row, below in tried}
        if any(over.values()):
            return max(over, key=lambda row: (over[row], -row))
    return filled[0] if filled else 0


def _over_figures(grid: Grid, row: int, below: int, read: Callable[[Sequence[str]], bool]) -> int:
    """Return how many words of a row have what was read below them."""
    words = [(n, text) for n, text in enumerate(grid.rows[row]) if text.strip()]
    return sum(not holds_figures([text.strip()]) and read([grid.text(below, n).strip()]) for n, text in words)


def across_from(grid: Grid) -> int | None:
    """Return the first row of a sheet with a column a piece: two rows of labels with several values each."""
    begins = [
        row
        for row, cells in enumerate(grid.rows)
        if sum(bool(text.strip()) for text in cells) > 2
        and known_field(cells[0]) in {"serial", "model", "day", "person"}
        and not any(known_field(text) for text in cells[1:])
    ]
    together = len(begins) > 1 and begins[1] == begins[0] + 1
    return (
        begins[0] if together and any(known_field(grid.rows[row][0]) == "serial" for row in begins) else None
    )


def columns_of(grid: Grid, top: int, across: bool) -> list[tuple[str, list[str]]]:
    """Return each heading with the cells that belong to it; of a line a figure each figure by its name."""
    rows = [[text.strip() for text in cells] for cells in grid.rows[top:]]
    width = max((len(cells) for cells in rows), default=0)
    even = [[*cells, *[""] * (width - len(cells))] for cells in rows if any(cells)]
    lines = even if across else [list(column) for column in zip(*even, strict=True)]
    columns = [(line[0], line[1:]) for line in lines if line and line[0]]
    named = {plain(label): texts for label, texts in columns}
    what = next((named[label] for label in named if label in WHAT_WORDS), None)
    value = next((named[label] for label in named if label in FIGURE_WORDS), None)
    if what is None or value is None:
        return columns
    units = named.get("unit", [""] * len(what))
    kept = [(label, texts) for label, texts in columns if texts is not what and texts is not value]
    figures: dict[str, list[str]] = {}
    for name, text, unit in zip(what, value, units, strict=True):
        if name:
            figures.setdefault(f"{name} [{unit}]" if unit else name, []).append(text)
    return [*kept, *figures.items()]


def holds_figures(texts: Sequence[str]) -> bool:
    """Tell whether most cells are figures; days are none."""
    read = [text for text in texts if not is_blank_mark(text)]
    figures = sum(
        (read_decimal(text) is not None and not possible_days(text)) or bool(about(text)) for text in read
    )
    return bool(read) and 2 * figures > len(read)


def is_read(texts: Sequence[str]) -> bool:
    """Tell whether cells hold figures, or all say good or faulty."""
    return holds_figures(texts) or (bool(texts) and all(read_verdict(text)[0] is not None for text in texts))

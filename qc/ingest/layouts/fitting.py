"""Whether a sheet still is as it was when its layout was shown."""

from __future__ import annotations

from collections.abc import Iterable

from qc.ingest.cells import plain
from qc.ingest.layouts.shown import SheetLayout, letters
from qc.ingest.reading import Grid

ALIKE = 0.5
"""A sheet is like a layout where it has more than this share of its fixed cells; chosen, for wording only."""


def differing(layout: SheetLayout, grid: Grid) -> tuple[tuple[str, str, str], ...]:
    """Return each fixed cell that is not as it was: its address, what it should say, what it says."""
    lines = {line: row for row, line in enumerate(grid.lines)}
    found = []
    for (line, column), wanted in layout.fixed:
        typed = grid.text(lines[line], column) if line in lines else ""
        if plain(typed) != plain(wanted):
            found.append((f"{letters(column)}{line}", wanted, " ".join(typed.split())))
    return tuple(found)


def nearest(layouts: Iterable[SheetLayout], grid: Grid) -> SheetLayout | None:
    """Return the layout that a sheet is most like without being of it; None where it is like none."""
    shares = [(1 - len(differing(one, grid)) / len(one.fixed), len(one.fixed), one) for one in layouts]
    like = [found for found in shares if ALIKE < found[0] < 1]
    return max(like, key=lambda found: found[:2])[2] if like else None

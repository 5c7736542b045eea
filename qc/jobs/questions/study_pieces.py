"""Which pieces the readings of a study belong to where nobody said: many readings are not as many pieces."""

from __future__ import annotations

from collections.abc import Iterable

import polars as pl

from qc.ingest.cells import KNOWN_NAMES, known_field
from qc.ingest.reading import Table
from qc.stats.studies import StudyOptions, given

FIELD = "serial"
"""What a column that names the piece stands for, whatever a bench calls it."""

SPELT = tuple(
    spelling
    for name in KNOWN_NAMES[FIELD]
    for spelling in dict.fromkeys((name, name.capitalize(), name.title(), name.upper()))
)
"""Names to look for in a file of any size, of which only the columns named are brought in."""


def unnamed_pieces(table: Table, asked: StudyOptions) -> tuple[str, pl.Series] | None:
    """Find the column that names pieces where no subgroup was asked for and some piece has several readings.

    A row without a serial is a piece of its own. With several series a piece may have one reading in each.
    """
    named = piece_column(table.columns, asked)
    if named is None:
        return None
    pieces = pieces_named(table, named)
    keys = {"piece": pieces}
    if (series := asked["series"]) is not None and series in table.columns:
        keys["series"] = table.column(series)
    return (named, pieces) if pl.DataFrame(keys).is_duplicated().any() else None


def piece_column(columns: Iterable[str], asked: StudyOptions) -> str | None:
    """Name the one column that names pieces; None where there are several, or pieces are asked for."""
    if given(asked, "subgroup"):
        return None
    named = [name for name in columns if name and known_field(name) == FIELD]
    return named[0] if len(named) == 1 else None


def pieces_named(table: Table, column: str) -> pl.Series:
    """Return the piece of each row, by the column that names it."""
    cells = table.column(column).cast(pl.String).str.strip_chars()
    alone = pl.Series([f"row {row}" for row in range(table.height)])
    return pl.select(pl.when((cells != "") & cells.is_not_null()).then(cells).otherwise(alone)).to_series()

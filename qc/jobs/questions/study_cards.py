"""A bench's own card in place of a study's table: columns found under their names, whatever the layout."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import polars as pl

from qc.ingest.cells import known_field
from qc.ingest.reading import Grid, Manner, Table, TableSource, read_table, source_grids
from qc.stats import StatisticsError, StatisticsUsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from qc.ingest.cards import AskedRow, AskedTable
    from qc.plan import Plan

FRAME = "table"


@dataclass(frozen=True, slots=True)
class AskedColumns:
    """The columns a question names.

    Attributes
    ----------
    figures : tuple of str
        Readings; on a card they may stand in several columns, one for each place.
    labels : tuple of str
        Everything else.
    crossed : str
        The label that may stand in the headings instead of a column: the person of a gauge study.
    """

    figures: tuple[str, ...]
    labels: tuple[str, ...]
    crossed: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """All of them."""
        return tuple(dict.fromkeys((*self.figures, *self.labels)))


def table_or_card(
    source: TableSource, manner: Manner, sheet: str | None, asked: AskedColumns, plain: dict[str, object],
    plan: Plan | None = None,
) -> Table:  # fmt: skip
    """Read a table by its first line; where columns are missing there, the card that it may be.

    Raises
    ------
    StatisticsError
        It is neither; a table keeps the sentences a study has for it.
    """
    table, fault = None, None
    try:
        table = read_table(source, manner, sheet, asked=plain or None)  # type: ignore[arg-type]
    except StatisticsUsageError:
        raise
    except StatisticsError as error:
        fault = error
    if table is not None and (not asked.figures or set(asked.names) <= set(table.columns)):
        return table
    if not asked.figures or (table is not None and table.kind == "parquet"):
        return _or_raise(table, fault)
    return _card(source, sheet, asked, plan, table, fault)


def _card(
    source: TableSource,
    sheet: str | None,
    asked: AskedColumns,
    plan: Plan | None,
    table: Table | None,
    fault: StatisticsError | None,
) -> Table:
    """Read the card that a table without the columns asked for may be; a table keeps its own words."""
    # only here: a study of a plain table has no need of cards and plans
    from qc.ingest import SheetError
    from qc.ingest.cards import CardQuestion, first_line, is_one_table, read_asked

    try:
        grids = source_grids(source, FRAME, sheet)
    except SheetError:
        return _or_raise(table, fault)
    if fault is not None and grids and set(asked.names) <= set(first_line(grids)):
        raise fault  # a plain table at fault, too large a one above all, is not read in another way
    # a plain table that calls its readings `value` was asked for a column it does not have
    plainly = table is not None and "value" in table.columns and set(asked.labels) <= set(table.columns)
    if plainly and not _named_anywhere(grids, asked.figures) and is_one_table(grids):
        return _or_raise(table, fault)
    # people stand in the headings only where they have no column of their own
    crossed = asked.crossed and not (table is not None and asked.crossed in table.columns)
    opened = "area" if crossed else ""
    question = CardQuestion("bench", dict.fromkeys(asked.figures, ""), asked.labels, open_place=opened)
    try:
        return _as_table(read_asked(grids, question, plan), asked, grids[0].kind)
    except SheetError as error:
        own = set(asked.names) <= set(first_line(grids))
        if (table is not None and is_one_table(grids)) or (fault is not None and (own or not grids)):
            return _or_raise(table, fault)
        place = ", ".join(part for part in (error.file, error.tab and f"tab {error.tab}", error.cell) if part)
        raise StatisticsError(f"{place}: {error.problem}. {error.hint}") from error


def _named_anywhere(grids: Sequence[Grid], figures: Sequence[str]) -> bool:
    """Tell whether a cell names one of the figures, alone or with a place or a unit behind it."""
    from qc.ingest.cards import figure_name

    begun = tuple(f"{figure_name(figure)} " for figure in figures)
    return any(
        f"{figure_name(text)} ".startswith(begun)
        for grid in grids
        for cells in grid.rows
        for text in cells
        if text[:1].isalpha()
    )


def _or_raise(table: Table | None, fault: StatisticsError | None) -> Table:
    if table is None:
        raise fault or StatisticsError("the table cannot be read")
    return table


def _as_table(found: AskedTable, asked: AskedColumns, kind: str) -> Table:
    """Return the rows under the question's own names; a name that no row has is left out."""
    piece = () if any(known_field(name) == "serial" for name in asked.names) else ("serial",)
    columns: list[str] = []
    cells: dict[str, pl.Series] = {}
    places: dict[str, pl.Series] = {}
    for name in dict.fromkeys((*asked.names, "model", *piece)):
        drawn = [_cell(row, name, asked) for row in found.rows]
        if not any(text for text, _ in drawn):
            continue
        at = str(len(columns))
        columns.append(name)
        cells[at] = pl.Series(at, [text or None for text, _ in drawn], dtype=pl.String)
        places[at] = pl.Series(at, [place for _, place in drawn], dtype=pl.String)
    lines = pl.Series([row.line for row in found.rows], dtype=pl.Int64)
    read_as: Literal["xlsx", "csv"] = "xlsx" if kind == "xlsx" else "csv"
    return Table(
        found.file, read_as, tuple(columns), pl.DataFrame(cells), lines, pl.DataFrame(places)
    )  # fmt: skip


def _cell(row: AskedRow, name: str, asked: AskedColumns) -> tuple[str, str]:
    """Return a cell and where it stood; a part may be called a piece, a person may stand in the heading."""
    field = known_field(name)
    others = {"part": "serial", "serial": "part"}
    tried = [name, field, others.get(field, ""), "area" if name == asked.crossed else ""]
    if name in asked.figures:
        tried = [name]
    found = next((key for key in tried if key and key in row.cells), None)
    return ("", "") if found is None else (row.cells[found], row.at.get(found, ""))

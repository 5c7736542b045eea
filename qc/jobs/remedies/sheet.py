"""A remedy's table as text cells with addresses, each read as what it should be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

from qc.ingest.cells import read_decimal
from qc.ingest.reading import (
    MAX_BYTES,
    MAX_COLUMNS,
    Manner,
    Table,
    TableSource,
    column_letters,
    exact_text,
    read_table,
)
from qc.jobs.remedies.errors import RemedyError, RemedyUsageError
from qc.trade import TradeError

if TYPE_CHECKING:
    import polars as pl

SheetSource: TypeAlias = "RemedySheet | TableSource"
"""What a remedy takes its table from."""

MOST_CELLS = 500_000
"""Most rows times columns of a remedy's table. Chosen: fifty years of one tool's draws, ten columns each;
what is read of them stays under 0.2 GB. [cell]"""

MOST_FIGURE = 1e9
"""Chosen: no figure of a bench, in whatever unit, is so large; its square is still exact enough."""

REMEDY = Manner(
    kinds={".csv": "csv", ".tsv": "csv", ".txt": "csv", ".xlsx": "xlsx"},
    separators=";\t,",
    said={
        "kind": "{name}: a remedy reads csv or xlsx files. Save it as one of them",
        "missing": "{path}: there is no such file. Check the name",
        "odd": "{path}: this is {words}, not a file. Give the csv or xlsx file itself",
        "large": "{name}: {words}, where no bench sheet has more than {most}. Check the file",
        "locked": "{name}: cannot be opened ({words}). Check its rights",
        "empty": "{name}: the file is empty. Fill it in or choose another",
        "binary": "{name}: this is not a text file. Save it as csv (UTF-8) or xlsx",
        "quotes": "{name}, line {line}: {words}. Mend the quotes in this line",
        "wide": "{name}, line {line}: more cells than columns. "
        "With decimal commas put the cells in quotes or separate them by semicolons",
        "long": "{name}, line {line}: it goes on for more than {most} characters. Check the file",
        "crowded": "{name}: more than {most} cells, which no bench sheet has. Leave rows or columns out",
        "broad": "{name}: {words} columns, and up to {most} are taken. Leave out those that are not needed",
        "unreadable": "{name}: this is no readable xlsx workbook. Save it again as xlsx",
        "twice": "{name}: column {column} is there twice. Rename or delete one of them",
        "rows": "{name}: there are no rows under the column names. Fill it in or choose another",
    },
    error=RemedyError,
    usage=RemedyUsageError,
    most_bytes=MAX_BYTES,
    most_cells=MOST_CELLS,
    most_columns=MAX_COLUMNS,
)
"""How a remedy reads its table: a bench sheet, in which decimal commas are as good as points."""


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row: its line in the file and its cells by column name, stripped; `at` where a card had each."""

    line: int
    cells: Mapping[str, str]
    at: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RemedySheet:
    """A file read into text cells.

    Parameters
    ----------
    name : str
        File name for messages.
    columns : tuple of str
        Column names, lower case, in order; empty where a column has none.
    rows : tuple of SheetRow
        Rows with at least one cell filled.
    workbook : bool
        Addresses are cells (`C5`) instead of lines.
    taken : tuple of str
        What the answer has to say about where its figures come from.
    carded : bool
        It was read from a card, whose columns bear our names.
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    workbook: bool
    taken: tuple[str, ...] = ()
    carded: bool = False

    def has(self, column: str) -> bool:
        """Say whether there is such a column."""
        return column in self.columns

    def need(self, *columns: str) -> None:
        """Raise RemedyError when a column is missing."""
        for column in columns:
            if column not in self.columns:
                there = ", ".join(name for name in self.columns if name)
                raise RemedyError(
                    f"{self.name}: column {column} is missing (there are: {there}). "
                    f"Name it {column} in the first line"
                )

    def where(self, row: SheetRow, column: str) -> str:
        """Say where a cell is."""
        if row.at:
            at = row.at.get(column, "")
            place = (f"cell {at}" if self.workbook else at) if at else f"line {row.line}"
            return f"{self.name}, {place} ({column})"
        if self.workbook and column in self.columns:
            return f"{self.name}, cell {column_letters(self.columns.index(column))}{row.line} ({column})"
        return f"{self.name}, line {row.line}, column {column}"

    def fault(self, row: SheetRow, column: str, problem: str, hint: str) -> RemedyError:
        """Make the error for a cell."""
        return RemedyError(f"{self.where(row, column)}: {problem}. {hint}")

    def text(self, row: SheetRow, column: str) -> str:
        """Give a cell's text, empty when there is no such column."""
        return row.cells.get(column, "")

    def label(self, row: SheetRow, column: str) -> str:
        """Give a cell's text and raise RemedyError when it is empty."""
        text = self.text(row, column)
        if not text:
            raise self.fault(row, column, "the cell is empty", "Fill it in or delete the row")
        return text

    def number(self, row: SheetRow, column: str) -> float:
        """Give a cell's number and raise RemedyError when it holds none."""
        text = self.label(row, column)
        value = read_decimal(text)
        if value is None:
            raise self.fault(
                row, column, f"{text!r} is not a number", "Write figures with a point or comma, no unit"
            )
        if abs(value) > MOST_FIGURE:
            problem = f"{text} is beyond {MOST_FIGURE:g}, which nothing at a bench is"
            raise self.fault(row, column, problem, "Write the figure that was read")
        return value

    def optional_number(self, row: SheetRow, column: str) -> float | None:
        """Give a cell's number, or None when the cell is empty or there is no such column."""
        return self.number(row, column) if self.text(row, column) else None

    def whole(self, row: SheetRow, column: str) -> int:
        """Give a cell's whole number and raise RemedyError when it holds none."""
        value = self.number(row, column)
        if value != int(value):
            raise self.fault(row, column, f"{value:g} is not a whole number", "Write 1, 2, 3 ...")
        return int(value)

    def blame(self, error: TradeError, rows: Sequence[SheetRow], columns: Mapping[str, str]) -> RemedyError:
        """Turn an error of the computation into one that says which cell of the file is meant."""
        text = f"{error.problem}. {error.hint}"
        if error.index is None:
            return RemedyError(f"{self.name}: {text}")
        column = columns.get(error.column or "", error.column or "")
        place = (
            self.where(rows[error.index], column) if column else f"{self.name}, line {rows[error.index].line}"
        )
        return RemedyError(f"{place}: {text}")


def read_sheet(path: SheetSource) -> RemedySheet:
    """Read a remedy's table: a file, or a frame.

    Parameters
    ----------
    path : path, polars DataFrame, pandas DataFrame or RemedySheet
        A csv (comma, semicolon or tab; point or comma decimals) or xlsx file with names in its first line, or
        a frame. A sheet is given back as it is.

    Returns
    -------
    RemedySheet
        Text cells with addresses.

    Raises
    ------
    RemedyUsageError
        No such file, or neither csv nor xlsx.
    RemedyError
        The file is empty, binary, too large, cannot be read, or has a column twice.
    """
    return sheet_named("table", path)


def sheet_named(name: str, source: SheetSource) -> RemedySheet:
    """Read a remedy's table as `read_sheet` does; a frame is called by a name of its own in messages."""
    if isinstance(source, RemedySheet):
        return source
    table = read_table(source, REMEDY, name=name)
    columns = tuple(column.strip().lower() for column in table.columns)
    rows = []
    for number, cells in zip(table.rows, zip(*_texts(table), strict=True), strict=True):
        if any(cells):
            named = zip(columns, cells, strict=True)
            rows.append(SheetRow(number, {column: cell for column, cell in named if column}))
    return RemedySheet(table.name, columns, tuple(rows), table.kind == "xlsx")


def stored_sheet(
    rows: pl.DataFrame, name: str, renamed: dict[str, str], others: Sequence[str]
) -> RemedySheet:
    """Hand stored readings to the reader of sheets, so that both ways share one set of checks."""
    if rows.height == 0:
        raise RemedyError(f"{name}: the store holds no readings. Check the serial, or upload the card first")
    columns = {**{column: column for column in others}, **renamed}
    return sheet_named(name, rows.select(list(columns)).rename(columns))


def with_taken(taken: Sequence[str]) -> dict[str, object]:
    """Give what an answer adds to its agreed shape where it took something from a card's head or a plan."""
    return {"taken": list(taken)} if taken else {}


def _texts(table: Table) -> list[list[str]]:
    """Give each column as trimmed text, so that a stored figure passes the same checks as a typed one."""
    return [[exact_text(cell).strip() for cell in column.to_list()] for column in table.cells]

"""Any table into columns that know where their cells stand: csv, xlsx, parquet, a polars or a pandas frame.

One reader for every question that is asked of a table. Askers differ in what they take and in how they say
what is wrong; `Manner` carries the differences.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeAlias, TypeVar, cast

import polars as pl

from qc.errors import QcError
from qc.ingest.errors import SheetError
from qc.ingest.reading.grid import column_letters
from qc.ingest.reading.manner import Kind, Manner, check_file
from qc.ingest.reading.pieces import Asked, read_delimited
from qc.ingest.reading.stored import read_parquet
from qc.ingest.reading.tabs import tab_names, tab_rows
from qc.words import told_name

if TYPE_CHECKING:
    import pandas as pd

TableSource: TypeAlias = "str | Path | pl.DataFrame | pd.DataFrame"
"""What a table may be read from."""

T = TypeVar("T")

FRAME = "table"
"""What a frame is called in messages and answers, where a file has its name."""


@dataclass(frozen=True, slots=True)
class Table:
    """Columns under the names written over them.

    Attributes
    ----------
    name : str
        Name of the file, `FRAME` for a frame.
    kind : {"csv", "xlsx", "parquet", "frame"}
        What it was read from.
    columns : tuple of str
        Names as written, in order; empty where a column has none. One name may stand twice.
    cells : DataFrame
        The columns, named by their place (``"0"``, ``"1"`` ...): text with null for nothing where they come
        from csv or xlsx, else as they are stored. Of a file of any size only those that were asked for.
    rows : Series of int
        Number of each row as the file's own program shows it, names being row 1; counted from 1 where names
        are no row.
    places : DataFrame, optional
        Where each cell was typed, for a table that a card was laid out as; columns as of `cells`.
    """

    name: str
    kind: Kind | Literal["frame"]
    columns: tuple[str, ...]
    cells: pl.DataFrame
    rows: pl.Series
    places: pl.DataFrame | None = None

    @property
    def height(self) -> int:
        """How many rows there are."""
        return len(self.rows)

    def column(self, name: str) -> pl.Series:
        """Return a column by its name, the first where two bear it; ValueError where there is none."""
        return self.cells[str(self.columns.index(name))]

    def where(self, row: int, column: str) -> str:
        """Say where a cell stands, the row counted from 0.

        Examples
        --------
        >>> frame = pl.DataFrame({"0": ["a", "b"]})
        >>> Table("t.csv", "csv", ("bore",), frame, pl.Series([2, 3])).where(1, "bore")
        't.csv, line 3'
        >>> Table("t.xlsx", "xlsx", ("bore",), frame, pl.Series([2, 3])).where(1, "bore")
        't.xlsx, cell A3'
        """
        number = self.rows[row]
        at = None if self.places is None else self.places[str(self.columns.index(column))][row]
        if at:
            return f"{self.name}, {'cell ' if self.kind == 'xlsx' else ''}{at}"
        if self.kind == "xlsx":
            return f"{self.name}, cell {column_letters(self.columns.index(column))}{number}"
        return f"{self.name}, {'line' if self.kind == 'csv' else 'row'} {number}"

    def picked(self, order: pl.Series) -> Table:
        """Return the rows of these places, in this order; each keeps its number."""
        places = None if self.places is None else self.places[order]
        return replace(self, cells=self.cells[order], rows=self.rows[order], places=places)


def read_table(
    source: TableSource,
    manner: Manner,
    sheet: str | None = None,
    *,
    name: str = FRAME,
    asked: Asked | None = None,
) -> Table:
    """Read a table from whatever it is in.

    Parameters
    ----------
    source : path, polars DataFrame or pandas DataFrame
        A file with names in its first filled row, or a frame; the index of a pandas frame is left out.
    manner : Manner
        What the asker takes, and how it says what is wrong.
    sheet : str, optional
        Tab of a workbook; the first when left out.
    name : str
        What a frame is called in messages.
    asked : mapping of str to function or None, optional
        Columns that will be looked at: of a csv or Parquet file, which may be of any size, only these are
        kept, each as its function makes it of the text where it has one. All when left out.

    Returns
    -------
    Table
        Without blank rows at its end.

    Raises
    ------
    UsageError
        As `manner.usage`: no such file, a kind that is not read, a tab that is not there.
    QcError
        As `manner.error`: a file that cannot be read, or one without rows.
    """
    path = Path(name)
    if isinstance(source, str | Path):
        path = Path(source)
        table = _from_file(path, manner, sheet, asked)
    elif sheet is not None:
        raise manner.usage(f"{name}: a frame has no sheets; leave the sheet {sheet!r} out")
    else:
        table = _without_blank_end(_from_frame(source, name, manner))
    if not manner.twice:
        folded = [column.strip().lower() for column in table.columns]
        doubled = next((column for column in folded if column and folded.count(column) > 1), None)
        if doubled is not None:
            manner.refuse("twice", path, column=doubled)
    if table.height == 0:
        manner.refuse("rows", path)
    return table


def _from_file(path: Path, manner: Manner, sheet: str | None, asked: Asked | None) -> Table:
    """Read a file as what its suffix says; every fault of the file itself is told here."""
    kind = manner.kind(path)
    if kind is None:
        manner.refuse("kind", path)
    try:
        check_file(path, manner)
        if sheet is not None and kind != "xlsx":
            manner.refuse("sheetless", path)
        if kind == "parquet":
            names, cells = _tried(lambda: read_parquet(path, manner, asked), path, manner)
            return _table(path, kind, names, cells, pl.int_range(1, cells.height + 1, eager=True))
        if kind == "csv":
            found = read_delimited(path, manner, asked)
            return _table(path, kind, found.names, found.cells, found.rows)
        data = path.read_bytes()
    except OSError as error:
        manner.refuse("locked", path, error, words=error.strerror)
    if not data:
        manner.refuse("empty", path)
    tabs = _tried(lambda: tab_names(data), path, manner)
    if sheet is not None and sheet not in tabs:
        manner.refuse("no-sheet", path, sheet=sheet, there=", ".join(f"'{tab}'" for tab in tabs))
    tab = sheet if sheet is not None else tabs[0]
    rows = _tried(lambda: tab_rows(data, tab, midnight=manner.midnight), path, manner)
    return _without_blank_end(_from_rows(rows, path, manner))


def _table(path: Path, kind: Kind, names: tuple[str, ...], cells: pl.DataFrame, rows: pl.Series) -> Table:
    return Table(told_name(path.name), kind, names, cells, rows)


def _from_frame(source: object, name: str, manner: Manner) -> Table:
    try:
        return _stored(*columns_of(source), name)
    except TypeError as error:
        raise manner.usage(str(error)) from error


def columns_of(source: object) -> tuple[list[str], list[pl.Series]]:
    """Take the columns of a polars or a pandas frame; the latter is told by its module.

    So pandas need not be there.

    Raises
    ------
    TypeError
        It is neither.
    """
    if isinstance(source, pl.DataFrame):
        return source.columns, source.get_columns()
    if type(source).__module__.partition(".")[0] != "pandas" or not hasattr(source, "columns"):
        raise TypeError(f"a table is a path, a polars or a pandas frame, not {type(source).__name__}")
    frame = cast("pd.DataFrame", source)
    return [str(column) for column in frame.columns], _from_pandas(frame)


def _tried(read: Callable[[], T], path: Path, manner: Manner) -> T:
    """Run a library's reader, whose errors are of many kinds; each means the same to a person."""
    try:
        return read()
    except SheetError as error:  # ours: it says what is wrong and what to do
        if "{words}" in manner.said["unreadable"]:
            manner.refuse("unreadable", path, error, words=str(error))
        place = ", ".join(part for part in (told_name(path.name), error.tab, error.cell) if part)
        raise manner.error(f"{place}: {error.problem}. {error.hint}") from error
    except QcError:
        raise
    except Exception as error:
        first = str(error).strip().splitlines() or [type(error).__name__]
        manner.refuse("unreadable", path, error, words=first[0])


def _from_rows(rows: Sequence[list[str]], path: Path, manner: Manner) -> Table:
    """Take the first filled row of a workbook's tab as names and every row below it as cells."""
    numbered = enumerate(rows, start=1)
    names = next((cells for _, cells in numbered if any(cell.strip() for cell in cells)), None)
    if names is None:
        manner.refuse("empty", path)
    width = len(names)
    if len(rows) * width > manner.most_cells:
        manner.refuse("crowded", path, most=f"{manner.most_cells:,}")
    body, numbers = [], []
    for number, cells in numbered:
        if any(cell.strip() for cell in cells[width:]):
            manner.refuse("wide", path, line=number)
        body.append(cells[:width] + [""] * (width - len(cells)))
        numbers.append(number)
    columns = zip(*body, strict=True) if body else ((),) * width
    frame = pl.DataFrame([pl.Series(str(at), c, dtype=pl.String) for at, c in enumerate(columns)])
    blank = pl.all().str.strip_chars() == ""
    cells_or_null = frame.select(pl.when(~blank).then(pl.all()))
    return _table(path, "xlsx", tuple(names), cells_or_null, pl.Series(numbers, dtype=pl.Int64))


def _stored(names: Sequence[str], columns: Sequence[pl.Series], name: str) -> Table:
    """Take columns as they are stored, named by their place."""
    cells = pl.DataFrame([column.alias(str(at)) for at, column in enumerate(columns)])
    return Table(name, "frame", tuple(names), cells, pl.int_range(1, cells.height + 1, eager=True))


def _from_pandas(frame: pd.DataFrame) -> list[pl.Series]:
    """Bring the columns over one by one, which takes no further library; what is missing there is null."""
    import numpy as np

    columns = []
    for at in range(frame.shape[1]):
        column = frame.iloc[:, at]
        if isinstance(column.dtype, np.dtype) and column.dtype.kind in "iufb":
            columns.append(pl.Series(column.to_numpy(), nan_to_null=True))
        else:
            told = zip(column.tolist(), column.isna().tolist(), strict=True)
            columns.append(pl.Series([None if gone else value for value, gone in told], strict=False))
    return columns


def _without_blank_end(table: Table) -> Table:
    """Leave out rows at the end without a single entry, as spreadsheets often keep them."""
    if not table.columns:
        return table
    filled = [
        (column.str.strip_chars() != "").fill_null(False)
        if column.dtype == pl.String
        else column.is_not_null()
        for column in table.cells
    ]
    used = pl.select(pl.any_horizontal(filled)).to_series().arg_true()
    kept = int(used[-1]) + 1 if used.len() else 0
    return replace(table, cells=table.cells.head(kept), rows=table.rows.head(kept))

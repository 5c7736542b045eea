"""Any table into columns that know where their cells stand: csv, xlsx, parquet, a polars or a pandas frame.

One reader for every question that is asked of a table. Askers differ in what they take and in how they say
what is wrong; `Manner` carries the differences.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal, NoReturn, TypeAlias, TypeVar, cast

import polars as pl

from qc.errors import QcError, UsageError
from qc.ingest.reading.delimited import BrokenRowError, split_rows
from qc.ingest.reading.encodings import decode_any
from qc.ingest.reading.grid import column_letters
from qc.ingest.reading.tabs import tab_names, tab_rows

if TYPE_CHECKING:
    import pandas as pd

TableSource: TypeAlias = "str | Path | pl.DataFrame | pd.DataFrame"
"""What a table may be read from."""

FILLED_LINE = re.compile(r"^.*\S.*$", re.MULTILINE)

T = TypeVar("T")
Written = Literal["csv", "xlsx"]
Stored = Literal["parquet", "frame"]

FRAME = "table"
"""What a frame is called in messages and answers, where a file has its name."""

PROBLEMS: dict[str, str] = {
    "empty": "the file is empty",
    "locked": "it cannot be opened: {words}",
    "binary": "it holds a NUL byte and is no text",
    "quotes": "line {line}: {words}",
    "wide": "line {line} has more cells than there are names",
}
"""What may be wrong with a file, for an asker that has no sentence of its own for it."""

MISTAKEN = frozenset({"kind", "missing", "sheetless", "no-sheet"})
"""Faults of the question and not of the data: another file was meant."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How one kind of question reads its tables.

    Attributes
    ----------
    kinds : mapping of str to str
        Suffix of a file -> what it is read as: ``csv``, ``xlsx`` or ``parquet``.
    separators : str
        What may part the cells of a csv line; the first one wins where two stand in the first line as often.
    said : mapping of str to str
        Fault -> its whole sentence. A fault without one is told by ``unreadable`` with the words of
        `PROBLEMS`.
    error, usage : type
        What is raised for a file at fault, and for a file that cannot be meant.
    most_bytes : int or None
        Largest file taken. [byte]
    twice : bool
        A name may stand over two columns, as long as nobody asks for it.
    midnight : bool
        A day in a workbook is written with its midnight.
    """

    kinds: Mapping[str, Literal["csv", "xlsx", "parquet"]]
    separators: str
    said: Mapping[str, str]
    error: type[QcError]
    usage: type[UsageError]
    most_bytes: int | None = None
    twice: bool = False
    midnight: bool = False

    def refuse(self, fault: str, path: Path, cause: Exception | None = None, **words: object) -> NoReturn:
        """Raise what an asker says of a fault."""
        sentence = self.said.get(fault)
        if sentence is None:
            sentence, words = self.said["unreadable"], {"words": PROBLEMS[fault].format(**words)}
        made = self.usage if fault in MISTAKEN else self.error
        kind = self.kinds.get(path.suffix.lower(), "")
        raise made(sentence.format(path=path, name=path.name, kind=kind, **words)) from cause


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
        from csv or xlsx, else as they are stored.
    rows : Series of int
        Number of each row as the file's own program shows it, names being row 1; counted from 1 where names
        are no row.
    """

    name: str
    kind: Written | Stored
    columns: tuple[str, ...]
    cells: pl.DataFrame
    rows: pl.Series

    @property
    def height(self) -> int:
        """How many rows there are."""
        return self.cells.height

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
        if self.kind == "xlsx":
            return f"{self.name}, cell {column_letters(self.columns.index(column))}{number}"
        return f"{self.name}, {'line' if self.kind == 'csv' else 'row'} {number}"

    def picked(self, order: pl.Series) -> Table:
        """Return the rows of these places, in this order; each keeps its number."""
        return replace(self, cells=self.cells[order], rows=self.rows[order])


def read_table(source: TableSource, manner: Manner, sheet: str | None = None, *, name: str = FRAME) -> Table:
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
        table = _from_file(path, manner, sheet)
    elif sheet is not None:
        raise manner.usage(f"{name}: a frame has no sheets; leave the sheet {sheet!r} out")
    else:
        table = _from_frame(source, name, manner)
    if not manner.twice:
        folded = [column.strip().lower() for column in table.columns]
        doubled = next((column for column in folded if column and folded.count(column) > 1), None)
        if doubled is not None:
            manner.refuse("twice", path, column=doubled)
    table = _without_blank_end(table)
    if table.height == 0:
        manner.refuse("rows", path)
    return table


def _from_file(path: Path, manner: Manner, sheet: str | None) -> Table:
    """Read a file as what its suffix says; every fault of the file itself is told here."""
    kind = manner.kinds.get(path.suffix.lower())
    if kind is None:
        manner.refuse("kind", path)
    data = b""
    try:
        if not path.is_file():
            manner.refuse("missing", path)
        if sheet is not None and kind != "xlsx":
            manner.refuse("sheetless", path)
        if manner.most_bytes is not None and path.stat().st_size > manner.most_bytes:
            manner.refuse("large", path)
        if kind == "parquet":  # read by its path, so that only the parts asked for are brought in
            frame = _tried(lambda: pl.read_parquet(path), path, manner)
            return _stored(frame.columns, frame.get_columns(), path.name, kind)
        data = path.read_bytes()
    except OSError as error:
        manner.refuse("locked", path, error, words=error.strerror)
    if not data.strip():
        manner.refuse("empty", path)
    if kind == "csv":
        return _from_csv(decode_any(data), path, manner)
    tabs = _tried(lambda: tab_names(data), path, manner)
    if sheet is not None and sheet not in tabs:
        manner.refuse("no-sheet", path, sheet=sheet, there=", ".join(f"'{tab}'" for tab in tabs))
    asked = sheet if sheet is not None else tabs[0]
    rows = _tried(lambda: tab_rows(data, asked, midnight=manner.midnight), path, manner)
    return _from_rows(enumerate(rows, start=1), path, "xlsx", manner)


def _from_frame(source: object, name: str, manner: Manner) -> Table:
    """Take a polars or a pandas frame; the latter is told by its module, so that pandas need not be there."""
    if isinstance(source, pl.DataFrame):
        return _stored(source.columns, source.get_columns(), name, "frame")
    if type(source).__module__.partition(".")[0] != "pandas" or not hasattr(source, "columns"):
        raise manner.usage(f"a table is a path, a polars or a pandas frame, not {type(source).__name__}")
    frame = cast("pd.DataFrame", source)
    return _stored([str(column) for column in frame.columns], _from_pandas(frame), name, "frame")


def _tried(read: Callable[[], T], path: Path, manner: Manner) -> T:
    """Run a library's reader, whose errors are of many kinds; each means the same to a person."""
    try:
        return read()
    except Exception as error:
        first = str(error).strip().splitlines() or [type(error).__name__]
        manner.refuse("unreadable", path, error, words=first[0])


def _from_csv(text: str, path: Path, manner: Manner) -> Table:
    """Split a text by the separator that its first filled line shows most of."""
    if "\x00" in text:
        manner.refuse("binary", path)
    head = FILLED_LINE.search(text)
    separator = max(manner.separators, key=head.group().count if head else "".count)
    plain = _from_plain_text(text, separator, path)
    if plain is not None:
        return plain
    try:
        rows = list(split_rows(text, separator))
    except BrokenRowError as fault:
        manner.refuse("quotes", path, fault, line=fault.line, words=fault.problem)
    return _from_rows(rows, path, "csv", manner)


def _from_rows(rows: Iterable[tuple[int, list[str]]], path: Path, kind: Written, manner: Manner) -> Table:
    """Take the first filled row as names and every row below it as cells."""
    numbered = iter(rows)
    names = next((cells for _, cells in numbered if any(cell.strip() for cell in cells)), None)
    if names is None:
        manner.refuse("empty", path)
    width = len(names)
    body, numbers = [], []
    for number, cells in numbered:
        if any(cell.strip() for cell in cells[width:]):
            manner.refuse("wide", path, line=number)
        body.append(cells[:width] + [""] * (width - len(cells)))
        numbers.append(number)
    columns = zip(*body, strict=True) if body else ((),) * width
    frame = pl.DataFrame([pl.Series(str(at), c, dtype=pl.String) for at, c in enumerate(columns)])
    return Table(path.name, kind, tuple(names), _with_nulls(frame), pl.Series(numbers, dtype=pl.Int64))


def _from_plain_text(text: str, separator: str, path: Path) -> Table | None:
    """Read what `_from_rows` reads, ten times as fast; None for a text that has to be taken row by row.

    That is one with quotation marks, with lines that end in a bare CR, with blank lines about its names (the
    fast reader passes over them and loses count of the lines), or with a row wider than its names.
    """
    head, _, body = text.partition("\n")
    names = head.removesuffix("\r").split(separator)
    blank = not any(name.strip() for name in names)
    bare = "\r" in text and text.count("\r") != text.count("\r\n")
    if '"' in text or blank or bare or body.startswith(("\n", "\r")):
        return None
    schema = {str(at): pl.String for at in range(len(names))}
    try:
        cells = pl.read_csv(
            body.encode(), has_header=False, schema=schema, separator=separator, quote_char=None
        )
    except pl.exceptions.PolarsError:
        return None
    numbers = pl.int_range(2, cells.height + 2, eager=True)
    return Table(path.name, "csv", tuple(names), _with_nulls(cells), numbers)


def _with_nulls(cells: pl.DataFrame) -> pl.DataFrame:
    """Leave nothing where a cell is blank."""
    blank = pl.all().str.strip_chars() == ""
    return cells.select(pl.when(~blank).then(pl.all()))


def _stored(names: Sequence[str], columns: Sequence[pl.Series], name: str, kind: Stored) -> Table:
    """Take columns as they are stored, named by their place."""
    cells = pl.DataFrame([column.alias(str(at)) for at, column in enumerate(columns)])
    return Table(name, kind, tuple(names), cells, pl.int_range(1, cells.height + 1, eager=True))


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

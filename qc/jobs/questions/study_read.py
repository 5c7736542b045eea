"""Read any table for a study: csv, parquet or xlsx, cells as text first so that a fault has an address."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import polars as pl

from qc.stats import GREATEST, StatisticsError, StatisticsUsageError

KINDS = (".csv", ".parquet", ".xlsx")
TWICE = "_duplicated_0"  # what polars adds to the second column of a name
DAY_FIRST = r"^\s*\d{1,2}[./-]\d{1,2}[./-]\d{2,4}\b"  # a date that does not sort as text
WITHIN_TEXT = re.compile(r"(?<!\d)(?<!\d[.,])\d+")  # a number within a text, not the decimals of one


def read_table(path: Path, sheet: str | None = None) -> pl.DataFrame:
    """Read a table; cells of csv and xlsx come as text, those of parquet as they are stored.

    Parameters
    ----------
    path : Path
        A csv (comma, semicolon or tab), parquet or xlsx file with names in its first row.
    sheet : str, optional
        Sheet of a workbook; the first when left out.

    Returns
    -------
    DataFrame

    Raises
    ------
    StatisticsUsageError
        No such file, a kind of file that is not read, or a sheet of a file that has none.
    StatisticsError
        The file cannot be read as what its name says, or holds no rows.
    """
    suffix = path.suffix.lower()
    if suffix not in KINDS:
        raise StatisticsUsageError(f"{path.name}: a study reads csv, parquet or xlsx files")
    if not path.is_file():
        raise StatisticsUsageError(f"{path}: there is no such file")
    if sheet is not None and suffix != ".xlsx":
        raise StatisticsUsageError(
            f"{path.name}: a {suffix[1:]} file has no sheets: leave --sheet out, or give an xlsx file"
        )
    try:
        if suffix == ".parquet":
            table = pl.read_parquet(path)
        elif suffix == ".csv":
            table = _read_csv(path)
        else:
            table = _read_workbook(path, sheet)
    except StatisticsError:
        raise
    except Exception as error:  # the readers raise errors of many kinds; each means the same to a person
        first = str(error).strip().splitlines() or [type(error).__name__]
        raise StatisticsError(f"{path.name}: cannot be read as {suffix[1:]} ({first[0]})") from error
    table = _without_blank_end(table)
    if table.height == 0:
        raise StatisticsError(f"{path.name}: there are no rows under the names: nothing to study")
    return table


@contextmanager
def faults_named(path: Path) -> Iterator[None]:
    """Put the name of the file before what the statistics find wrong with its figures.

    A question that is wrong by itself (`StatisticsUsageError`) is not the file's fault and stays as it is.
    """
    try:
        yield
    except StatisticsUsageError:
        raise
    except StatisticsError as error:
        raise type(error)(f"{path.name}: {error}") from error


def take_numbers(table: pl.DataFrame, column: str, path: Path) -> pl.Series:
    """Take a column as finite numbers; a cell that is not one is named.

    Parameters
    ----------
    table : DataFrame
        As read by `read_table`.
    column : str
        Name of the column.
    path : Path
        File it came from, for the message.

    Returns
    -------
    Series of float

    Raises
    ------
    StatisticsError
        No such column, or a cell that is empty, text, NaN or infinite.
    """
    cells = take_column(table, column, path)
    if cells.dtype == pl.String:
        found = cells.str.strip_chars().cast(pl.Float64, strict=False)
    elif cells.dtype.is_numeric():
        found = cells.cast(pl.Float64)
    else:
        raise StatisticsError(f"{path.name}: column '{column}' holds {cells.dtype}: numbers are needed")
    usable = found.is_finite() & (found.abs() <= GREATEST)
    faulty = (found.is_null() | ~usable).fill_null(True).arg_true()
    if faulty.len():
        raise StatisticsError(_fault(table, column, path, int(faulty[0]), faulty.len()))
    return found


def take_column(table: pl.DataFrame, column: str, path: Path) -> pl.Series:
    """Take a column as it is.

    Raises
    ------
    StatisticsError
        No such column; the message lists those there are.
    """
    if column not in table.columns:
        there = ", ".join(f"'{name}'" for name in table.columns[:12])
        raise StatisticsError(f"{path.name}: there is no column '{column}'; there are {there}")
    if f"{column}{TWICE}" in table.columns:
        raise StatisticsError(f"{path.name}: two columns are named '{column}': give one another name")
    return table[column]


def take_labels(table: pl.DataFrame, column: str, path: Path) -> pl.Series:
    """Take a column as labels; an empty cell is named.

    Raises
    ------
    StatisticsError
        No such column, or a cell without a label.
    """
    cells = take_column(table, column, path)
    labels = cells.str.strip_chars() if cells.dtype == pl.String else cells
    empty = labels.is_null() if labels.dtype != pl.String else labels.is_null() | (labels == "")
    faulty = empty.arg_true()
    if faulty.len():
        place = _place(table, column, path, int(faulty[0]))
        raise StatisticsError(f"{place}: column '{column}' has no label: fill it in or delete the row")
    return labels


def sort_rows(table: pl.DataFrame, column: str, path: Path) -> pl.DataFrame:
    """Sort rows by a column: as numbers where all cells are numbers, else as text.

    Numbers within a text count as numbers, so that T-9 comes before T-10; ISO dates and times sort well so, a
    date that begins with its day would not and is refused.
    """
    cells = take_column(table, column, path)
    if cells.dtype == pl.String:
        as_numbers = cells.str.strip_chars().cast(pl.Float64, strict=False)
        cells = _text_order(cells, table, column, path) if as_numbers.null_count() else as_numbers
    if cells.null_count():
        place = _place(table, column, path, int(cells.is_null().arg_true()[0]))
        raise StatisticsError(f"{place}: column '{column}' has no value: fill it in or delete the row")
    order = cells.arg_sort() if cells.is_sorted() else _stable_order(cells)
    return table[order]


def _text_order(cells: pl.Series, table: pl.DataFrame, column: str, path: Path) -> pl.Series:
    """Pad the numbers within a text, so that text order is their order; decimals keep their digits."""
    dated = cells.str.contains(DAY_FIRST).fill_null(False)
    if dated.any():
        row = int(dated.arg_true()[0])
        place = f"{_place(table, column, path, row)}: '{cells[row]}' in column '{column}'"
        raise StatisticsError(f"{place} is a date that does not sort; write it year first, as 2026-11-03")
    texts = cells.unique().drop_nulls()
    padded = {text: WITHIN_TEXT.sub(lambda run: run[0].zfill(20), text) for text in texts}
    return cells.replace(padded)


def _stable_order(cells: pl.Series) -> pl.Series:
    # rows of one value keep the order of the file, which is their order of making
    frame = pl.DataFrame({"key": cells}).with_row_index("row")
    return frame.sort("key", maintain_order=True)["row"]


def _without_blank_end(table: pl.DataFrame) -> pl.DataFrame:
    """Leave out rows at the end without a single entry, as spreadsheets often keep them."""
    filled = [
        (table[name].fill_null("").str.strip_chars() != "")
        if table[name].dtype == pl.String
        else table[name].is_not_null()
        for name in table.columns
    ]
    if not filled:
        return table
    used = pl.select(pl.any_horizontal(filled)).to_series().arg_true()
    return table.head(int(used[-1]) + 1 if used.len() else 0)


def _read_csv(path: Path) -> pl.DataFrame:
    with path.open("r", encoding="utf-8-sig", errors="replace") as file:
        head = file.readline()
    # by the names alone: below them a decimal comma would be counted as well
    separator = max(",;\t", key=head.count)
    return pl.read_csv(path, infer_schema=False, separator=separator, encoding="utf8-lossy")


def _read_workbook(path: Path, sheet: str | None) -> pl.DataFrame:
    import fastexcel

    book = fastexcel.read_excel(path)
    if sheet is not None and sheet not in book.sheet_names:
        there = ", ".join(f"'{name}'" for name in book.sheet_names)
        raise StatisticsUsageError(f"{path.name}: there is no sheet '{sheet}'; there are {there}")
    asked = 0 if sheet is None else sheet
    cells: pl.DataFrame = book.load_sheet(asked, dtypes="string").to_polars()
    # the reader numbers a name that stands twice (bore, bore_1), which may be the name of another column
    head = book.load_sheet(asked, header_row=None, n_rows=1, dtypes="string").to_polars()
    return _named(cells, [None if name is None else str(name) for name in head.row(0)] if head.height else [])


def _named(cells: pl.DataFrame, written: Sequence[str | None]) -> pl.DataFrame:
    """Give columns the names that are written, a second one of a name marked as `TWICE`."""
    if len(written) != cells.width or len(set(written)) == len(written):
        return cells
    names: list[str] = []
    for name, given in zip(written, cells.columns, strict=True):
        often = 0 if name is None else written[: len(names)].count(name)
        plain = given if name is None else name
        names.append(plain if often == 0 else f"{plain}{TWICE}" + "_" * (often - 1))
    return (
        cells if len(set(names)) < len(names) else cells.rename(dict(zip(cells.columns, names, strict=True)))
    )


def _fault(table: pl.DataFrame, column: str, path: Path, row: int, count: int) -> str:
    """Say what is wrong with a cell, by the likeliest slip: empty, too large, or a decimal comma."""
    cell = table[column][row]
    place = _place(table, column, path, row)
    more = "" if count == 1 else f" (and {count - 1} more)"
    if cell is None or (isinstance(cell, str) and not cell.strip()):
        return f"{place}: the value in column '{column}' is missing: fill it in or delete the row{more}"
    try:
        too_large = math.isfinite(float(cell))
    except ValueError:
        too_large = False
    if too_large:
        return f"{place}: {cell} in column '{column}' is beyond {GREATEST:g}: too large to compute with{more}"
    hint = ""
    if isinstance(cell, str) and "," in cell:
        hint = "; write the decimal sign as a point"
    return f"{place}: '{cell}' in column '{column}' is not a finite number: a number is needed{hint}{more}"


def _place(table: pl.DataFrame, column: str, path: Path, row: int) -> str:
    """Say where a cell is as the file's own program shows it: the names are row 1."""
    if path.suffix.lower() == ".xlsx":
        return f"{path.name}, cell {_letters(table.columns.index(column))}{row + 2}"
    if path.suffix.lower() == ".csv":
        return f"{path.name}, line {row + 2}"
    return f"{path.name}, row {row + 1}"


def _letters(index: int) -> str:
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def number_columns(names: str) -> Sequence[str]:
    """Split `a,b,c` into the names of several columns.

    Raises
    ------
    StatisticsUsageError
        An empty name, or one twice.
    """
    parts = [part.strip() for part in names.split(",")]
    if not all(parts) or len(set(parts)) != len(parts):
        raise StatisticsUsageError(f"value columns {names!r}: write each name once, separated by commas")
    return parts

"""The columns of a study's table, each cell checked where it stands."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

import polars as pl

from qc.ingest.cells import days_of, read_decimal
from qc.ingest.reading import (
    MAX_BYTES,
    MAX_CELLS,
    MAX_COLUMNS,
    Manner,
    Narrow,
    Table,
    TableSource,
)
from qc.jobs.questions.study_cards import AskedColumns, table_or_card
from qc.stats import GREATEST, KINDS, StatisticsError, StatisticsUsageError
from qc.stats.studies import StudyOptions, columns

if TYPE_CHECKING:
    from qc.plan import Plan

DAY_FIRST = r"^\s*\d{1,2}[./-]\d{1,2}[./-]\d{2,4}\b"  # a date that does not sort as it is written
TIME = re.compile(r"\d{2}:\d{2}(:\d{2}(\.\d+)?)?")  # what sorts behind a day as it is written
WITHIN_TEXT = re.compile(r"(?<!\d)(?<!\d[.,])\d+")  # a number within a text, not the decimals of one
PLAIN_NUMBER = re.compile(r"\d{1,12}(\.\d{0,12})?|\.\d{1,12}", re.ASCII)  # a size given as one number
OTHER_SIGNS = "[,\u2010-\u2014\u2212]"  # a decimal comma, and what prints as a minus
HUGE = re.compile(r"\s*[+-]?\d+(\.\d*)?[eE]\+?\d{3,}\s*$", re.ASCII)  # so large that it reads as infinite
NAMES_LISTED = 12  # so many names of columns say which table this is

STUDY = Manner(
    kinds={".csv": "csv", ".parquet": "parquet", ".xlsx": "xlsx"},
    separators=",;\t",
    said={
        "kind": "{name}: a study reads csv, parquet or xlsx files",
        "missing": "{path}: there is no such file",
        "sheetless": "{name}: a {kind} file has no sheets: leave --sheet out, or give an xlsx file",
        "no-sheet": "{name}: there is no sheet '{sheet}'; there are {there}",
        "unreadable": "{name}: cannot be read as {kind} ({words})",
        "odd": "{path}: this is {words}, not a file: give the csv, parquet or xlsx file itself",
        "large": "{name}: the file has {words}, and up to {most} are taken: leave out rows or columns that "
        "nothing is asked of",
        "crowded": "{name}: more than {most} cells in the columns asked for: leave out rows, or ask for "
        "fewer columns at once",
        "long": "{name}, line {line}: it goes on for more than {most} characters without an end: this is no "
        "table of lines",
        "broad": "{name}: {words} columns, and up to {most} are taken: leave out those that are not needed",
        "rows": "{name}: there are no rows under the names: nothing to study",
    },
    error=StatisticsError,
    usage=StatisticsUsageError,
    twice=True,  # a study names its columns: one that nobody asks for may be anything
    midnight=True,
)
"""How a study reads its table. It takes files of any size: readings of years come as one parquet file."""

SMALL = replace(STUDY, most_bytes=MAX_BYTES, most_cells=MAX_CELLS, most_columns=MAX_COLUMNS)
"""How a question about a gauge reads its table, which people fill in within a day or a month."""


def read_study_table(
    source: TableSource,
    sheet: str | None = None,
    *,
    numbers: Sequence[str | None] = (),
    labels: Sequence[str | None] = (),
    manner: Manner = STUDY,
    figures: Sequence[str] | None = None,
    crossed: str | None = None,
    plan: Plan | None = None,
    beside: Sequence[str] = (),
) -> Table:
    """Read the columns of a question; cells of csv and xlsx come as text, others as they are stored.

    Parameters
    ----------
    source : path, polars DataFrame or pandas DataFrame
        A csv (comma, semicolon or tab), parquet or xlsx file with names in its first row, or a frame; or a
        card as a bench writes it, with a head, in any layout an upload takes.
    sheet : str, optional
        Sheet of a workbook; the first when left out.
    numbers, labels : sequence of str or None
        Columns that will be taken as numbers, and those whose text counts. Of a csv or parquet file no others
        are kept, and numbers without a fault among them come as numbers, which take the least memory. All as
        text where neither is given.
    manner : Manner
        `STUDY`, or `SMALL` for a question about a table that is filled in by hand.
    figures : sequence of str, optional
        Columns that a card may have once for each place; the first of `numbers` when left out.
    crossed : str, optional
        A label that a card may have in its headings instead: the person of a gauge study.
    plan : Plan, optional
        The workshop's plan, whose words a card may use.
    beside : sequence of str
        Columns that are brought in too where they are there.

    Raises
    ------
    StatisticsUsageError
        No such file, a kind of file that is not read, or a sheet of a file that has none.
    StatisticsError
        The file cannot be read as what its name says, or holds no rows.
    """
    asked: dict[str, Narrow | None] = {name: usable_numbers for name in numbers if name is not None}
    asked |= {name: None for name in labels if name is not None}
    names = [name for name in (*numbers, *labels) if name is not None and not PLAIN_NUMBER.fullmatch(name)]
    readings = tuple(names[:1] if figures is None else figures)
    wanted = AskedColumns(readings, tuple(name for name in names if name not in readings), crossed or "")
    if plan is not None and asked:
        asked.setdefault("model", None)  # it says whose limits hold
    if asked:
        asked |= {name: None for name in beside if name not in asked}
    return table_or_card(source, manner, sheet, wanted, dict(asked), plan)


@contextmanager
def faults_named(table: Table) -> Iterator[None]:
    """Put the name of the table before what the statistics find wrong with its figures.

    A question that is wrong by itself (`StatisticsUsageError`) is not the file's fault and stays as it is.
    """
    try:
        yield
    except StatisticsUsageError:
        raise
    except StatisticsError as error:
        raise type(error)(f"{table.name}: {error}") from error


def take_numbers(table: Table, column: str) -> pl.Series:
    """Take a column as finite numbers; a cell that is not one is named.

    Parameters
    ----------
    table : Table
        As read by `read_study_table`.
    column : str
        Name of the column.

    Returns
    -------
    Series of float

    Raises
    ------
    StatisticsError
        No such column, or a cell that is empty, text, NaN or infinite.
    """
    cells = take_column(table, column)
    if cells.dtype == pl.String:
        found = as_numbers(cells)
    elif cells.dtype.is_numeric():
        found = cells.cast(pl.Float64)
    else:
        raise StatisticsError(f"{table.name}: column '{column}' holds {cells.dtype}: numbers are needed")
    faulty = (~_usable(found)).arg_true()
    if faulty.len():
        raise StatisticsError(_fault(table, column, cells, int(faulty[0]), faulty.len()))
    return found


def as_numbers(text: pl.Series) -> pl.Series:
    """Read cells as numbers, null where a cell is none; a printed minus is a sign.

    A comma is the decimal sign where no cell of the column has a point: with both it may part thousands.
    """
    found = text.str.strip_chars().cast(pl.Float64, strict=False)
    if not found.null_count():
        return found
    unread = found.is_null() & text.str.contains(OTHER_SIGNS).fill_null(False)
    if unread.any() and not (text.str.contains(",").any() and text.str.contains(".", literal=True).any()):
        meant = {cell: read_decimal(cell) for cell in text.filter(unread).unique().to_list()}
        other = text.replace_strict(meant, default=None, return_dtype=pl.Float64)
        return pl.select(pl.when(unread).then(other).otherwise(found)).to_series().alias(text.name)
    return found


def usable_numbers(text: pl.Series) -> pl.Series | None:
    """Read cells as numbers if each of them is one to compute with; None where the text has to tell."""
    found = as_numbers(text)
    return found if _usable(found).all() else None


def _usable(numbers: pl.Series) -> pl.Series:
    """Tell which numbers can be computed with; none is nothing, NaN or too large to square."""
    return (numbers.is_finite() & (numbers.abs() <= GREATEST)).fill_null(False)


def take_column(table: Table, column: str) -> pl.Series:
    """Take a column as it is.

    Raises
    ------
    StatisticsError
        No such column; the message lists those there are.
    """
    named = [name for name in table.columns if name]
    if column not in named:
        there = ", ".join(f"'{name}'" for name in named[:NAMES_LISTED])
        raise StatisticsError(f"{table.name}: there is no column '{column}'; there are {there}")
    if named.count(column) > 1:
        raise StatisticsError(f"{table.name}: two columns are named '{column}': give one another name")
    return table.column(column)


def take_labels(table: Table, column: str) -> pl.Series:
    """Take a column as labels; an empty cell is named.

    Raises
    ------
    StatisticsError
        No such column, or a cell without a label.
    """
    cells = take_column(table, column)
    labels = cells.str.strip_chars() if cells.dtype == pl.String else cells
    empty = labels.is_null() if labels.dtype != pl.String else labels.is_null() | (labels == "")
    faulty = empty.arg_true()
    if faulty.len():
        place = table.where(int(faulty[0]), column)
        raise StatisticsError(f"{place}: column '{column}' has no label: fill it in or delete the row")
    return labels


def sort_rows(table: Table, column: str, *, as_text: bool = False) -> Table:
    """Sort rows by a column: as numbers where all cells are numbers, else (or when told so) as text.

    Numbers within a text count as numbers, so that T-9 comes before T-10; dates sort by their day in whatever
    writing, and one that can be read two ways is refused with both.
    """
    cells = take_column(table, column)
    if cells.dtype == pl.String:
        numbers = as_numbers(cells)
        cells = _text_order(cells, table, column) if as_text or numbers.null_count() else numbers
    if cells.null_count():
        place = table.where(int(cells.is_null().arg_true()[0]), column)
        raise StatisticsError(f"{place}: column '{column}' has no value: fill it in or delete the row")
    order = cells.arg_sort() if cells.is_sorted() else _stable_order(cells)
    return table.picked(order)


def _text_order(cells: pl.Series, table: Table, column: str) -> pl.Series:
    """Pad the numbers within a text, so that text order is their order; decimals keep their digits."""
    dated = cells.str.contains(DAY_FIRST).fill_null(False)
    if dated.any():
        firsts = [str(text) for text in cells.filter(dated).unique()]
        cells = cells.replace({text: _year_first(text, cells, table, column) for text in firsts})
    texts = cells.unique().drop_nulls()
    padded = {text: WITHIN_TEXT.sub(lambda run: run[0].zfill(20), text) for text in texts}
    return cells.replace(padded)


def _year_first(text: str, cells: pl.Series, table: Table, column: str) -> str:
    """Write a date that begins with its day so that it sorts; a time behind it stays."""
    days, behind = days_of(text), text[len(re.match(DAY_FIRST, text)[0]) :].strip()  # type: ignore[index]
    if len(days) == 1 and (not behind or TIME.fullmatch(behind)):
        return f"{days[0].isoformat()} {behind}".strip()
    place = f"{table.where(int((cells == text).arg_true()[0]), column)}: '{text}' in column '{column}'"
    if len(days) > 1:
        both = " or ".join(day.isoformat() for day in days)
        raise StatisticsError(f"{place} can be read two ways, {both}: write the one you mean")
    raise StatisticsError(f"{place} is a date that does not sort; write it year first, as 2026-11-03")


def _stable_order(cells: pl.Series) -> pl.Series:
    # rows of one value keep the order of the file, which is their order of making
    frame = pl.DataFrame({"key": cells}).with_row_index("row")
    return frame.sort("key", maintain_order=True)["row"]


def _fault(table: Table, column: str, cells: pl.Series, row: int, count: int) -> str:
    """Say what is wrong with a cell, by the likeliest slip: empty, too large, or a decimal comma."""
    cell = cells[row]
    place = table.where(row, column)
    more = "" if count == 1 else f" (and {count - 1} more)"
    if cell is None or (isinstance(cell, str) and not cell.strip()):
        return f"{place}: the value in column '{column}' is missing: fill it in or delete the row{more}"
    if too_large(cell):
        return f"{place}: {cell} in column '{column}' is beyond {GREATEST:g}: too large to compute with{more}"
    hint = ""
    if isinstance(cell, str) and "," in cell:
        hint = "; write the decimal sign as a point"
    return f"{place}: '{cell}' in column '{column}' is not a finite number: a number is needed{hint}{more}"


def too_large(cell: object) -> bool:
    """Tell a number beyond what can be squared from what is no number for the reader."""
    try:
        return bool(GREATEST < abs(float(str(cell))) < math.inf) or HUGE.match(str(cell)) is not None
    except ValueError:
        return False


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


def question_frame(table: Table, values: Sequence[str], chart: str, asked: StudyOptions) -> pl.DataFrame:
    """Bring the columns of the question under their agreed names, checked."""
    parts = {role: take_labels(table, name) for role, name in columns(asked, "labels").items()}
    if "series" in parts:
        parts["series"] = parts["series"].cast(pl.String)
    for role, name in columns(asked, "numbers").items():
        parts[role] = _numbers_or_constant(table, name, role)
    if KINDS[chart].several:
        for name in values:
            parts[f"value:{name}"] = take_numbers(table, name)
    else:
        parts["value"] = take_numbers(table, values[0])
    return pl.DataFrame(parts)


def _numbers_or_constant(table: Table, name: str, role: str) -> pl.Series:
    """Take a column of numbers; a size may also be one number for all points."""
    if role == "size" and name not in table.columns and PLAIN_NUMBER.fullmatch(name):
        return pl.Series([float(name)] * table.height)
    return take_numbers(table, name)

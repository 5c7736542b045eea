"""A remedy's file as text cells with addresses: csv with any usual separator and decimal sign, or xlsx."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from qc.jobs.remedies.errors import RemedyError, RemedyUsageError
from qc.trade import TradeError

MOST_BYTES = 20_000_000
"""A remedy's file is a bench sheet: anything larger is something else."""


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row: its line in the file and its cells by column name, stripped."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Sheet:
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
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    workbook: bool

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
        if self.workbook and column in self.columns:
            return f"{self.name}, cell {_letters(self.columns.index(column))}{row.line} ({column})"
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


def read_sheet(path: Path) -> Sheet:
    """Read a csv (comma, semicolon or tab; point or comma decimals; with or without BOM) or an xlsx file.

    Parameters
    ----------
    path : Path
        The file. Column names stand in the first line.

    Returns
    -------
    Sheet
        Text cells with addresses.

    Raises
    ------
    RemedyUsageError
        No such file, or neither csv nor xlsx.
    RemedyError
        The file is empty, binary, too large, cannot be read, or has a column twice.
    """
    suffix = path.suffix.lower()
    if suffix not in {".csv", ".tsv", ".txt", ".xlsx"}:
        raise RemedyUsageError(f"{path.name}: a remedy reads csv or xlsx files. Save it as one of them")
    try:
        if not path.is_file():
            raise RemedyUsageError(f"{path}: there is no such file. Check the name")
        if path.stat().st_size > MOST_BYTES:
            raise RemedyError(f"{path.name}: larger than 20 MB, which no bench sheet is. Check the file")
        data = path.read_bytes()
    except OSError as error:
        raise RemedyError(f"{path.name}: cannot be opened ({error.strerror}). Check its rights") from error
    if not data.strip():
        raise RemedyError(f"{path.name}: the file is empty. Fill it in or choose another")
    lines = _workbook_lines(data, path.name) if suffix == ".xlsx" else _csv_lines(data, path.name)
    return _sheet(path.name, lines, workbook=suffix == ".xlsx")


def read_decimal(text: str) -> float | None:
    """Read a figure with a point or a comma as decimal sign; None when it is none.

    Examples
    --------
    >>> read_decimal("14,052"), read_decimal("+6.0"), read_decimal("1,234.5"), read_decimal("nan")
    (14.052, 6.0, None, None)
    """
    figure = text.strip().replace("\u2212", "-")
    if "," in figure and ("." in figure or figure.count(",") > 1):
        return None
    try:
        value = float(figure.replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) and "_" not in figure else None


def _csv_lines(data: bytes, name: str) -> list[tuple[int, list[str]]]:
    """Read csv as benches write it: any usual separator, older encodings too, but no quotes left open."""
    if b"\x00" in data:
        raise RemedyError(f"{name}: this is not a text file. Save it as csv (UTF-8) or xlsx")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    head = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(";\t,", key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    lines: list[tuple[int, list[str]]] = []
    try:
        for cells in reader:
            lines.append((reader.line_num, cells))
    except csv.Error as error:
        raise RemedyError(f"{name}, line {reader.line_num}: {error}. Mend the quotes in this line") from error
    return lines


def _workbook_lines(data: bytes, name: str) -> list[tuple[int, list[str]]]:
    import python_calamine

    try:
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        table = book.get_sheet_by_index(0).to_python(skip_empty_area=False)
    except Exception as error:  # the reader raises errors of many kinds; each means the same to a person
        raise RemedyError(f"{name}: this is no readable xlsx workbook. Save it again as xlsx") from error
    return [(number, [_cell(cell) for cell in cells]) for number, cells in enumerate(table, 1)]


def _cell(value: object) -> str:
    if isinstance(value, float):
        return repr(int(value)) if value == int(value) else repr(value)
    return str(value)


def _sheet(name: str, lines: list[tuple[int, list[str]]], *, workbook: bool) -> Sheet:
    """Take the first filled line as names; a line with more cells than those is a decimal comma at work."""
    filled = [
        (line, [cell.strip() for cell in cells]) for line, cells in lines if any(c.strip() for c in cells)
    ]
    if not filled:
        raise RemedyError(f"{name}: the file is empty. Fill it in or choose another")
    columns = tuple(cell.lower() for cell in filled[0][1])
    for column in columns:
        if column and columns.count(column) > 1:
            raise RemedyError(f"{name}: column {column} is there twice. Rename or delete one of them")
    rows = []
    for line, cells in filled[1:]:
        if any(cells[len(columns) :]):
            raise RemedyError(
                f"{name}, line {line}: more cells than columns. With decimal commas put the cells in quotes "
                f"or separate them by semicolons"
            )
        rows.append(SheetRow(line, {c: v for c, v in zip(columns, cells, strict=False) if c}))
    if not rows:
        raise RemedyError(f"{name}: there are no rows under the column names. Fill it in or choose another")
    return Sheet(name, columns, tuple(rows), workbook)


def _letters(index: int) -> str:
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters

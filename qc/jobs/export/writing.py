"""Tables to files of one format: fed in parts, so that no table has to fit into memory."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from qc.jobs.export.columns import TableName, schema_of
from qc.plain import FORMULA_STARTS

if TYPE_CHECKING:
    from xlsxwriter.format import Format

WORKBOOK = "export.xlsx"

SHEET_ROWS = 1_048_575
"""Rows of a worksheet below its head: it has 1,048,576 (documentation of xlsxwriter)."""
CELL_LETTERS = 32_767
"""Letters that a cell of a worksheet holds (the same); what is longer is cut there, and only there."""

GROUP = 50_000
"""Rows of a Parquet file that a reader takes or leaves together; chosen: years of a series are few groups."""

_MOMENT = "%Y-%m-%dT%H:%M:%S%.6fZ"
_NUMBER = r"^[+-]?[0-9]+(\.[0-9]+)?$"


class ExportFormat(StrEnum):
    """What `qc export` writes."""

    PARQUET = "parquet"
    CSV = "csv"
    XLSX = "xlsx"


class TableWriter(ABC):
    """Writes tables into a folder, one after the other; to be used as a context, which ends the files."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __enter__(self) -> TableWriter:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self.end(failed=kind is not None)

    def write(self, table: TableName, parts: Iterable[pl.DataFrame]) -> tuple[str, int]:
        """Write a table of which at least one part may be empty; return its file's name and its rows."""
        rows = 0

        def counted() -> Iterable[pl.DataFrame]:
            nonlocal rows
            for part in parts:
                rows += part.height
                yield part

        return self.put(table, counted()), rows

    @abstractmethod
    def put(self, table: TableName, parts: Iterable[pl.DataFrame]) -> str:
        """Write the parts of a table; return the name of its file."""

    def end(self, *, failed: bool) -> None:
        """End what is still open; nothing where each table is a file of its own."""
        del failed


class CsvWriter(TableWriter):
    """A csv file for each table: UTF-8, comma, point, moments in UTC; the same rows give the same bytes."""

    def put(self, table: TableName, parts: Iterable[pl.DataFrame]) -> str:
        """Write the parts of a table; return the name of its file."""
        file = self.folder / f"{table}.csv"
        with file.open("wb") as out:
            pl.DataFrame(schema=schema_of(table)).write_csv(out)
            for part in parts:
                guarded(part).write_csv(out, include_header=False, datetime_format=_MOMENT)
        return file.name


class ParquetWriter(TableWriter):
    """A Parquet file for each table, its rows in the order in which they come."""

    def put(self, table: TableName, parts: Iterable[pl.DataFrame]) -> str:
        """Write each part, then join them as they lie: the whole is never held in memory."""
        file = self.folder / f"{table}.parquet"
        own: list[Path] = []
        for part in parts:
            own.append(self.folder / f"{table}-{len(own)}.part")
            part.write_parquet(own[-1], statistics=True)
        if len(own) > 1:
            pl.scan_parquet(own).sink_parquet(
                file, maintain_order=True, statistics=True, row_group_size=GROUP
            )
        elif own:
            own[0].rename(file)
        else:
            pl.DataFrame(schema=schema_of(table)).write_parquet(file, statistics=True)
        for path in own:
            path.unlink(missing_ok=True)
        return file.name


class XlsxWriter(TableWriter):
    """One workbook with a sheet for each table; a table longer than a sheet goes on in the next."""

    def __init__(self, folder: Path, made: date) -> None:
        import xlsxwriter

        super().__init__(folder)
        kept = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
        kept["use_zip64"] = True  # a million rows may pass four gigabytes before they are packed
        self._book = xlsxwriter.Workbook(str(folder / WORKBOOK), {**kept, "tmpdir": str(folder)})
        self._book.set_properties({"title": "Export", "created": datetime(made.year, made.month, made.day)})
        self._formats: dict[type[Any], Format] = {
            str: self._book.add_format({"bold": True, "bottom": 1}),
            date: self._book.add_format({"num_format": "yyyy-mm-dd"}),
            datetime: self._book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"}),
        }

    def put(self, table: TableName, parts: Iterable[pl.DataFrame]) -> str:
        """Write the parts of a table; return the name of the workbook."""
        return self.put_rows(list(schema_of(table)), parts, str(table))

    def put_rows(self, heads: list[str], parts: Iterable[pl.DataFrame], name: str) -> str:
        """Write the parts of any table on sheets of this name; return the name of the workbook."""
        number, sheet, row = 1, self._sheet(heads, name), 0
        for part in parts:
            for cells in part.iter_rows():
                if row == SHEET_ROWS:
                    number, row = number + 1, 0
                    sheet = self._sheet(heads, f"{name} {number}")
                row += 1
                for column, cell in enumerate(cells):
                    self._cell(sheet, row, column, cell)
        return WORKBOOK

    def end(self, *, failed: bool) -> None:
        """Close the workbook, which writes it; one that failed goes with its folder."""
        from xlsxwriter.exceptions import FileCreateError

        if failed:
            return
        try:
            self._book.close()
        except FileCreateError as error:  # it wraps what the system said, which is told as everywhere
            raise (error.__context__ or error) from None

    def _sheet(self, heads: list[str], name: str) -> Any:
        """Add a sheet with the head of a table."""
        sheet: Any = self._book.add_worksheet(name)
        sheet.freeze_panes(1, 0)
        for column, head in enumerate(heads):
            sheet.set_column(column, column, max(10, len(head) + 2))
            sheet.write_string(0, column, head, self._formats[str])
        return sheet

    def _cell(self, sheet: Any, row: int, column: int, cell: object) -> None:
        """Write a cell by its type: a serial such as 00123 stays a text, and no text becomes a formula."""
        if isinstance(cell, str):
            sheet.write_string(row, column, cell[:CELL_LETTERS])
        elif isinstance(cell, bool):
            sheet.write_boolean(row, column, cell)
        elif isinstance(cell, datetime):  # UTC, as the head's page says: a sheet knows no zones
            sheet.write_datetime(row, column, cell.replace(tzinfo=None), self._formats[datetime])
        elif isinstance(cell, date):
            sheet.write_datetime(row, column, cell, self._formats[date])
        elif cell is not None:
            sheet.write_number(row, column, cell)


def writer_of(form: ExportFormat, folder: Path, made: date) -> TableWriter:
    """Return what writes a format into a folder; `made` is the day that a workbook bears."""
    if form is ExportFormat.XLSX:
        return XlsxWriter(folder, made)
    return CsvWriter(folder) if form is ExportFormat.CSV else ParquetWriter(folder)


def guarded(part: pl.DataFrame) -> pl.DataFrame:
    """Mark every text that a spreadsheet would run as a formula with a leading apostrophe.

    A text that is a plain number stays as it is: it is a number to a spreadsheet too.

    Examples
    --------
    >>> guarded(pl.DataFrame({"text": ["=1+1", "-1.5", "-A1", "good", None]}))["text"].to_list()
    ["'=1+1", '-1.5', "'-A1", 'good', None]
    """
    texts = [name for name, kind in part.schema.items() if kind == pl.String]
    return part.with_columns(
        pl.when(
            pl.any_horizontal(pl.col(name).str.starts_with(start) for start in FORMULA_STARTS)
            & ~pl.col(name).str.contains(_NUMBER)
        )
        .then("'" + pl.col(name))
        .otherwise(pl.col(name))
        .alias(name)
        for name in texts
    )

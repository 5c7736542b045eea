"""Sheets as benches hand them in: what stands in the cells, and how each bench writes it down."""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import dataclass, field
from datetime import date, datetime

import xlsxwriter

NUMBER = re.compile(r"^-?\d+(\.\d+)?$")
DECIMAL = re.compile(r"^-?\d+\.\d+$")
ISO_DATE = re.compile(r"^\d{4}-\d{2}-\d{2}$")
MADE = datetime(2026, 11, 23, 17, 0)  # a workbook carries the moment it was made; ours must not depend on it
ZIP_TIME = (1980, 1, 1, 0, 0, 0)


class Typed(str):
    """Text that stands in its cell exactly so, whatever the bench's habits are."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Habit:
    """How a bench writes: separator and encoding of csv, decimal comma, dotted dates, real date cells."""

    separator: str = ","
    encoding: str = "utf-8"
    comma: bool = False
    dotted: bool = False
    date_cells: bool = False


PLAIN = Habit()


@dataclass(slots=True)
class Tab:
    """One table with its head block; `serials` names the piece of each row, `day` is the last day on it."""

    name: str
    head: list[tuple[str, str]]
    header: list[str]
    rows: list[list[str]] = field(default_factory=list)
    serials: list[str] = field(default_factory=list)

    def add(self, serial: str, *cells: str) -> None:
        """Append a row that belongs to a piece."""
        self.rows.append(list(cells))
        self.serials.append(serial)

    def line(self, index: int) -> int:
        """Return the 1-based line in the sheet of a table row counted from 0."""
        return len(self.head) + 3 + index if self.head else 2 + index

    def column(self, header: str) -> int:
        """Return the index of a column by its header."""
        return self.header.index(header)


@dataclass(slots=True)
class Sheet:
    """One file: its path below the sheets folder, its tabs (one for csv) and its bench's habit."""

    path: str
    tabs: list[Tab]
    habit: Habit = PLAIN

    @property
    def is_workbook(self) -> bool:
        """Return whether the file is a workbook."""
        return self.path.endswith(".xlsx")

    def to_bytes(self) -> bytes:
        """Return the file's content; the same cells give the same bytes."""
        return _workbook(self) if self.is_workbook else _csv(self)

    def address(self, tab: Tab, index: int, header: str) -> str:
        """Return where a cell of a table row stands, the way a receipt names it."""
        if self.is_workbook:
            return f"{chr(65 + tab.column(header))}{tab.line(index)}"
        return f"line {tab.line(index)}, {header}"


def figure(value: float, digits: int, short: bool = False) -> str:
    """Return a figure as typed; `short` drops trailing zeros as many people do.

    Examples
    --------
    >>> figure(13.8501, 3), figure(13.8501, 3, short=True), figure(-0.0001, 3)
    ('13.850', '13.85', '0.000')
    """
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.rstrip("0").rstrip(".") if short and "." in text else text


def _csv(sheet: Sheet) -> bytes:
    habit = sheet.habit
    tab = sheet.tabs[0]
    block: list[list[str]] = [[label, value] for label, value in tab.head]
    rows = [*block, [], tab.header, *tab.rows] if block else [tab.header, *tab.rows]
    width = len(tab.header)
    lines = [
        habit.separator.join(_cell(cell, habit) for cell in [*row, *[""] * (width - len(row))])
        for row in rows
    ]
    return ("\r\n".join(lines) + "\r\n").encode(habit.encoding)


def _cell(text: str, habit: Habit) -> str:
    text = _written(text, habit)
    return f'"{text}"' if habit.separator in text else text


def _written(text: str, habit: Habit) -> str:
    if isinstance(text, Typed):
        return str(text)
    if habit.comma and DECIMAL.match(text):
        return text.replace(".", ",")
    if habit.dotted and ISO_DATE.match(text):
        year, month, day = text.split("-")
        return f"{day}.{month}.{year}"
    return text


def _workbook(sheet: Sheet) -> bytes:
    """Write numbers as numbers and dates as cells where the bench does, as a spreadsheet would keep them."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True})
    book.set_properties({"title": sheet.path.rsplit("/", 1)[-1], "created": MADE})
    date_format = book.add_format({"num_format": "yyyy-mm-dd"})
    bold = book.add_format({"bold": True})
    for tab in sheet.tabs:
        page = book.add_worksheet(tab.name)
        top = 0
        for top, (label, value) in enumerate(tab.head, start=1):
            page.write_string(top - 1, 0, label)
            _write(page, top - 1, 1, value, sheet.habit, date_format)
        first = top + 1 if tab.head else 0
        for column, header in enumerate(tab.header):
            page.write_string(first, column, header, bold)
        for offset, row in enumerate(tab.rows, start=first + 1):
            for column, text in enumerate(row):
                _write(page, offset, column, text, sheet.habit, date_format)
        page.set_column(0, len(tab.header) - 1, 13)
    book.close()
    return _repacked(buffer.getvalue())


def _write(page: object, row: int, column: int, text: str, habit: Habit, date_format: object) -> None:
    if text == "":
        return
    written = _written(text, habit)
    if NUMBER.match(written):
        page.write_number(row, column, float(written))  # type: ignore[attr-defined]
    elif habit.date_cells and ISO_DATE.match(written):
        moment = datetime.combine(date.fromisoformat(written), datetime.min.time())
        page.write_datetime(row, column, moment, date_format)  # type: ignore[attr-defined]
    else:
        page.write_string(row, column, written)  # type: ignore[attr-defined]


def _repacked(data: bytes) -> bytes:
    """Store the workbook's parts unpacked under one time: packed bytes differ between zlib versions."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as packed, zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as stored:
        for name in packed.namelist():
            entry = zipfile.ZipInfo(name, ZIP_TIME)
            entry.create_system = 0
            stored.writestr(entry, packed.read(name))
    return out.getvalue()

"""Csv as benches write it: any of three separators, any of four encodings, decimal commas left as typed."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Iterator

from qc.ingest.cells import heading
from qc.ingest.errors import SheetError
from qc.ingest.reading.encodings import cut_off, decode
from qc.ingest.reading.grid import MAX_CELL, MAX_CELLS, MAX_COLUMNS, MAX_ROWS, Grid

SEPARATORS = (";", "\t", ",")  # where two show as much, a comma is likelier a decimal sign
CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")
SAMPLE_LINES = 200  # enough to tell the separator of any bench sheet
HEAD_LINES = 40  # a head block and the headings below it end before this


class BrokenRowError(ValueError):
    """A row whose quotation marks do not fit: the line it begins on and what the parser says."""

    def __init__(self, line: int, problem: str) -> None:
        super().__init__(f"line {line}: {problem}")
        self.line, self.problem = line, problem


def read_csv(data: bytes, name: str, sheet: str) -> Grid:
    """Read a csv file as text cells.

    Parameters
    ----------
    data : bytes
        The file's content.
    name, sheet : str
        Its name and its SHA-256.

    Returns
    -------
    Grid
        Rows as typed; rows without any text are kept as empty, since one parts head and table.

    Raises
    ------
    SheetError
        A NUL or control character, an unknown encoding, an open quotation mark, a last line that stops
        short, or a table over the limits.
    """
    text = decode(data, name)
    _refuse_control(text, name)
    separator = separator_of(text)
    rows, lines = _rows(text, separator, name)
    _refuse_cut(text, rows, lines, name)
    trimmed = tuple(_trim(row) for row in rows)
    widths = tuple(len(row) for row in rows)
    return Grid(name, "", "csv", sheet, trimmed, tuple(lines), separator, widths)


def split_rows(text: str | Iterable[str], separator: str) -> Iterator[tuple[int, list[str]]]:
    r"""Give each row of a text, or of its lines as they come, with the line it begins on; cells as typed.

    Raises
    ------
    BrokenRowError
        A quotation mark is out of place or left open.

    Examples
    --------
    >>> list(split_rows('a,"b\nc"\n\nd', ","))
    [(1, ['a', 'b\nc']), (3, []), (4, ['d'])]
    """
    lines = io.StringIO(text, newline="") if isinstance(text, str) else text
    reader = csv.reader(lines, delimiter=separator, strict=True)
    line = 1
    try:
        for cells in reader:
            yield line, cells
            line = reader.line_num + 1
    except csv.Error as fault:
        raise BrokenRowError(line, str(fault)) from None


def _refuse_control(text: str, name: str) -> None:
    found = CONTROL.search(text)
    if found:
        cell = f"line {text.count(chr(10), 0, found.start()) + 1}"
        what = "a NUL byte" if found.group() == "\x00" else "a control character"
        hint = "It is no plain text file, or was damaged: save the sheet again as csv."
        raise SheetError(name, f"the file holds {what}", hint, cell=cell)
    at = text.find("\ufffd")
    if at >= 0:
        cell = f"line {text.count(chr(10), 0, at) + 1}"
        hint = "Save it again from the program it was typed in, as csv with the encoding UTF-8."
        raise SheetError(name, "letters were lost when the file was saved", hint, cell=cell)


def separator_of(text: str) -> str:
    """Choose the separator that shows most headings we know; among equals the one of most even width."""
    lines = [line for line in text.splitlines()[:SAMPLE_LINES] if line.strip()]
    best, best_score = ";", (0, 0)
    for separator in SEPARATORS:
        known = max((_known_headings(line, separator) for line in lines[:HEAD_LINES]), default=0)
        widths = Counter(_width(line, separator) for line in lines)
        even = max(((width - 1) * count for width, count in widths.items()), default=0)
        if (known, even) > best_score:
            best, best_score = separator, (known, even)
    return best


def _known_headings(line: str, separator: str) -> int:
    return sum(bool(heading(cell).field) for cell in line.split(separator)) if separator in line else 0


def _width(line: str, separator: str) -> int:
    if '"' not in line:
        return line.count(separator) + 1
    return next((len(cells) for cells in csv.reader([line], delimiter=separator)), 1)


def _rows(text: str, separator: str, name: str) -> tuple[list[list[str]], list[int]]:
    """Split the text within the limits of a bench sheet; a fault of the quotation marks says where."""
    rows: list[list[str]] = []
    lines: list[int] = []
    filled = 0
    try:
        for line, cells in split_rows(_with_ditto_marks(text, separator), separator):
            if len(rows) >= MAX_ROWS or len(cells) > MAX_COLUMNS:
                hint = f"A sheet may have {MAX_ROWS:,} rows and {MAX_COLUMNS} columns: split it."
                raise SheetError(name, "the table is too large", hint, cell=f"line {line}")
            filled += len(cells)
            if filled > MAX_CELLS:
                hint = f"A sheet may have {MAX_CELLS:,} cells, empty ones counted: split it."
                raise SheetError(name, "the table is too large", hint, cell=f"line {line}")
            if any(len(cell) > MAX_CELL for cell in cells):
                hint = f"A cell may hold {MAX_CELL:,} characters; look for a missing quotation mark."
                raise SheetError(name, "a cell is too long", hint, cell=f"line {line}")
            rows.append(cells)
            lines.append(line)
    except BrokenRowError as fault:
        if "unexpected end" in fault.problem:
            raise cut_off(name, fault.line) from None
        hint = "A cell that begins with a quotation mark must end with one: mend the line, or save it again."
        raise SheetError(name, "a quotation mark is out of place", hint, cell=f"line {fault.line}") from None
    return rows, lines


def _with_ditto_marks(text: str, separator: str) -> str:
    r"""Double the quotation marks of a text in which each is alone in its cell: they are ditto marks.

    Examples
    --------
    >>> [_with_ditto_marks(text, ";").count('"') for text in ('a;1\n";2', '"a;";2')]
    [4, 2]
    """
    marks = text.count('"')
    if not marks:
        return text
    ends = re.escape(separator)
    doubled, lone = re.subn(rf'(?m)(^|(?<={ends}))"(?=\r?$|{ends})', '""""', text)
    return doubled if lone == marks else text


def _refuse_cut(text: str, rows: list[list[str]], lines: list[int], name: str) -> None:
    """Refuse a file cut in half: its last line has no end and is narrower than the lines before it."""
    if text.endswith(("\n", "\r")) or len(rows) < 3:
        return
    above = rows[-4:-1]
    # Only the table counts: a blank row parts it from the head, whose lines are narrower.
    blanks = [at for at, row in enumerate(above) if not any(cell.strip() for cell in row)]
    before = [len(row) for row in above[blanks[-1] + 1 if blanks else 0 :]]
    if before and len(rows[-1]) < min(before) and len(set(before)) == 1:
        raise cut_off(name, lines[-1])


def _trim(row: list[str]) -> tuple[str, ...]:
    end = len(row)
    while end and not row[end - 1].strip():
        end -= 1
    return tuple(row[:end])

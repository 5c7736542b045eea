"""A sheet as it came in: rows of text cells that know where they stand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

MAX_BYTES = 20_000_000
"""Largest file taken; chosen, far beyond any bench sheet. [byte]"""

MAX_ROWS = 200_000
"""Longest table taken; a bench fills a few dozen rows a day."""

MAX_COLUMNS = 200
"""Widest table taken; chosen, a card has some twenty columns."""

MAX_CELLS = 2_000_000
"""Most rows times columns of one file, empty cells counted. Chosen: the longest table taken may have ten
columns. A cell takes some 200 bytes while a workbook is read: these stay below the memory limit. [cell]"""

MAX_CELL = 2_000
"""Longest text of one cell; chosen, a long note is a tenth of it. [character]"""


@dataclass(frozen=True, slots=True)
class Grid:
    """One tab of a workbook or one csv file.

    Attributes
    ----------
    file, tab : str
        Name of the file as handed in; worksheet name, empty for csv.
    kind : {"csv", "xlsx"}
        What it was read from.
    sheet : str
        SHA-256 of the file's bytes.
    rows : tuple of tuple of str
        Text of the cells as typed, without trailing empty cells.
    lines : tuple of int
        1-based line of each row in the file or tab.
    separator : str
        What parted the cells of a csv file, empty for a workbook.
    widths : tuple of int
        Cells of each csv line before trailing empty ones were left out; empty for a workbook.
    boxes : tuple of (int, int, int, int)
        Cells drawn as one: first row and column, last row and column, from 0.
    origins : tuple of tuple of (int, int, str)
        Where the sheet was laid out anew: line, column from 0 and heading of each cell as handed in.
    passed_over : tuple of str
        Tabs of the same workbook that hold words only and are not read.
    """

    file: str
    tab: str
    kind: Literal["csv", "xlsx"]
    sheet: str
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    separator: str = ""
    widths: tuple[int, ...] = ()
    boxes: tuple[tuple[int, int, int, int], ...] = ()
    origins: tuple[tuple[tuple[int, int, str], ...], ...] = ()
    passed_over: tuple[str, ...] = ()

    def width(self, row: int) -> int:
        """Return how many cells a row was typed with, trailing empty ones of a csv line included."""
        return self.widths[row] if self.widths else len(self.rows[row])

    def text(self, row: int, column: int) -> str:
        """Return the text of a cell (both counted from 0); empty beyond the end of a row."""
        cells = self.rows[row]
        return cells[column] if column < len(cells) else ""

    def cell(self, row: int, column: int, header: str = "") -> str:
        """Return the address of a cell the way a person looks for it.

        Examples
        --------
        >>> Grid("a.xlsx", "Slide", "xlsx", "", (("x",),), (7,)).cell(0, 1)
        'B7'
        >>> Grid("a.csv", "", "csv", "", (("x",),), (7,)).cell(0, 1, "Cents")
        'line 7, Cents'
        """
        line = self.lines[row]
        if self.origins and column < len(self.origins[row]):
            line, column, said = self.origins[row][column]
            header = said or header
        if self.kind == "xlsx":
            return f"{column_letters(column)}{line}"
        return f"line {line}, {header or f'column {column + 1}'}"


def column_letters(index: int) -> str:
    """Return the letters of a spreadsheet column counted from 0.

    Examples
    --------
    >>> column_letters(0), column_letters(25), column_letters(26), column_letters(701)
    ('A', 'Z', 'AA', 'ZZ')
    """
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters

"""What a layout says: the fixed cells it is known by, and of the first piece which cell holds what.

Cells in the rows (or columns) of the first piece move on with the pieces; every other cell stays where it is.
So a head above the table and a figure in it are pointed at in the same way.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, TypeAlias

from qc.ingest.cells import plain
from qc.plan import PLACE, Card, Characteristic, Plan, figures_written

FACTS = {
    "serial": "serial",
    "model": "model",
    "date": "day",
    "time": "time",
    "person": "person",
    "gauge": "gauge",
    "tool": "tool",
    "batch": "batch",
    "room": "air_c",
    "note": "note",
    "repeat": "repeat",
    **{place: place for place in PLACE},
}
"""What a layout calls a fact -> the name it is read by; places of the piece are facts as well."""

KINDS = ("word", "cell", "row", "column", "tab")
Kind: TypeAlias = Literal["word", "cell", "row", "column", "tab"]
Are: TypeAlias = Literal["rows", "columns", "sheet"]

_SPOT = re.compile(r"^(?:cell ([A-Z]{1,3})([1-9]\d{0,5})|row ([1-9]\d{0,5})|column ([A-Z]{1,3})|(tab))$")
_CELLS = re.compile(r"^([A-Z]{1,3})([1-9]\d{0,5})(?::([A-Z]{1,3})([1-9]\d{0,5}))?$")


@dataclass(frozen=True, slots=True)
class Pointed:
    """Where a fact stands: a cell, a row or column beside the figure, the tab's name; or it is a word.

    Attributes
    ----------
    kind : {"word", "cell", "row", "column", "tab"}
        `row` is the cell of that line over the figure, `column` the cell of that column beside it.
    word : str
        The word itself.
    line, column : int
        1-based line of the file, 0-based column; 0 where the kind has none.
    within : tuple of str
        Which part of the cell: ``{}`` stands for it and ``*`` for anything else; the first that fits counts.
    """

    kind: Kind
    word: str = ""
    line: int = 0
    column: int = 0
    within: tuple[str, ...] = ()

    def text(self) -> str:
        """Return the spot as it is written in a layout, without its part.

        Examples
        --------
        >>> Pointed("cell", line=2, column=1).text(), Pointed("word", "JP").text()
        ('cell B2', 'JP')
        """
        if self.kind == "cell":
            return f"cell {letters(self.column)}{self.line}"
        return {"row": f"row {self.line}", "column": f"column {letters(self.column)}", "tab": "tab"}.get(
            self.kind, self.word
        )


@dataclass(frozen=True, slots=True)
class ShownFigure:
    """Cells with a figure: first line and column, last line and column, what it is, its unit and places."""

    cells: tuple[int, int, int, int]
    what: Pointed
    unit: Pointed | None = None
    places: tuple[tuple[str, Pointed], ...] = ()
    within: tuple[str, ...] = ()

    def at(self) -> str:
        """Return the cells as they are written in a layout."""
        line, column, last, right = self.cells
        first = f"{letters(column)}{line}"
        return first if (line, column) == (last, right) else f"{first}:{letters(right)}{last}"


@dataclass(frozen=True, slots=True)
class Pieces:
    """How pieces follow each other: rows or columns from `first` on, `every` so many; or one sheet is one.

    Lines count from 1, columns from 0; `last` is 0 for rows, -1 for columns, where they go on to the end.
    """

    are: Are = "sheet"
    first: int = 0
    every: int = 1
    last: int = -1

    def holds(self, line: int, column: int) -> bool:
        """Tell whether a cell belongs to the first piece and so moves on with the others."""
        where = {"rows": line, "columns": column}.get(self.are)
        return where is not None and self.first <= where < self.first + self.every


@dataclass(frozen=True, slots=True)
class LaidTable:
    """One table of a sheet: its card, pieces, what is left out, what is said once for several, its cells."""

    card: str
    pieces: Pieces
    facts: tuple[tuple[str, Pointed], ...]
    figures: tuple[ShownFigure, ...]
    leave_out: tuple[str, ...] = ()
    as_above: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SheetLayout:
    """A layout that was shown: a sheet whose fixed cells say the same is read by it and by nothing else.

    Attributes
    ----------
    name : str
        What the bench calls it; one name stands for one layout.
    fixed : tuple of ((int, int), str)
        Line and column of a cell, and the text that must stand there.
    tables : tuple of LaidTable
        At least one.
    dates, decimal : str
        ``day-first`` or ``month-first``; ``comma`` or ``point``; empty where it was not said.
    serials : str
        What is put before a serial that does not begin with it.
    not_measured : tuple of str
        Marks that stand where nothing was measured.
    words : tuple of (str, str)
        A word of the sheet -> the plan's word for it.
    """

    name: str
    fixed: tuple[tuple[tuple[int, int], str], ...]
    tables: tuple[LaidTable, ...]
    dates: str = ""
    decimal: str = ""
    serials: str = ""
    not_measured: tuple[str, ...] = ()
    words: tuple[tuple[str, str], ...] = ()

    def meant(self, text: str) -> str:
        """Return the plan's word for a word of the sheet, the word itself where it is not named."""
        name = plain(text)
        return next((meant for typed, meant in self.words if plain(typed) == name), text)


def letters(index: int) -> str:
    """Return the letters of a column counted from 0.

    Examples
    --------
    >>> letters(0), letters(27)
    ('A', 'AB')
    """
    found, index = "", index + 1
    while index:
        index, rest = divmod(index - 1, 26)
        found = chr(65 + rest) + found
    return found


def column_of(text: str) -> int:
    """Return the column that letters name, counted from 0.

    Examples
    --------
    >>> column_of("A"), column_of("AB")
    (0, 27)
    """
    number = 0
    for sign in text:
        number = number * 26 + ord(sign) - 64
    return number - 1


def read_spot(text: str, within: tuple[str, ...] = ()) -> Pointed:
    """Read where a fact stands; what is no cell, row, column or tab is a word.

    Examples
    --------
    >>> read_spot("cell B2").text(), read_spot("JP").kind
    ('cell B2', 'word')
    """
    found = _SPOT.match(text.strip())
    if found is None:
        return Pointed("word", text.strip(), within=within)
    if found[1]:
        return Pointed("cell", line=int(found[2]), column=column_of(found[1]), within=within)
    if found[3]:
        return Pointed("row", line=int(found[3]), within=within)
    return (
        Pointed("column", column=column_of(found[4]), within=within)
        if found[4]
        else Pointed("tab", within=within)
    )


def read_cells(text: str) -> tuple[int, int, int, int] | None:
    """Return first line and column, last line and column of cells such as ``B9:G11``; None where it is none.

    Examples
    --------
    >>> read_cells("B9:G11"), read_cells("C4"), read_cells("G11:B9")
    ((9, 1, 11, 6), (4, 2, 4, 2), None)
    """
    found = _CELLS.match(text.strip())
    if found is None:
        return None
    line, column = int(found[2]), column_of(found[1])
    last, right = (int(found[4]), column_of(found[3])) if found[3] else (line, column)
    return (line, column, last, right) if line <= last and column <= right else None


def figure_named(text: str, card: Card, plan: Plan) -> Characteristic | None:
    """Return the figure of a card that a word names, by its name or id; None where it names none."""
    name = plain(text)
    for figure in figures_written(plan, card):
        if name in {plain(figure.name), plain(figure.id), plain(figure.id.replace("-", " "))}:
            return figure
    return None

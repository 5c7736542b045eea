"""Where the cells of a worksheet stand, worked out as a reader of workbooks does, and how far they may reach.

A cell says its place itself (``r="B7"``), or stands in the row that says its number (``<row r="7">``), or,
where neither does, comes after the one before. A reader keeps room for all cells from the first to the last,
so that two cells far apart are a large table. What a workbook says of its size (``dimension``, ``spans``) is
a remark that nothing relies on, and is not looked at.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NoReturn

from qc.ingest.errors import SheetError
from qc.ingest.reading.grid import MAX_CELLS, MAX_COLUMNS, MAX_ROWS, column_letters
from qc.ingest.reading.parts import CUT_HINT

PLACE = re.compile(r"([A-Za-z]{1,3})([1-9][0-9]{0,6})", re.ASCII)
ROW = re.compile(r"[1-9][0-9]{0,6}", re.ASCII)
LIKE_PLACE = re.compile(r"[A-Za-z]+[1-9][0-9]*", re.ASCII)
LIKE_ROW = re.compile(r"[1-9][0-9]*", re.ASCII)
FORMULA_HINT = "Copy the column and paste it as values only, so that the sheet keeps what was measured."
BOX = re.compile(r"([A-Za-z]{1,3})([1-9][0-9]{0,6}):([A-Za-z]{1,3})([1-9][0-9]{0,6})", re.ASCII)
MERGED_HINT = "Unmerge the cells and type the text into each row it is meant for."
CARD_HINT = f"A sheet may have {MAX_ROWS:,} rows and {MAX_COLUMNS} columns: clear that cell or split it."
AREA_HINT = (
    f"Rows times columns may come to {MAX_CELLS:,}: clear what stands far from the table, split it, or save "
    "it as csv."
)


MAX_BOXES = 10_000
"""Most cells drawn as one in a tab; chosen, a card has some dozen."""


@dataclass(slots=True)
class Area:
    """What the tabs looked at so far need together.

    Attributes
    ----------
    room : int
        Cells from the first to the last of every tab, empty ones too. [cell]
    cells : int
        Cells that are written; two may stand in one place. [cell]
    shared : int
        Cells that show a text kept elsewhere. [cell]
    """

    room: int = 0
    cells: int = 0
    shared: int = 0


class CellPlaces:
    """Follows the cells of one tab and refuses the first that no bench sheet can hold.

    Parameters
    ----------
    name, tab : str
        The file and the tab, for messages.
    area : Area
        Counted on; its bound is one for the whole workbook, since all of it is in memory at once.
    card : bool
        Also refuse formulas, error values, cells merged over several rows and columns at once, and what is
        too long or wide for a card.
    """

    def __init__(self, name: str, tab: str, area: Area, *, card: bool) -> None:
        self.name, self.tab, self.area, self.card = name, tab, area, card
        self.row, self.column = 0, 0  # of the cell to come where it does not say so itself, from 0
        self.in_row, self.in_cell = False, False
        self.rows, self.columns = 0, 0
        self.before = area.room
        self.cell = ""
        self.letters: dict[str, int] = {}
        self.boxes: list[tuple[int, int, int, int]] = []

    def begins(self, tag: str, attributes: dict[str, str]) -> None:
        """Take an element that begins."""
        if tag == "c":
            self._cell(attributes)
        elif tag == "row":
            self._row(attributes)
        elif not self.card:
            return
        elif tag == "f" and self.in_cell:
            self._refuse("the cell holds a formula", FORMULA_HINT, self.cell)
        elif tag == "mergeCell":
            self._box(attributes.get("ref", ""))

    def ends(self, tag: str) -> None:
        """Take an element that ends."""
        if tag == "c":
            self.in_cell = False
        elif tag == "row":
            self.row, self.column = self.row + 1, 0
            self.in_row = False

    def _box(self, ref: str) -> None:
        """Keep where cells are drawn as one; over rows and columns at once nobody can say which is meant."""
        found = BOX.fullmatch(ref)
        if found is None:
            self._refuse("cells are merged", MERGED_HINT, ref[:40].replace(":", " to "))
        left, top, right, bottom = found.groups()
        box = (int(top) - 1, _letters_column(left), int(bottom) - 1, _letters_column(right))
        if (box[0] != box[2] and box[1] != box[3]) or box[2] >= MAX_ROWS or box[3] >= MAX_COLUMNS:
            self._refuse("cells are merged", MERGED_HINT, ref.replace(":", " to "))
        if len(self.boxes) >= MAX_BOXES:
            self._refuse("very many cells are merged", MERGED_HINT, ref.replace(":", " to "))
        self.boxes.append(box)

    def _row(self, attributes: dict[str, str]) -> None:
        if self.in_row:
            self._refuse("a row stands within a row, so the tab is damaged", CUT_HINT)
        self.in_row = True
        number = attributes.get("r")
        if number is None:
            return
        if ROW.fullmatch(number) is None:
            if LIKE_ROW.fullmatch(number) is None:
                self._refuse(f"a row has the number {number[:20]!r}, so the tab is damaged", CUT_HINT)
            self._refuse("a row stands far outside any table", AREA_HINT, f"row {number[:20]}")
        self.row = int(number) - 1

    def _cell(self, attributes: dict[str, str]) -> None:
        """Take one cell's place before any of its text is read: a place far outside would cost memory."""
        if not self.in_row or self.in_cell:
            self._refuse("a cell stands outside of any row, so the tab is damaged", CUT_HINT)
        self.in_cell = True
        place = attributes.get("r")
        row = self.row
        if place is not None:
            row = self._placed(place)
        self.cell = place or f"{column_letters(self.column)}{row + 1}"
        self.column += 1
        if self.card and (row >= MAX_ROWS or self.column > MAX_COLUMNS):
            self._refuse("a cell stands far outside any table", CARD_HINT, self.cell)
        self.area.cells += 1
        if row >= self.rows or self.column > self.columns:
            self.rows, self.columns = max(self.rows, row + 1), max(self.columns, self.column)
            self.area.room = self.before + self.rows * self.columns
        if self.area.room > MAX_CELLS or self.area.cells > MAX_CELLS:
            problem = (
                f"the cells reach over {self.rows:,} rows and {self.columns:,} columns, too large a table"
            )
            self._refuse(problem, AREA_HINT)
        kind = attributes.get("t")
        if kind == "s":
            self.area.shared += 1
        elif kind == "e" and self.card:
            self._refuse("the cell holds an error value", "Type the figure itself.", self.cell)

    def _placed(self, place: str) -> int:
        """Take the place a cell says it has; return its row, counted from 0."""
        found = PLACE.fullmatch(place)
        if found is None:
            if LIKE_PLACE.fullmatch(place) is None:
                self._refuse(f"a cell has the place {place[:20]!r}, so the tab is damaged", CUT_HINT)
            self._refuse(
                "a cell stands far outside any table", CARD_HINT if self.card else AREA_HINT, place[:20]
            )
        letters, number = found.groups()
        if letters not in self.letters:
            self.letters[letters] = _letters_column(letters)
        self.column = self.letters[letters]
        return int(number) - 1

    def _refuse(self, problem: str, hint: str, cell: str = "") -> NoReturn:
        raise SheetError(self.name, problem, hint, tab=self.tab, cell=cell)


def _letters_column(letters: str) -> int:
    """Return the column, from 0, that a cell's letters name."""
    index = 0
    for letter in letters.upper():
        index = 26 * index + ord(letter) - 64
    return index - 1

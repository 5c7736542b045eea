"""Finds the tables of a sheet: each row of headings with the lines above and the rows below it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from qc.ingest.cards.headings import FIGURE, FIGURE_WORDS, NUMBER_WORDS, WHAT_WORDS, CardHeadings
from qc.ingest.cards.headlines import Cell
from qc.ingest.cards.recognition import plan_names, plan_units
from qc.ingest.cells import UNITS, known_field, plain
from qc.ingest.reading import Grid
from qc.plan import Card, Plan

STARTS = frozenset({"card", "serial", "day", "model", "person"})
"""A line that begins with one of these, below a table, begins the head of the next."""


@dataclass(slots=True)
class TableOfSheet:
    """One table: the lines above it, its headings, its rows; `again` where the headings merely repeat."""

    head: list[list[Cell]]
    headings: list[Cell]
    body: list[list[Cell]]
    across: bool = False
    boxed: set[tuple[int, int]] = field(default_factory=set)


class SheetWords:
    """Tells what a cell may be in the words of a plan; `bench` are headings that a mapping knows, plain."""

    def __init__(self, plan: Plan, bench: Collection[str] = ()) -> None:
        self.bench = frozenset(bench)
        self.names, self.units = plan_names(plan), plan_units(plan)
        self.cards = [CardHeadings(card, plan) for card in plan.cards]
        self.titles = {plain(name) for card in plan.cards for name in (card.title, card.id)}
        self._known: dict[str, str] = {}

    def is_label(self, text: str) -> bool:
        """Tell whether a cell is a heading by itself."""
        name = plain(text)
        if name in WHAT_WORDS or name in FIGURE_WORDS or name in NUMBER_WORDS or name in self.names:
            return True
        if name in self.bench:
            return True
        return bool(known_field(text)) or self.kind(text) == "label"

    def kind(self, text: str) -> str:
        """Return ``place`` for the bare name of a place, ``label`` for a figure with or without one."""
        if text not in self._known:
            found = [meaning for card in self.cards if (meaning := card.read(text)) is not None]
            self._known[text] = "place" if self._is_place(text) else "label" if found else ""
        return self._known[text]

    def _is_place(self, text: str) -> bool:
        value = plain(text).rstrip("°")
        return any(
            value in spelled
            for card in self.cards
            for places in card.places.values()
            for spelled in places.values()
        )

    def elsewhere(self, text: str, card: Card) -> str:
        """Say whose figure a heading may be that one card does not know, empty where no other card does."""
        others = [words for words in self.cards if words.card.id != card.id]
        read = [(words.card.title, words.read(text)) for words in others]
        titles = [title for title, found in read if found and found.figure and found.field != FIGURE]
        return f"a figure of {' or '.join(titles)}" if titles else ""

    def is_unit(self, text: str) -> bool:
        """Tell whether a cell is a unit and nothing else."""
        name = plain(text).strip("[]()")
        return name in UNITS or name in self.units

    def are_headings(self, cells: Sequence[Cell]) -> bool:
        """Tell whether a row is one of headings: two at least, one of them a label, and no figures."""
        texts = [cell.text.strip() for cell in cells if cell.text.strip()]
        if len(texts) < 2:
            return False
        labels = [self.is_label(text) for text in texts]
        if not any(labels):
            return False
        known = [label or self.kind(text) == "place" for text, label in zip(texts, labels, strict=True)]
        others = [text for text, is_known in zip(texts, known, strict=True) if not is_known]
        if sum(known) < 2 or len(others) > sum(known) or any(_is_figure(text) for text in others):
            return False
        numbers = [text for text in texts if text.strip("+-.,°").replace(".", "").isdecimal()]
        if len(texts) - len(numbers) < 2 and not _counts_up(numbers):
            return False  # a place and its figure, which could be the number of another place
        if not known[0] and any(sign.isdigit() for sign in texts[0]):
            return False  # a serial: its row names a figure, a place and a small number
        fields = [bool(known_field(text)) for text in texts]
        pairs = len(texts) % 2 == 0 and all(fields[::2]) and not any(fields[1::2])
        return not (pairs and not any(labels[1::2])) and not _is_figure(texts[0])


def _counts_up(numbers: Sequence[str]) -> bool:
    """Tell whether numbers rise; under a band of persons they rise anew for each: 1 2 1 2."""
    values = [float(text.strip("+-.,°")) for text in numbers]
    again = values.index(values[0], 1) if values[:1] and values[0] in values[1:] else len(values)
    run = values[:again]
    rises = len(run) > 1 and all(a < b for a, b in zip(run, run[1:], strict=False))
    return rises and values == run * (len(values) // again)


def _is_figure(text: str) -> bool:
    return text[:1].isdigit() or (text[:1] in "+-.," and text[1:2].isdigit())


def cells_of(grid: Grid) -> list[list[Cell]]:
    """Return the cells of a grid with the line and column each stands in."""
    return [
        [Cell(text, grid.lines[row], column) for column, text in enumerate(texts)]
        for row, texts in enumerate(grid.rows)
    ]


def heading_rows(grid: Grid, words: SheetWords) -> list[int]:
    """Return the rows of headings of a sheet, from 0; of two below each other the first is a head line."""
    rows = cells_of(grid)
    found = [index for index, cells in enumerate(rows) if words.are_headings(cells)]
    if not found:
        return []
    between = [
        any(_filled(rows[row]) for row in range(a + 1, b)) for a, b in zip(found, found[1:], strict=False)
    ]
    return [index for index, rows_follow in zip(found, [*between, True], strict=True) if rows_follow]


def split_tables(grid: Grid, words: SheetWords) -> list[TableOfSheet]:
    """Part a sheet into its tables, in order; pieces written across become rows.

    Returns
    -------
    list of TableOfSheet
        Empty where no row and no column of headings is found.
    """
    rows = cells_of(grid)
    starts = heading_rows(grid, words)
    if not starts:
        across = _across(rows, words)
        return [across] if across else []
    tables = []
    head_from = 0
    for number, start in enumerate(starts):
        last = number + 1 == len(starts)
        end = len(rows) if last else _body_end(rows, start, starts[number + 1], words)
        head = [row for row in rows[head_from:start] if _filled(row)]
        headings = list(rows[start])
        if head and _is_band(head[-1], headings, words):
            headings = _banded(head.pop(), headings)
        body = [row for row in rows[start + 1 : end] if _filled(row)]
        if body and all(words.is_unit(cell.text) for cell in body[0] if cell.text.strip()):
            headings = _with_units(headings, body.pop(0))
        tables.append(TableOfSheet(head, headings, body))
        head_from = end
    return tables


def _filled(row: Sequence[Cell]) -> bool:
    return any(cell.text.strip() for cell in row)


def _body_end(rows: list[list[Cell]], start: int, following: int, words: SheetWords) -> int:
    """Return where the head of the next table begins."""
    for index in range(start + 1, following):
        first = next((cell.text for cell in rows[index] if cell.text.strip()), "")
        label = first.partition(":")[0]
        if known_field(label) in STARTS or plain(first) in words.titles:
            return index
    before = following - 1
    if before > start and _filled(rows[before]) and _is_band(rows[before], rows[following], words):
        return before
    return following


def _is_band(band: Sequence[Cell], headings: Sequence[Cell], words: SheetWords) -> bool:
    """Tell whether a line above the headings names places, each for the columns from there on."""
    filled = [cell for cell in band if cell.text.strip()]
    names = [plain(cell.text) for cell in headings if cell.text.strip()]
    doubled = len(set(names)) < len(names)
    return doubled and bool(filled) and all(words.kind(cell.text) == "place" for cell in filled)


def _banded(band: Sequence[Cell], headings: Sequence[Cell]) -> list[Cell]:
    said, found = "", []
    for column, cell in enumerate(headings):
        if column < len(band) and band[column].text.strip():
            said = band[column].text.strip()
        text = f"{cell.text.strip()} {said}".strip() if said and cell.text.strip() else cell.text
        found.append(cell._replace(text=text))
    return found


def _with_units(headings: Sequence[Cell], units: Sequence[Cell]) -> list[Cell]:
    found = list(headings)
    for cell in units:
        if cell.text.strip() and cell.column < len(found):
            said = found[cell.column].text.strip()
            found[cell.column] = found[cell.column]._replace(
                text=f"{said} [{cell.text.strip().strip('[]()')}]"
            )
    return found


def _across(rows: list[list[Cell]], words: SheetWords) -> TableOfSheet | None:
    """Turn a sheet with its headings in its first column: a column a piece becomes a row a piece."""
    filled = [row for row in rows if _filled(row)]
    if not filled:
        return None
    left = min(next(i for i, cell in enumerate(row) if cell.text.strip()) for row in filled)
    first = next(
        (n for n, row in enumerate(filled) if len(row) > left and known_field(row[left].text) in STARTS), None
    )
    if first is None:
        return None
    below = filled[first:]
    headings = [row[left] for row in below if len(row) > left]
    if len(headings) < len(below) or not words.are_headings(headings):
        return None
    width = max(len(row) for row in below)
    body = [
        [row[column] if column < len(row) else row[left]._replace(text="", column=column) for row in below]
        for column in range(left + 1, width)
    ]
    body = [row for row in body if _filled(row)]
    return TableOfSheet(filled[:first], headings, body, across=True) if body else None

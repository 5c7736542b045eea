"""Finds the tables of a sheet: each row of headings with the lines above and the rows below it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from qc.ingest.cards.heading_lines import is_band, joined, led, under, widened
from qc.ingest.cards.headings import FIGURE, FIGURE_WORDS, NUMBER_WORDS, WHAT_WORDS, CardHeadings
from qc.ingest.cards.headlines import Cell, looks_like_serial
from qc.ingest.cards.laid import SAID_FIGURE
from qc.ingest.cards.recognition import plan_names, plan_units
from qc.ingest.cells import UNITS, known_field, plain
from qc.ingest.reading import Grid
from qc.plan import PLACE, Card, Plan

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
        self._figures: dict[str, bool] = {}
        named = (plan.models, plan.gauges, plan.tools)
        self._no_serials = {p.code for p in plan.people} | {one.id for many in named for one in many}
        self._prefix = plan.workshop.serial_prefix

    def is_serial(self, text: str) -> bool:
        """Tell whether a cell can be nothing in this plan but the serial of a piece."""
        return text.strip() not in self._no_serials and looks_like_serial(text.strip(), self._prefix)

    def is_figure(self, text: str) -> bool:
        """Tell whether a card reads a cell as a figure by its name, with or without places."""
        if text not in self._figures:
            found = (card.read(text) for card in self.cards)
            self._figures[text] = any(m is not None and m.figure and m.field != FIGURE for m in found)
        return self._figures[text]

    def span(self, text: str) -> list[str]:
        """Return a heading for each of several places that one heading names, or that all belong to it."""
        found = {tuple(card.several(text)) for card in self.cards} - {()}
        return list(next(iter(found))) if len(found) == 1 else []

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
        across = across_table(rows, words)
        return [across] if across else []
    if all(_only_numbers(rows[start], words) for start in starts):
        across = across_table(rows, words)  # a figure with small numbers beside it, not places
        if across is not None:
            return [across]
    ends = {(top, left): right for top, left, _, right in grid.boxes}
    tables = []
    head_from = 0
    for number, start in enumerate(starts):
        last = number + 1 == len(starts)
        end = len(rows) if last else _body_end(rows, start, starts[number + 1], words)
        body = [row for row in rows[start + 1 : end] if _filled(row)]
        if not body and not last:
            continue  # a line over the next one
        above = [index for index in range(head_from, start) if _filled(rows[index])]
        headings, used = _with_lines_above(rows, above, start, ends, words)
        headings, body = _with_lines_below(headings, start, ends, body, words)
        headings = widened(headings, body, words)
        tables.append(TableOfSheet([rows[index] for index in above[: len(above) - used]], headings, body))
        head_from = end
    return tables


def _with_lines_above(
    rows: list[list[Cell]], above: list[int], start: int, ends: dict[tuple[int, int], int], words: SheetWords
) -> tuple[list[Cell], int]:
    """Return the headings with what stands over them, and how many lines that takes."""
    headings, used = list(rows[start]), 0
    for index in reversed(above):
        band = rows[index]
        if _is_band(band, headings, words):
            headings = _banded(band, headings)
        elif is_band(band, words) or words.are_headings(band):
            both = joined(band, headings, words, _ends(index, ends))
            if both is None:
                break
            headings = both
        else:
            break
        used += 1
    return headings, used


def _with_lines_below(
    headings: list[Cell],
    start: int,
    ends: dict[tuple[int, int], int],
    body: list[list[Cell]],
    words: SheetWords,
) -> tuple[list[Cell], list[list[Cell]]]:
    """Return the headings with the units and places in the lines under them, and the rows that are left."""
    upper = _ends(start, ends)
    while len(body) > 1:
        if all(words.is_unit(cell.text) for cell in body[0] if cell.text.strip()):
            headings = _with_units(headings, body[0])
        elif under(headings, body[0], words):
            both = joined(headings, body[0], words, upper)
            if both is None:
                break
            headings = both
        else:
            break
        body, upper = body[1:], ()
    return headings, body


def _ends(row: int, ends: dict[tuple[int, int], int]) -> tuple[tuple[int, int], ...]:
    return tuple((left, right) for (top, left), right in ends.items() if top == row)


def _only_numbers(row: Sequence[Cell], words: SheetWords) -> bool:
    texts = [cell.text.strip() for cell in row if cell.text.strip()]
    return words.is_figure(texts[0]) and all(_is_figure(text) for text in texts[1:])


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


def across_table(rows: list[list[Cell]], words: SheetWords) -> TableOfSheet | None:
    """Turn a sheet with its headings in its first column: a column a piece becomes a row a piece.

    A second column of headings, of places or units, is read as a second line of headings is.
    """
    filled = [row for row in rows if _filled(row)]
    if not filled:
        return None
    left = min(next(i for i, cell in enumerate(row) if cell.text.strip()) for row in filled)
    first = _first_across(filled, left, words)
    if first is None:
        return None
    below = [_in_cells(row, left, words) for row in filled[first:]]
    width = max(len(row) for row in below)
    columns = [
        [row[n] if n < len(row) else row[-1]._replace(text="", column=n) for row in below]
        for n in range(left, width)
    ]
    headings, body = columns[0], [column for column in columns[1:] if _filled(column)]
    headings = _named_pieces(headings, body, words)
    while len(body) > 1 and under(headings, body[0], words):
        both = joined(headings, body[0], words)
        if both is None:
            break
        headings, body = both, body[1:]
    headings = led(headings, body, words)
    known = [words.is_label(cell.text) for cell in headings if cell.text.strip()]
    if not words.are_headings(headings) and not (known and all(known)):
        return None
    units = [n for n, row in enumerate(body) if _are_units(row, words)]
    if len(units) == 1 and len(body) > 1:
        headings = _with_units(headings, [c._replace(column=n) for n, c in enumerate(body.pop(units[0]))])
    return TableOfSheet(filled[:first], headings, body, across=True) if body else None


def _first_across(filled: list[list[Cell]], left: int, words: SheetWords) -> int | None:
    """Return the first line of a table written across; None where no line begins one."""
    serials = [n for n, row in enumerate(filled) if _are_pieces(row, left, words)]
    starts = [n for n, row in enumerate(filled) if len(row) > left and known_field(row[left].text) in STARTS]
    if serials or starts:
        return min([*serials, *starts])
    first = None
    for number in range(len(filled) - 1, -1, -1):
        cells = [cell.text for cell in _in_cells(filled[number], left, words) if cell.text.strip()]
        if len(cells) < 2 or not words.is_figure(cells[0]) or words.is_label(cells[1]):
            break
        first = number
    return first


def _are_pieces(row: Sequence[Cell], left: int, words: SheetWords) -> bool:
    """Tell whether a line names pieces, the first cell being empty or what stands below it."""
    texts = [cell.text for cell in row[left + 1 :] if cell.text.strip()]
    own = row[left].text.strip() if len(row) > left else ""
    says = not own or plain(own) in WHAT_WORDS or known_field(own) in PLACE or known_field(own) == "serial"
    return bool(texts) and says and all(words.is_serial(text) for text in texts)


def _named_pieces(headings: Sequence[Cell], body: Sequence[Sequence[Cell]], words: SheetWords) -> list[Cell]:
    """Write Serial before the line of pieces, where nothing else says which they are."""
    if any(known_field(cell.text) == "serial" for cell in headings):
        return list(headings)
    found = list(headings)
    for number, cell in enumerate(headings):
        under_it = [row[number].text for row in body if row[number].text.strip()]
        says = not cell.text.strip() or plain(cell.text) in WHAT_WORDS or known_field(cell.text) in PLACE
        if says and under_it and all(words.is_serial(text) for text in under_it):
            found[number] = cell._replace(text="Serial")
    return found


def _in_cells(row: list[Cell], left: int, words: SheetWords) -> list[Cell]:
    """Return a line with what one cell says in words, ``Throw: 72.9 deg``, as a label and its figure."""
    filled = [cell for cell in row if cell.text.strip()]
    found = SAID_FIGURE.match(filled[0].text.strip()) if len(filled) == 1 else None
    if found is None or row[left] is not filled[0] or not words.is_figure(found["label"].strip()):
        return row
    text = f"{found['figure']} {found['unit']}".strip()
    line = filled[0].line
    blank = [Cell("", line, n) for n in range(left)]
    return [*blank, filled[0]._replace(text=found["label"].strip()), Cell(text, line, left)]


def _are_units(row: Sequence[Cell], words: SheetWords) -> bool:
    texts = [cell.text for cell in row if cell.text.strip()]
    return bool(texts) and all(words.is_unit(text) for text in texts)

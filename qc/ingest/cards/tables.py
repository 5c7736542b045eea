"""Finds the tables of a sheet: each row of headings with the lines above and the rows below it."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from qc.ingest.cards.across import across_table, names_pieces
from qc.ingest.cards.heading_lines import (
    STARTS,
    TableOfSheet,
    corner_kinds,
    is_band,
    is_filled,
    joined,
    said_of_rows,
    turned,
    under,
    widened,
    with_units,
)
from qc.ingest.cards.headings import (
    FIGURE,
    FIGURE_WORDS,
    NUMBER_WORDS,
    PLACE_WORDS,
    SHORTEST,
    WHAT_WORDS,
    CardHeadings,
)
from qc.ingest.cards.headlines import Cell, looks_like_serial
from qc.ingest.cards.recognition import plan_names, plan_units
from qc.ingest.cells import KNOWN_NAMES, UNITS, known_field, plain
from qc.ingest.reading import Grid
from qc.plan import PLACE, Card, Plan


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

    def place_kind(self, text: str) -> str:
        """Return the one kind of place that a word names on all cards, empty where none or several."""
        kinds = {kind for card in self.cards if (kind := card.place_kind(text))}
        return next(iter(kinds)) if len(kinds) == 1 else ""

    def places_said(self, text: str) -> dict[str, str]:
        """Return the places that words name on all cards that know them, empty where none or they differ."""
        found = [said for card in self.cards if (said := card.places_said(text))]
        return found[0] if found and all(said == found[0] for said in found) else {}

    def place_named(self, text: str) -> str:
        """Return the kind of place that a word names by its name, also shortened: ``Pos``, ``Part.``."""
        if (kind := known_field(text)) in PLACE:
            return kind
        begun = plain(text)
        kinds = {kind for card in self.cards for places in card.places.values() for kind in places}
        fits = [k for k in kinds if any(name.startswith(begun) for name in KNOWN_NAMES[k])]
        return fits[0] if len(fits) == 1 and len(begun) >= SHORTEST and begun.isalpha() else ""

    def has_place(self, kind: str, text: str) -> bool:
        """Tell whether a card has a place of that kind and value."""
        value = plain(text).rstrip("°")
        return any(value in p.get(kind, ()) for card in self.cards for p in card.places.values())

    def names_places(self, text: str) -> bool:
        """Tell whether a card reads a cell as places alone: ``upper``, ``Upper leg``, ``flare 2``."""
        found = (card.read(text) for card in self.cards)
        return self.kind(text) == "place" or any(
            m is not None and m.field == FIGURE and m.places for m in found
        )

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
        if any(name in known for known in (WHAT_WORDS, PLACE_WORDS, FIGURE_WORDS, NUMBER_WORDS)):
            return True
        if name in self.names or name in self.bench or corner_kinds(text, self):
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
        mapped = bool(corner_kinds(texts[0], self))
        if len(texts) - len(numbers) < 2 and not (mapped or _counts_up(numbers)):
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
    found = [n for n, cells in enumerate(rows) if words.are_headings(cells) or _over_places(rows, n, words)]
    found = found or [index for index in range(len(rows) - 1) if _over_rows(rows, index, words)][:1]
    found = found or [index for index in range(len(rows) - 1) if _over_figures(rows, index)][:1]
    if not found:
        return []
    between = [
        any(is_filled(rows[row]) for row in range(a + 1, b)) for a, b in zip(found, found[1:], strict=False)
    ]
    return [index for index, rows_follow in zip(found, [*between, True], strict=True) if rows_follow]


def _over_rows(rows: list[list[Cell]], index: int, words: SheetWords) -> bool:
    """Tell whether a line of places stands over rows that each begin with a figure or a place beside them."""
    filled = [(cell.column, cell.text) for cell in rows[index] if cell.text.strip()]
    below = next((row for row in rows[index + 1 :] if is_filled(row)), [])
    first = next(((cell.column, cell.text) for cell in below if cell.text.strip()), None)
    if len(filled) < 2 or first is None or first[0] >= filled[0][0]:
        return False
    places = all(words.kind(text) == "place" and not _is_figure(text) for _, text in filled)
    return places and (words.is_figure(first[1]) or words.kind(first[1]) == "place")


def _over_places(rows: list[list[Cell]], index: int, words: SheetWords) -> bool:
    """Tell whether a line of places alone stands over rows of one place and figures: a table by its corner.

    ``Stocking; mouth; middle; crook`` over ``upper; 13.901; 13.902; 13.898``.
    """
    texts = [cell.text.strip() for cell in rows[index] if cell.text.strip()]
    if len(texts) < 2 or not all(text[:1].isalpha() for text in texts) or index + 1 == len(rows):
        return False
    below = [cell.text.strip() for cell in rows[index + 1] if cell.text.strip()]
    if len(below) < 2 or below[0][:1].isdigit() or not all(map(_is_figure, below[1:])):
        return False
    return all(map(words.names_places, [*texts, below[0]]))


def _over_figures(rows: list[list[Cell]], index: int) -> bool:
    """Tell whether a line begins with two headings any card may have, and holds names of figures behind them.

    Nobody knows these names, so they must be asked for: the line under them has a figure below each.
    """
    filled = [cell for cell in rows[index] if cell.text.strip()]
    known = [bool(known_field(cell.text)) for cell in filled]
    others = [cell for cell, is_known in zip(filled, known, strict=True) if not is_known]
    below = {cell.column: cell.text.strip() for cell in rows[index + 1]}
    if not all(known[:2]) or sum(known) < 2 or not others:
        return False
    named = all(any(sign.isalpha() for sign in cell.text) for cell in others)
    return named and all(_is_figure(below.get(cell.column, "")) for cell in others)


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
    turns = (_only_numbers(rows[n], words) and not _is_map(rows, n, words) for n in starts)
    if all(turn or names_pieces(rows[n], words) for turn, n in zip(turns, starts, strict=True)):
        across = across_table(rows, words)  # a figure with small numbers beside it, not places
        if across is not None:
            return [across]
    ends = {(top, left): right for top, left, _, right in grid.boxes}
    tables = []
    head_from = 0
    for number, start in enumerate(starts):
        last = number + 1 == len(starts)
        end = len(rows) if last else _body_end(rows, start, starts[number + 1], words)
        body = [row for row in rows[start + 1 : end] if is_filled(row)]
        if not body and not last:
            continue  # a line over the next one
        above = [index for index in range(head_from, start) if is_filled(rows[index])]
        headings, used = _with_lines_above(rows, above, start, ends, words)
        headings, body = _with_lines_below(headings, start, ends, body, words)
        headings = widened(turned(headings, body, words), body, words)
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
            headings = with_units(headings, body[0])
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
    return words.is_figure(texts[0]) and all(_is_figure(text) or words.is_unit(text) for text in texts[1:])


def _is_map(rows: list[list[Cell]], start: int, words: SheetWords) -> bool:
    """Tell whether numbers beside a figure are places: rows of one place and as many figures stand below."""
    row = next((row for row in rows[start + 1 :] if is_filled(row)), [])
    texts = [cell.text.strip() for cell in row if cell.text.strip()]
    over = sum(bool(cell.text.strip()) for cell in rows[start])
    placed = bool(texts) and words.names_places(texts[0]) and not words.is_figure(texts[0])
    return placed and len(texts) == over and all(map(_is_figure, texts[1:]))


def _body_end(rows: list[list[Cell]], start: int, following: int, words: SheetWords) -> int:
    """Return where the head of the next table begins."""
    for index in range(start + 1, following):
        first = next((cell.text for cell in rows[index] if cell.text.strip()), "")
        label = first.partition(":")[0]
        if known_field(label) in STARTS or plain(first) in words.titles:
            return index
    before = following - 1
    while before > start and not is_filled(rows[before]):
        before -= 1
    if before > start and said_of_rows(rows[before], words):
        return before
    band = before > start and is_band(rows[before], words)
    if band and (
        _is_band(rows[before], rows[following], words) or joined(rows[before], rows[following], words)
    ):
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

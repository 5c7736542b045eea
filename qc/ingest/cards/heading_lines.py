"""Headings in several lines: a figure or a leg once above its columns, places or units in a line below."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from qc.ingest.cards.headlines import Cell
from qc.ingest.cells import known_field, plain
from qc.plan import PLACE

_STROKE = re.compile(r"\s*[/\\|]\s*")

SHORT = 3
"""A word of so many letters may stand for a longer one that names a place; chosen."""

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


class HeadingWords(Protocol):
    """What is asked of the words of a plan about one cell."""

    def kind(self, text: str) -> str:
        """Return ``place``, ``label`` or nothing."""

    def is_figure(self, text: str) -> bool:
        """Tell whether a card reads the text as a named figure."""

    def place_kind(self, text: str) -> str:
        """Return the one kind of place that a word names."""

    def places_said(self, text: str) -> dict[str, str]:
        """Return the places that words name and nothing beside them."""

    def place_named(self, text: str) -> str:
        """Return the kind of place that a word names by its name, shortened or not."""

    def has_place(self, kind: str, text: str) -> bool:
        """Tell whether a card has a place of that kind and value."""

    def are_places(self, texts: Sequence[str]) -> bool:
        """Tell whether words are places of one kind on a card, each another one, short or not."""

    def names_places(self, text: str) -> bool:
        """Tell whether a card reads the text as places alone."""

    def is_unit(self, text: str) -> bool:
        """Tell whether the text is a unit and nothing else."""

    def is_label(self, text: str) -> bool:
        """Tell whether the text is a heading by itself."""

    def is_serial(self, text: str) -> bool:
        """Tell whether the text can be nothing but the serial of a piece."""

    def are_headings(self, cells: Sequence[Cell]) -> bool:
        """Tell whether a line is one of headings."""

    def span(self, text: str) -> list[str]:
        """Return a heading for each place that one heading names."""


def is_filled(row: Sequence[Cell]) -> bool:
    """Tell whether any cell of a line holds something."""
    return any(cell.text.strip() for cell in row)


class SaidPlaces(Protocol):
    """What is asked of the words of a card, or of all cards, about places that a line says."""

    def places_said(self, text: str) -> dict[str, str]:
        """Return the places that words name and nothing beside them."""


def said_of_rows(row: Sequence[Cell], words: SaidPlaces) -> dict[str, Cell]:
    """Return the places that a line by itself says of the rows below it: ``Upper leg``, ``Valve; F``."""
    filled = [cell for cell in row if cell.text.strip()]
    if not filled or len(filled) > 2 or (len(filled) == 2 and known_field(filled[0].text) not in PLACE):
        return {}
    said = words.places_said(" ".join(cell.text.strip().rstrip(":") for cell in filled))
    return {kind: filled[-1]._replace(text=value) for kind, value in said.items()}


def is_band(cells: Sequence[Cell], words: HeadingWords) -> bool:
    """Tell whether a line holds nothing but figures, places and units, which may stand over others."""
    texts = [cell.text for cell in cells if cell.text.strip()]
    return bool(texts) and all(_may_lead(text, words) or words.is_unit(text) for text in texts)


def joined(
    upper: Sequence[Cell], lower: Sequence[Cell], words: HeadingWords, ends: Collection[tuple[int, int]] = ()
) -> list[Cell] | None:
    """Read two lines as one line of headings, None where they are none together.

    Parameters
    ----------
    upper, lower : sequence of Cell
        The lines; what the upper one says of a figure or a place holds until its next cell.
    words : HeadingWords
        The words of the plan.
    ends : collection of (int, int)
        First and last column of cells that are drawn as one in the upper line: there what they say ends.

    Returns
    -------
    list of Cell or None
        The headings, of which one at least is put together of both lines.
    """
    last = dict(ends)
    leading, until = "", -1
    found: list[Cell] = []
    count = 0
    for column in range(max(len(upper), len(lower))):
        own = upper[column].text.strip() if column < len(upper) else ""
        below = lower[column].text.strip() if column < len(lower) else ""
        if own:
            leading = own if _may_lead(own, words) or words.place_named(own) else ""
            until = last.get(column, max(len(upper), len(lower)))
        if column > until:
            leading = ""
        cell = lower[column] if below else upper[column] if column < len(upper) else lower[column]
        text = below or own
        if below and (own or leading):
            if words.is_unit(below) and own:
                text = f"{own} [{below.strip('[]()')}]"
            elif both := _of_its_kind(leading, below, words):
                text = both
                count += 1
            elif (both := together(leading, below, words)) and not _stands_alone(below, words):
                text = both
                count += 1
            elif own and own != leading:
                if not known_field(f"{own} {below}"):
                    return None
                text = f"{own} {below}"
            elif own and not known_field(below):
                return None
        found.append(cell._replace(text=text))
    return found if count else None


def under(upper: Sequence[Cell], lower: Sequence[Cell], words: HeadingWords) -> bool:
    """Tell whether a line below headings is a line of headings too: places, where the upper one is empty."""
    filled = [(n, cell.text) for n, cell in enumerate(lower) if cell.text.strip()]
    open_below = 0
    for column, text in filled:
        own = upper[column].text.strip() if column < len(upper) else ""
        if not (_may_lead(text, words) or words.is_unit(text)):
            return False
        named = bool(own) and column > filled[0][0] - 1 and bool(_of_its_kind(own, text, words))
        if own and not (_may_lead(own, words) or words.is_unit(text) or (named and filled[0][0] > 0)):
            return False  # a row: it has something under Serial, Date or Station
        open_below += not own
    return bool(open_below)


def _of_its_kind(upper: str, lower: str, words: HeadingWords) -> str:
    """Join a number with the name of its kind above it, or with a place of another kind; else empty."""
    if not upper or not lower.strip("°").isdigit():
        return ""
    kind = words.place_named(upper)
    if kind and words.has_place(kind, lower):
        return f"{upper} {lower}"
    placed = words.kind(upper) == "place" and words.kind(lower) == "place" and upper[:1].isalpha()
    return f"{upper} {lower}" if placed and not words.kind(f"{upper} {lower}") else ""


def widened(headings: Sequence[Cell], body: Sequence[Sequence[Cell]], words: HeadingWords) -> list[Cell]:
    """Write over each of several columns what one heading says of them all: ``Wall 1-4`` over four.

    Only where the columns that follow without a heading are as many as the places that it names or, if it
    names none, as many as the plan has.
    """
    found = list(headings)
    for column, cell in enumerate(headings):
        if not cell.text.strip():
            continue
        follow = next(
            (n for n in range(column + 1, len(headings)) if headings[n].text.strip()), len(headings)
        )
        filled = [n for n in range(column, _width(headings, body)) if n < follow or follow == len(headings)]
        filled = [n for n in filled if n == column or any(n < len(r) and r[n].text.strip() for r in body)]
        named = words.span(cell.text.strip()) if len(filled) > 1 else []
        if len(named) == len(filled) and filled == list(range(column, column + len(named))):
            found += [cell._replace(text="", column=n) for n in range(len(found), column + len(named))]
            for n, text in zip(filled, named, strict=True):
                found[n] = found[n]._replace(text=text)
    return found


def with_units(headings: Sequence[Cell], units: Sequence[Cell]) -> list[Cell]:
    """Write units that stand in a line of their own behind the headings above them."""
    found = list(headings)
    for cell in units:
        if cell.text.strip() and cell.column < len(found):
            said = found[cell.column].text.strip()
            found[cell.column] = found[cell.column]._replace(
                text=f"{said} [{cell.text.strip().strip('[]()')}]"
            )
    return found


def turned(headings: Sequence[Cell], body: Sequence[Sequence[Cell]], words: HeadingWords) -> list[Cell]:
    """Write what the corner of a table says before the places beside it, and leave the corner to its rows.

    ``Partial; 2; 3; 4`` over rows that begin with ``open`` and ``F``: the numbers are the partials. ``Outer
    bore; mouth; crook`` over ``upper`` and ``lower``: the figure is the bore. ``Pos / Part.; 2; 3`` over
    numbers: the rows are what stands before the stroke, unless only the other way round is possible.
    """
    corner = headings[0].text.strip() if headings else ""
    beside = [cell.text.strip() for cell in headings[1:] if cell.text.strip()]
    firsts = [row[0].text.strip() for row in body if row and row[0].text.strip()]
    if not corner or not beside or not firsts:
        return list(headings)
    rows, leading = _corner(corner, beside, firsts, words)
    if not leading:
        return list(headings)
    numbers = known_field(leading) in PLACE
    found = []
    for cell in headings[1:]:
        text = cell.text.strip()
        if numbers and text.isdigit():
            text = f"{leading} {text}"
        elif text and not numbers:
            text = together(leading, text, words)
            if not text:
                return list(headings)
        found.append(cell._replace(text=text or cell.text))
    changed = [headings[0]._replace(text=rows), *found]
    return changed if found != list(headings[1:]) else list(headings)


def corner_kinds(text: str, words: HeadingWords) -> tuple[str, str] | None:
    """Return the two kinds of place that a corner names with a stroke between, None where it names none."""
    parts = [words.place_named(part) for part in _STROKE.split(text)]
    return (parts[0], parts[1]) if len(parts) == 2 and all(parts) and parts[0] != parts[1] else None


def _corner(
    corner: str, beside: Sequence[str], firsts: Sequence[str], words: HeadingWords
) -> tuple[str, str]:
    """Return what a corner says of the rows below it and of the columns beside it; empty where nothing."""
    if parts := corner_kinds(corner, words):
        for rows, columns in (parts, parts[::-1]):
            if all(words.has_place(rows, t) for t in firsts) and all(
                words.has_place(columns, t) for t in beside
            ):
                return rows, columns
        return "", ""
    kind = known_field(corner)
    named = {words.place_kind(text) for text in firsts}
    if kind in PLACE and named and not named & {kind, ""}:
        return "", kind
    speaks = words.is_figure(corner) or words.names_places(corner)
    both = [*beside, *firsts]
    if speaks and "" not in named and all(words.names_places(t) and not t[:1].isdigit() for t in both):
        return "", corner
    return "", ""


def led(headings: Sequence[Cell], body: Sequence[Sequence[Cell]], words: HeadingWords) -> list[Cell]:
    """Put a figure that stands alone, with nothing under it, before the places that follow it."""
    leading, found = "", []
    for column, cell in enumerate(headings):
        text = cell.text.strip()
        empty = all(column >= len(row) or not row[column].text.strip() for row in body)
        both = together(leading, text, words) if text and leading and not known_field(text) else ""
        if text and empty and words.kind(text) == "label" and _may_lead(text, words):
            leading = text
            text = ""
        elif both and words.kind(text) == "place":
            text = both
        elif text:
            leading = ""
        found.append(cell._replace(text=text))
    return found


def _width(headings: Sequence[Cell], body: Sequence[Sequence[Cell]]) -> int:
    return max(len(headings), *(len(row) for row in body)) if body else len(headings)


def _stands_alone(text: str, words: HeadingWords) -> bool:
    """Tell whether a heading is the piece, the day, a kind of place: nothing that a figure is put before."""
    return bool(known_field(text)) and not words.is_figure(text)


def _may_lead(text: str, words: HeadingWords) -> bool:
    """Tell whether a cell may speak for the columns beside it: a place, or a figure by its name."""
    if not text.strip() or plain(text) in {"", "-"}:
        return False
    if len(text) <= SHORT and text.isalpha() and not known_field(text) and words.are_places([text]):
        return True  # U and L under a figure
    return words.names_places(text) or words.is_figure(text)


def together(upper: str, lower: str, words: HeadingWords) -> str:
    """Return two headings as one that a card reads as a figure, empty where none does."""
    if not upper:
        return ""
    for text in (f"{upper} {lower}", f"{lower} {upper}"):
        if words.is_figure(text) or (words.kind(upper) == words.kind(lower) == "place" and words.kind(text)):
            return text
    return ""

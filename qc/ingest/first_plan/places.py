"""Columns that say where on a piece was measured, known by their cells: ``End`` over front and back."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import replace

from qc.ingest.cards import AREAS, LEGS, NUMBER_WORDS, STATIONS
from qc.ingest.cells import heading, plain
from qc.ingest.first_plan.shapes import holds_figures, is_read
from qc.ingest.reading import Grid

ENDS = ("front", "back", "entry", "throat", "vorn", "vorne", "hinten", "eingang")

KINDS: tuple[tuple[str, frozenset[str]], ...] = (
    ("leg", frozenset(LEGS)),
    ("area", frozenset(AREAS)),
    ("station", frozenset((*STATIONS, *ENDS))),
)
"""Kind of place -> the words benches have for it."""

OPEN_KINDS = ("station", "area", "leg")
"""Kinds that take the words of a shop, in this order, where nobody else knows the words; chosen."""

MOST_PLACES = 12
"""A column with more different words than this tells no places; chosen: stations of a bell."""

_VALVE = re.compile(r"^(?:open|[A-Z][a-z]?)$")

Columns = Sequence[tuple[str, list[str]]]


def kind_of(words: Sequence[str]) -> str:
    """Return the kind of place that most words name, ``spot`` for numbers alone, empty where none is named.

    Examples
    --------
    >>> kind_of(["front", "back"]), kind_of(["1", "2"]), kind_of(["flare", "stem", "own"]), kind_of(["warm"])
    ('station', 'spot', 'area', '')
    """
    if words and all(word.isdigit() for word in words):
        return "spot"
    # most of them tell the kind: a shop has places of its own among the usual ones
    return next((k for k, names in KINDS if 2 * sum(w in names for w in words) > len(words)), "")


def places_taken(kind: str, words: Sequence[str]) -> tuple[str, ...]:
    """Return what a plan takes for places of a kind, each once: spots are numbers, valves are letters.

    Examples
    --------
    >>> places_taken("spot", ["1", "2", "Serial", "1"]), places_taken("station", ["mouth", "Mouth", "crook"])
    (('1', '2'), ('mouth', 'crook'))
    """
    once = {plain(word): word for word in reversed([word for word in words if word])}
    kept = tuple(dict.fromkeys(once[plain(word)] for word in words if word))
    if kind in {"spot", "position", "partial", "repeat"}:
        return tuple(word for word in kept if word.isdigit())
    return tuple(word for word in kept if _VALVE.match(word)) if kind == "valve" else kept


def places_by_cells(columns: Columns, known: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Return the places of columns whose headings say nothing: by kind, in the order they were met.

    Parameters
    ----------
    columns : sequence of (str, list of str)
        Each heading with its cells.
    known : sequence of str
        Kinds of places that other columns of the sheet name.

    Returns
    -------
    dict
        Of a column whose cells are words for places; and of one whose words differ on all lines of a piece,
        so that they tell its lines apart.
    """
    found: dict[str, tuple[str, ...]] = {}
    unknown = [(label, cells) for label, cells in columns if not heading(label).field and any(cells)]
    worded = [(label, cells) for label, cells in unknown if _are_words([text for text in cells if text])]
    numbers = [cells for label, cells in unknown if plain(label) in NUMBER_WORDS]
    counted = [cells for cells in numbers if all(text.isdigit() for text in cells if text)]
    serials = filled_down(next((cells for label, cells in columns if heading(label).field == "serial"), []))
    for _, cells in worded:
        different = tuple(dict.fromkeys(text for text in cells if text))
        taken = {*known, *found}
        kind = kind_of([plain(word) for word in different])
        if not kind and any(_tell_apart(serials, cells, more) for more in ([], *counted)):
            kind = next((one for one in OPEN_KINDS if one not in taken), "")
        if kind and kind not in taken:
            found[kind] = different
    for cells in counted:
        different = tuple(dict.fromkeys(text for text in cells if text))
        rest = [other for _, other in worded]
        numbered = 2 <= len(different) <= MOST_PLACES and any(
            _tell_apart(serials, cells, more) for more in ([], *rest)
        )
        if numbered and "spot" not in {*known, *found}:
            found["spot"] = different
    return found


def _are_words(texts: Sequence[str]) -> bool:
    """Tell whether a column holds a few different words, and neither figures nor good and faulty."""
    few = 2 <= len(set(texts)) <= MOST_PLACES and all(text[0].isalpha() for text in texts)
    return few and not holds_figures(texts) and not is_read(texts)


def _tell_apart(serials: Sequence[str], cells: Sequence[str], more: Sequence[str]) -> bool:
    """Tell whether the cells, with those of one more column, differ on all lines of a piece with several."""
    beside = more or [""] * len(cells)
    lines = [
        (serial, plain(text), plain(other))
        for serial, text, other in zip(serials, cells, beside, strict=False)
        if serial and text
    ]
    return len(set(lines)) == len(lines) > len({serial for serial, *_ in lines}) > 0


def filled_down(cells: Sequence[str]) -> list[str]:
    """Return cells with what stands above an empty one."""
    filled: list[str] = []
    for text in cells:
        filled.append(text or (filled[-1] if filled else ""))
    return filled


def unit_line_joined(grid: Grid, units: Collection[str]) -> Grid:
    """Return a sheet with a line of nothing but units put behind the headings above it.

    Parameters
    ----------
    grid : Grid
        The sheet as read.
    units : collection of str
        What is a unit, in lower case.
    """
    for row in range(1, len(grid.rows)):
        typed = [text.strip() for text in grid.rows[row]]
        filled = [text for text in typed if text and text != "-"]
        above = grid.rows[row - 1]
        headed = [
            n for n, text in enumerate(typed[: len(above)]) if text and text != "-" and above[n].strip()
        ]
        if not filled or len(headed) < len(filled) or not all(_is_unit(text, units) for text in filled):
            continue
        joined = [
            f"{text} [{typed[n].strip('[]()')}]" if n in headed else text for n, text in enumerate(above)
        ]
        rows = (*grid.rows[: row - 1], tuple(joined), *grid.rows[row + 1 :])
        return replace(grid, rows=rows, lines=(*grid.lines[:row], *grid.lines[row + 1 :]))
    return grid


def _is_unit(text: str, units: Collection[str]) -> bool:
    """Tell whether a cell is a unit: a usual one, or a short word in square brackets."""
    return plain(text.strip("[]()")) in units or bool(re.fullmatch(r"\[[^\W\d_]{1,4}\]", text))

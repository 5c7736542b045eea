"""A map of places: what its corner, the places beside it and the places across say together."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from qc.ingest.cells import known_field, plain
from qc.ingest.shapes.phrases import Spelled

_ORDINAL = re.compile(r"^(\d+)(?:st|nd|rd|th)$")
MOST_LETTERS = 12  # a longer word is no short one for a place; chosen


class MapWords(Protocol):
    """What is asked of the words of a card about a map."""

    @property
    def places(self) -> Mapping[str, Spelled]:
        """Field of a figure -> its places."""


@dataclass(frozen=True, slots=True)
class MapReading:
    """How a map is read: the kind of its rows and of its columns, each column's place, the figure.

    `rows` is ``serial`` where each row is a piece, empty where the rows say it themselves.
    """

    rows: str
    columns: str
    values: Mapping[int, str]
    figure: str


def place_values(text: str, places: Spelled) -> dict[str, str]:
    """Return what a word may be as a place, by kind, short or with the name of its kind before it.

    Examples
    --------
    >>> places = {"partial": {"2": "2"}, "position": {"2": "2"}, "station": {"mouth": "mouth"}}
    >>> place_values("2", places), place_values("Part. 2", places), place_values("mth", places)
    ({'partial': '2', 'position': '2'}, {'partial': '2'}, {})
    """
    value = _ORDINAL.sub(r"\1", plain(text).rstrip("°").removesuffix(" deg").strip())
    found = {kind: spelled[value] for kind, spelled in places.items() if value in spelled}
    if found or not value or len(value) > MOST_LETTERS:
        return found
    words = value.split()
    for at in (0, -1):  # upper leg, leg upper
        named = known_field(words[at]) if len(words) == 2 else ""
        if named in places and words[-1 - at] in places[named]:
            return {named: places[named][words[-1 - at]]}
    letters = value.rstrip("0123456789")
    number, begun = value[len(letters) :], letters.strip(" .-#")
    if number and begun.isalpha():
        return {k: s[number] for k, s in places.items() if k.startswith(begun) and number in s}
    if not begun.isalpha() or number:
        return {}
    fits = {kind: [one for name, one in s.items() if name.startswith(begun)] for kind, s in places.items()}
    return {kind: ones[0] for kind, ones in fits.items() if len(ones) == 1}


def crossings(
    across: Mapping[int, str],
    firsts: Sequence[str],
    words: MapWords,
    figures: Collection[str],
    given: Collection[str],
    said: frozenset[str],
    pieces: bool,
) -> list[MapReading]:
    """Return every way to read a map.

    Parameters
    ----------
    across : mapping
        Number of a column -> the word over it that may be a place.
    firsts : sequence of str
        What each row begins with.
    words : MapWords
        The words of the card.
    figures : collection of str
        Fields of the figures that it may be of.
    given : collection of str
        Kinds of place that the sheet says elsewhere.
    said : frozenset of str
        Kinds of place that its corner names.
    pieces : bool
        Whether each row begins with a piece or with nothing, and not with a place.

    Returns
    -------
    list of MapReading
        Of two ways nobody can tell which is meant.
    """
    found: dict[tuple[str, str], MapReading] = {}
    for figure in figures:
        places = words.places.get(figure, {})
        columns = _shared([place_values(text, places) for text in across.values()])
        rows = {"serial"} if pieces else _shared([place_values(text, places) for text in firsts])
        for row in sorted(rows):
            for column in sorted(columns - {row} - set(given)):
                named = said & {row, column}
                if row in given or len(named) < len(said):
                    continue
                values = {n: place_values(text, places)[column] for n, text in across.items()}
                if len(set(values.values())) < len(values):
                    continue
                one = MapReading("" if row == "serial" and not firsts else row, column, values, figure)
                before = found.get((row, column))
                found[row, column] = one if before is None else MapReading(row, column, values, "")
    if said and len(said) == 1:  # the corner stands over its rows, unless these are of another kind
        over = [one for (row, _), one in found.items() if row in said]
        return over or list(found.values())
    return list(found.values())


def _shared(values: Sequence[Mapping[str, str]]) -> set[str]:
    return set.intersection(*(set(one) for one in values)) if values else set()

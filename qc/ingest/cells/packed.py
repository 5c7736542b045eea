"""Several figures in one cell, as on a paper card with one box: ``119/121/118`` at three spots in order."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping

from qc.ingest.cells.names import known_field
from qc.ingest.cells.numbers import read_decimal

_PARTED = re.compile(r"\s*[/;|]\s*|\s+-\s+|\s{2,}|\s*,\s+|\s+")


def packed_figures(text: str) -> list[str]:
    """Return the figures of a cell that holds several of them, empty where it holds one or none.

    Examples
    --------
    >>> packed_figures("119/121/118"), packed_figures("12,1; 12,3"), packed_figures("0.5 mm")
    (['119', '121', '118'], ['12,1', '12,3'], [])
    """
    parts = [part for part in _PARTED.split(text.strip()) if part]
    if len(parts) < 2 or any(read_decimal(part.replace(",", ".")) is None for part in parts):
        return []
    return parts


def in_order(
    figures: Collection[str], places: Mapping[str, Mapping[str, str]], given: Collection[str]
) -> list[tuple[str, str]]:
    """Return the place of each figure, empty where the plan does not say in which order they are read.

    Parameters
    ----------
    figures : collection of str
        The figures of the cell.
    places : mapping
        Name of a place -> its values as the plan spells them, in the order of the plan.
    given : collection of str
        Places that the sheet says elsewhere.
    """
    names = [name for name in places if name not in given]
    if len(names) != 1:
        return []
    values = list(places[names[0]].values())
    return [(names[0], value) for value in values] if len(values) == len(figures) else []


_RANGE = re.compile(r"^(?P<first>\S+?)\s*(?:-|–|…|\.{2,3}|\bto\b|\bbis\b)\s*(?P<last>\S+)$")
_COUNTED = re.compile(r"^(?P<n>\d{1,2})\s+(?P<kind>[^\W\d]+)$")
_LISTED = re.compile(r"\s*[/,;&|+]\s*|\s+and\s+|\s+und\s+")


def spanned(
    text: str, places: Mapping[str, Mapping[str, str]], named: str = ""
) -> tuple[tuple[str, str], ...]:
    """Return the places of one kind that a text names several of, in its order; empty where it does not.

    Parameters
    ----------
    text : str
        What stands behind the figure in a heading, in plain form.
    places : mapping
        Kind of place -> its values in plain form, in the order of the plan -> as the plan spells them.
    named : str
        The kind of place that the heading says, empty where it says none.

    Examples
    --------
    >>> spanned("1-3", {"spot": {"1": "1", "2": "2", "3": "3"}})
    (('spot', '1'), ('spot', '2'), ('spot', '3'))
    >>> spanned("end/entry", {"station": {"entry": "Entry", "end": "End"}})
    (('station', 'End'), ('station', 'Entry'))
    """
    found = []
    count = _COUNTED.match(text)
    if count:  # 4 spots
        kind = known_field(count["kind"].removesuffix("s"))
        every = tuple((kind, spelled) for spelled in places.get(kind, {}).values())
        return every if len(every) == int(count["n"]) else ()
    ends = _RANGE.match(text)
    parts = [part for part in _LISTED.split(text) if part]
    for kind, spelled in places.items():
        if named and kind != named:
            continue
        if ends and ends["first"] in spelled and ends["last"] in spelled:
            values = list(spelled)
            one, two = values.index(ends["first"]), values.index(ends["last"])
            if one < two:
                found.append(tuple((kind, spelled[value]) for value in values[one : two + 1]))
        elif len(parts) > 1 and len(set(parts)) == len(parts) and all(part in spelled for part in parts):
            found.append(tuple((kind, spelled[part]) for part in parts))
    return found[0] if len(found) == 1 else ()

"""The places of a piece laid out in rows and columns: tubes by leg, notes by partial, spots by area."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from qc.intervals import stepped_words
from qc.jobs.whole_piece.figures import FigureOfPiece
from qc.jobs.whole_piece.places import PlaceFigure
from qc.words import figure_words, plain_words

DEEPEST = 0.42
"""Share of colour of a place on its limit; chosen: the figure on it keeps its contrast."""


@dataclass(frozen=True, slots=True)
class MapCell:
    """One place: its figure as text, whether it is outside, its depth of colour, and all of it in words."""

    text: str
    out: bool
    depth: float
    told: str


@dataclass(frozen=True, slots=True)
class PlaceMap:
    """Places in rows and columns; None where there is no figure."""

    columns: tuple[str, ...]
    rows: tuple[str, ...]
    cells: tuple[tuple[MapCell | None, ...], ...]


def grid_of(one: FigureOfPiece) -> PlaceMap:
    """Lay out the places of a figure: notes by partial, spots by area, tubes by leg, bells by station."""
    every = dict.fromkeys(name for place in one.places for name in place.at)
    names = [name for name in every if len({place.at.get(name, "") for place in one.places}) > 1]
    down = _down(names)
    across = [name for name in names if name not in down]
    rows = list(dict.fromkeys(_key(place, down) for place in one.places))
    columns = list(dict.fromkeys(_key(place, across) for place in one.places))
    if "partial" in down:
        rows.sort(key=_natural)
        columns.sort(key=lambda key: (key[0], _natural(key)))
    found = {(_key(place, down), _key(place, across)): place for place in one.places}
    depths = _depths(one)
    cells = tuple(tuple(_cell(found.get((row, column)), one, depths) for column in columns) for row in rows)
    top, side = (
        tuple(_said(names, key) for key in keys) for names, keys in ((across, columns), (down, rows))
    )
    return PlaceMap(top, tuple(name or one.name for name in side), cells)


def _down(names: Sequence[str]) -> list[str]:
    for wanted in (["partial"], ["area"], ["leg", "surface"]):
        if wanted[0] in names and len(names) > 1:
            return [name for name in wanted if name in names]
    return list(names[:1]) if len(names) > 1 else []


def _key(place: PlaceFigure, names: Sequence[str]) -> tuple[str, ...]:
    return tuple(place.at.get(name, "") for name in names)


def _natural(key: Sequence[str]) -> tuple[tuple[bool, int, str], ...]:
    return tuple((not one.isdecimal(), int(one) if one.isdecimal() else 0, one) for one in key)


def _said(names: Sequence[str], key: Sequence[str]) -> str:
    """Name a row or column: a bare number says its kind, a word stands for itself."""
    said = []
    for name, value in zip(names, key, strict=True):
        if name == "direction" and value:
            said.append(f"{value}°")
        elif value.isdecimal() or name == "valve":
            said.append(f"{name} {value}".strip())
        else:
            said.append(value)
    return ", ".join(filter(None, said))


def _depths(one: FigureOfPiece) -> dict[str, float]:
    """Return how near each place is to its limit, 0 in the middle and 1 on it; else how far from the mean."""
    values = [place.value for place in one.places]
    mean = fmean(values)
    most = max((abs(value - mean) for value in values), default=0.0) or 1.0
    found = {}
    for place in one.places:
        low, high = place.lower, place.upper
        if low is not None and high is not None and high > low:
            share = abs(place.value - (low + high) / 2) / ((high - low) / 2)
        elif low is not None or high is not None:
            limit = low if low is not None else high
            room = place.value - limit if low is not None else limit - place.value  # type: ignore[operator]
            share = 1 - room / (abs(limit) or 1.0)  # type: ignore[arg-type]
        else:
            share = abs(place.value - mean) / most / 2
        found[place.place] = min(max(share, 0.0), 1.0)
    return found


def _cell(place: PlaceFigure | None, one: FigureOfPiece, depths: dict[str, float]) -> MapCell | None:
    if place is None:
        return None
    limits = [plain_words(edge) for edge in (place.lower, place.upper) if edge is not None]
    text = figure_words(f"{place.value:.5g}") if one.step is None else stepped_words(place.value, one.step)
    told = f"{place.place}: {text}, limits {' and '.join(limits) or 'none'}"
    return MapCell(text, place.inside is False, DEEPEST * depths[place.place] ** 2, told)

"""The places of a piece laid out: a grid of its figures, and lines along each leg between the limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from dashboard.drawing import Node, node, svg
from qc.jobs.board import FigureOfPiece, PlaceFigure

WIDTH, HEIGHT = 520, 190
"""Size of the drawing along the legs [px]."""

LEFT, RIGHT, TOP, BOTTOM = 54, 96, 14, 30
DEEPEST = 0.42
"""Share of colour of a place on its limit; chosen: the figure on it keeps its contrast."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One place: its figure as text, whether it is outside, its depth of colour, and all of it in words."""

    text: str
    out: bool
    depth: float
    told: str


@dataclass(frozen=True, slots=True)
class Grid:
    """Places in rows and columns; None where there is no figure."""

    columns: tuple[str, ...]
    rows: tuple[str, ...]
    cells: tuple[tuple[Cell | None, ...], ...]


def grid_of(one: FigureOfPiece) -> Grid:
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
    return Grid(top, tuple(name or one.name for name in side), cells)


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


def _cell(place: PlaceFigure | None, one: FigureOfPiece, depths: dict[str, float]) -> Cell | None:
    if place is None:
        return None
    limits = [f"{edge:g}" for edge in (place.lower, place.upper) if edge is not None]
    told = f"{place.place}: {place.value:.5g}, limits {' and '.join(limits) or 'none'}"
    text = f"{place.value:.5g}".replace("-", "−")
    return Cell(text, place.inside is False, DEEPEST * depths[place.place] ** 2, told)


def draw_along(one: FigureOfPiece) -> Node | None:
    """Draw a figure along each leg between its limits; None of what has no legs with several stations."""
    legs: dict[str, dict[str, list[float]]] = {}
    stations: list[str] = []
    for place in one.places:
        leg, station = place.at.get("leg"), place.at.get("station")
        if leg and station and place.at.get("surface", "stocking") == "stocking":
            legs.setdefault(leg, {}).setdefault(station, []).append(place.value)
            stations += [station] if station not in stations else []
    edges = [edge for edge in (one.lower, one.upper) if edge is not None]
    if not legs or len(stations) < 2 or len(edges) < 2:
        return None
    means = {leg: [fmean(own[at]) if at in own else None for at in stations] for leg, own in legs.items()}
    values = [v for own in means.values() for v in own if v is not None] + edges
    low, high = min(values), max(values)
    room = (high - low) * 0.12 or 1.0
    low, high = low - room, high + room

    def x(index: int) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * index / (len(stations) - 1)

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (high - value) / (high - low)

    soft = {"fill": "var(--soft)", "font-size": 13}
    children: list[Node] = []
    for edge in edges:
        line = {"x1": LEFT, "x2": WIDTH - RIGHT, "y1": y(edge), "y2": y(edge)}
        children.append(node("line", {**line, "stroke": "var(--soft)", "stroke-dasharray": "5 4"}))
        children.append(
            node("text", {"x": LEFT - 6, "y": y(edge) + 4, "text-anchor": "end", **soft}, [f"{edge:g}"])
        )
    for index, station in enumerate(stations):
        at = {"x": x(index), "y": HEIGHT - 8, "text-anchor": "middle", **soft}
        children.append(node("text", at, [station]))
    ends: list[float] = []
    for number, (leg, own) in enumerate(means.items()):
        colour = ("var(--brass)", "var(--steady)", "var(--mark)")[number % 3]
        points = [(x(i), y(value)) for i, value in enumerate(own) if value is not None]
        path = " ".join(f"{px:.1f},{py:.1f}" for px, py in points)
        dashes = {} if number % 2 == 0 else {"stroke-dasharray": "7 4"}
        children.append(
            node("polyline", {"points": path, "fill": "none", "stroke": colour, "stroke-width": 2, **dashes})
        )
        children += [node("circle", {"cx": px, "cy": py, "r": 4, "fill": colour}) for px, py in points]
        end = points[-1][1]
        while any(abs(end - other) < 15 for other in ends):
            end += 15
        ends.append(end)
        at = {"x": points[-1][0] + 10, "y": end + 4, "fill": "var(--ink)", "font-size": 13}
        children.append(node("text", at, [f"{leg} leg"]))
    return svg(WIDTH, HEIGHT, children, **{"class": "along"})

"""The picture of the place that is being measured, drawn from the places that the plan lists.

Each mark carries its place as ``data-at``; the script of the bench marks those of the figure in hand. Nothing
is drawn that the plan does not say: tubes have the stations of the plan in its order, no more.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from dashboard.drawing import Node, node, svg
from qc.jobs.bench import BenchCard

WIDTH: Final = 400
"""Width of the picture [px]."""

MOST_ACROSS: Final = 12  # chosen: so many marks of a row can be told apart on a phone
TEXT: Final = {"fill": "var(--soft)", "font-size": 13}

Values = Mapping[str, Sequence[str]]


def draw_places(card: BenchCard) -> Node | None:
    """Draw the places of a card; None where its figures have none."""
    values: dict[str, list[str]] = {}
    for one in card.fields:
        for name, value in one.at.items():
            if value not in values.setdefault(name, []):
                values[name].append(value)
    parts: list[Node] = []
    top = 8.0
    for draw in (_tubes, _areas, _valves, _slide, _partials, _round, _surface):
        nodes, high = draw(values, top)
        parts += nodes
        top += high
    return svg(WIDTH, top + 4, parts, **{"class": "places"}) if parts else None


def _mark(tag: str, at: Mapping[str, str], **attributes: object) -> Node:
    told = ";".join(f"{name}={value}" for name, value in at.items())
    return node(tag, {**attributes, "class": "mark", "data-at": told})


def _text(x: float, y: float, text: str, anchor: str = "middle") -> Node:
    return node("text", {"x": x, "y": y, "text-anchor": anchor, **TEXT}, [text])


def _spread(count: int, left: float, right: float) -> list[float]:
    if count == 1:
        return [(left + right) / 2]
    return [left + (right - left) * index / (count - 1) for index in range(count)]


def _tubes(values: Values, top: float) -> tuple[list[Node], float]:
    """Draw a tube a leg with a ring a station; two legs are joined at their far end, as a slide is."""
    stations, legs = values.get("station", []), values.get("leg", [])
    if not stations and not legs:
        return [], 0.0
    left, right, step = 84.0, WIDTH - 60.0, 58.0
    across = _spread(max(len(stations), 1), left + 26, right - 22)
    parts: list[Node] = []
    rows = [top + 22 + step * index for index in range(max(len(legs), 1))]
    if len(legs) == 2 and stations:
        bow = f"M{right} {rows[0]} A{step / 2} {step / 2} 0 0 1 {right} {rows[1]}"
        parts.append(
            node("path", {"d": bow, "fill": "none", "stroke": "var(--brass-soft)", "stroke-width": 16})
        )
    for row, y in enumerate(rows):
        leg = {"leg": legs[row]} if legs else {}
        tube = {"x": left, "y": y - 8, "width": right - left, "height": 16, "fill": "var(--brass-soft)"}
        parts.append(node("rect", tube))
        if leg:
            parts.append(_text(left - 12, y + 4, f"{legs[row]} leg", "end"))
        for station, x in zip(stations, across, strict=False):
            ring = {"cx": x, "cy": y, "rx": 7, "ry": 15}
            parts.append(_mark("ellipse", {**leg, "station": station}, **ring))
        if not stations:
            parts.append(_mark("ellipse", leg, cx=(left + right) / 2, cy=y, rx=7, ry=15))
    below = rows[-1] + 34
    parts += [_text(x, below, name) for name, x in zip(stations, across, strict=False)]
    return parts, below - top + 12


def _areas(values: Values, top: float) -> tuple[list[Node], float]:
    """Draw a block for each area with a dot for each spot."""
    areas, spots = values.get("area", []), values.get("spot", [])
    if not areas and not spots:
        return [], 0.0
    parts: list[Node] = []
    for row, area in enumerate(areas or [""]):
        y = top + 6 + row * 52
        block = {"x": 84, "y": y, "width": WIDTH - 92, "height": 40, "rx": 10, "fill": "var(--brass-soft)"}
        parts += [node("rect", block), _text(72, y + 25, area, "end")]
        own = {"area": area} if area else {}
        for spot, x in zip(spots or [""], _spread(max(len(spots), 1), 116, WIDTH - 40), strict=False):
            at = {**own, **({"spot": spot} if spot else {})}
            parts.append(_mark("circle", at, cx=x, cy=y + 20, r=12))
            parts.append(node("text", {"x": x, "y": y + 25, "text-anchor": "middle", **TEXT}, [spot]))
    return parts, 6 + 52.0 * len(areas or [""])


def _valves(values: Values, top: float) -> tuple[list[Node], float]:
    states = values.get("valve", [])
    if not states:
        return [], 0.0
    parts: list[Node] = [_text(72, top + 27, "valve", "end")]
    for state, x in zip(states, _spread(len(states), 120, WIDTH - 50), strict=True):
        parts.append(_mark("circle", {"valve": state}, cx=x, cy=top + 22, r=20))
        parts.append(_text(x, top + 27, state))
    return parts, 50.0


def _slide(values: Values, top: float) -> tuple[list[Node], float]:
    positions = values.get("position", [])
    if not positions:
        return [], 0.0
    y = top + 24
    rail = {"x": 84, "y": y - 6, "width": WIDTH - 92, "height": 12, "rx": 6, "fill": "var(--brass-soft)"}
    parts: list[Node] = [_text(72, y + 4, "position", "end"), node("rect", rail)]
    for position, x in zip(positions, _spread(len(positions), 104, WIDTH - 28), strict=True):
        parts.append(_mark("ellipse", {"position": position}, cx=x, cy=y, rx=10, ry=15))
        parts.append(_text(x, y + 4, position))
    return parts, 50.0


def _partials(values: Values, top: float) -> tuple[list[Node], float]:
    partials = values.get("partial", [])[:MOST_ACROSS]
    if not partials:
        return [], 0.0
    parts: list[Node] = [_text(72, top + 26, "partial", "end")]
    for partial, x in zip(partials, _spread(len(partials), 104, WIDTH - 28), strict=True):
        parts.append(_mark("rect", {"partial": partial}, x=x - 13, y=top + 8, width=26, height=28, rx=6))
        parts.append(_text(x, top + 27, partial))
    return parts, 48.0


def _round(values: Values, top: float) -> tuple[list[Node], float]:
    """Draw the tube from its end, a line across for each direction round its axis."""
    ways = values.get("direction", [])
    if not ways:
        return [], 0.0
    parts: list[Node] = [_text(72, top + 31, "direction", "end")]
    for way, x in zip(ways, _spread(len(ways), 130, WIDTH - 60), strict=True):
        end = {"cx": x, "cy": top + 26, "r": 18, "fill": "none", "stroke": "var(--brass)", "stroke-width": 5}
        parts.append(node("circle", end))
        turn = f"rotate({way} {x} {top + 26})" if way.isdecimal() else ""
        line = {"x": x - 2.5, "y": top + 2, "width": 5, "height": 48, "rx": 2.5}
        parts.append(_mark("rect", {"direction": way}, **line, **({"transform": turn} if turn else {})))
        parts.append(_text(x + 26, top + 31, f"{way}°" if way.isdecimal() else way, "start"))
    return parts, 62.0


def _surface(values: Values, top: float) -> tuple[list[Node], float]:
    surfaces = values.get("surface", [])
    if not surfaces:
        return [], 0.0
    parts: list[Node] = [_text(72, top + 24, "surface", "end")]
    wide = (WIDTH - 92) / len(surfaces)
    for index, surface in enumerate(surfaces):
        thick = 26 if surface == "stocking" else 18  # the stocking is the swollen working end
        at = {"x": 84 + wide * index, "y": top + 20 - thick / 2, "width": wide - 3, "height": thick, "rx": 4}
        parts.append(_mark("rect", {"surface": surface}, **at))
        parts.append(_text(84 + wide * (index + 0.5), top + 24, surface))
    return parts, 42.0

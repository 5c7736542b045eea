"""A figure of a piece drawn along each of its legs, between its limits."""

from __future__ import annotations

from statistics import fmean

from dashboard.drawing import Node, node, svg
from qc.jobs.board import FigureOfPiece

WIDTH, HEIGHT = 520, 190
"""Size of the drawing [px]."""

LEFT, RIGHT, TOP, BOTTOM = 54, 96, 14, 30
"""What stands around the plot: values, names of the legs, nothing, stations [px]."""


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
        path = "M" + " L".join(f"{px:.1f} {py:.1f}" for px, py in points)
        dashes = {} if number % 2 == 0 else {"stroke-dasharray": "7 4"}
        children.append(
            node("path", {"d": path, "fill": "none", "stroke": colour, "stroke-width": 2, **dashes})
        )
        children += [node("circle", {"cx": px, "cy": py, "r": 4, "fill": colour}) for px, py in points]
        end = points[-1][1]
        while any(abs(end - other) < 15 for other in ends):
            end += 15
        ends.append(end)
        at = {"x": points[-1][0] + 10, "y": end + 4, "fill": "var(--ink)", "font-size": 13}
        children.append(node("text", at, [f"{leg} leg"]))
    return svg(WIDTH, HEIGHT, children, **{"class": "along"})

"""Small pictures that stand for words: the stages as one brass tube, and the marks beside text.

Pure drawing. Behaviour is the outline of a ring (thin = steady, thick with a peak above = drifting, dashed =
learning); capability is its core (full = limits kept, half = unproven, bar = not kept, none = no limits).
Colours are names of the theme's variables, so the same drawing serves light, dark and paper.
"""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.drawing import Node, node, svg

COLOUR = {"steady": "var(--steady)", "drifting": "var(--drift)", "learning": "var(--learn)"}
RING_PX = 76
"""Side of a ring's drawing, its peak included [px]."""

SPARK_PX = (150, 44)
"""Width and height of a sparkline [px]."""


def draw_ring(behaviour: str, capable: str) -> Node:
    """Return the ring of one stage."""
    colour = COLOUR[behaviour]
    middle, radius = RING_PX / 2, 28
    outline = {
        "cx": middle,
        "cy": middle,
        "r": radius,
        "fill": "var(--card)",
        "stroke": colour,
        "stroke-width": 5 if behaviour == "drifting" else 3,
    }
    if behaviour == "learning":
        outline |= {"stroke-dasharray": "5 6"}
    children = [node("circle", outline)]
    # A second, lighter line inside reads as a ferrule soldered on the tube rather than a button.
    children.append(
        node(
            "circle",
            {
                "cx": middle,
                "cy": middle,
                "r": radius - 6,
                "fill": "none",
                "stroke": "var(--line)",
                "stroke-width": 1,
            },
        )
    )
    if behaviour != "learning":
        children += draw_core(capable, colour, middle, middle, 10)
    return svg(RING_PX, RING_PX, children, **{"class": "ring"})


def draw_core(capable: str, colour: str, x: float, y: float, radius: float) -> list[Node]:
    """Return the core that says how the limits are kept; nothing where there are none."""
    if capable == "proven":
        return [node("circle", {"cx": x, "cy": y, "r": radius, "fill": colour})]
    if capable == "unproven":
        half = f"M{x:g} {y - radius:g} a{radius:g} {radius:g} 0 0 0 0 {2 * radius:g} z"
        edge = {"cx": x, "cy": y, "r": radius, "fill": "none", "stroke": colour, "stroke-width": 2}
        return [node("path", {"d": half, "fill": colour}), node("circle", edge)]
    if capable == "no":
        bar = {
            "x": x - 1.2 * radius,
            "y": y - 0.3 * radius,
            "width": 2.4 * radius,
            "height": 0.6 * radius,
            "fill": colour,
        }
        return [node("rect", bar)]
    return []


def draw_peak(size: int = 18) -> Node:
    """Return the peak that stands for drifting."""
    path = f"M1 {size - 3} L{size / 2:g} 3 L{size - 1} {size - 3} Z"
    return svg(size, size, [node("path", {"d": path, "fill": "var(--drift)"})], **{"class": "peak"})


def draw_mark(behaviour: str, capable: str, size: int = 26) -> Node:
    """Return ring and core small enough to stand in a line of text."""
    middle, colour = size / 2, COLOUR[behaviour]
    outline = {
        "cx": middle,
        "cy": middle,
        "r": middle - 3,
        "fill": "none",
        "stroke": colour,
        "stroke-width": 3.5 if behaviour == "drifting" else 2,
    }
    if behaviour == "learning":
        outline |= {"stroke-dasharray": "3 3.4"}
    core = [] if behaviour == "learning" else draw_core(capable, colour, middle, middle, size / 6.5)
    return svg(size, size, [node("circle", outline), *core], **{"class": "mark"})


def draw_bell(upright: bool = False) -> Node:
    """Return the bell that ends the tube: opening to the right, or downwards where the route stands."""
    flare = "M0 55 C70 55 104 42 128 0 L128 140 C104 98 70 85 0 85"
    shine = "M0 55 C70 55 104 42 128 0 L128 30 C108 54 70 64 0 64 Z"
    edge = {"fill": "none", "stroke": "var(--brass)"}
    children = [
        node("path", {"d": f"{flare} Z", "fill": "var(--brass-soft)"}),
        node("path", {"d": shine, "fill": "var(--brass-shine)"}),
        node("path", {"d": flare, **edge, "stroke-width": 2, "stroke-linejoin": "round"}),
        node("path", {"d": "M128 0 V140", **edge, "stroke-width": 4, "stroke-linecap": "round"}),
    ]
    if not upright:
        return svg(132, 144, [node("g", {"transform": "translate(0 2)"}, children)], **{"class": "bell"})
    turned = node("g", {"transform": "translate(142 0) rotate(90)"}, children)
    return svg(144, 132, [turned], **{"class": "bell"})


def draw_badge() -> Node:
    """Return the small bell beside the name of the workshop."""
    path = "M2 10 H16 C21 10 24 8 26 3 V21 C24 16 21 14 16 14 H2 Z"
    shape = {"d": path, "fill": "var(--brass-soft)", "stroke": "var(--brass)", "stroke-width": 1.8}
    return svg(28, 24, [node("path", {**shape, "stroke-linejoin": "round"})], **{"class": "badge"})


def draw_spark(values: Sequence[float], start: int | None = None, end: int | None = None) -> Node:
    """Return values as a line of ink, the part from index `start` up to `end` on a tinted ground."""
    width, height = SPARK_PX
    edge = 4
    if not values:
        return svg(width, height, [], **{"class": "spark"})
    low, high = min(values), max(values)
    step = (width - 2 * edge) / max(1, len(values) - 1)
    scale = (height - 2 * edge - 2) / ((high - low) or 1.0)
    spots = [
        (edge + index * step, height - edge - 1 - (value - low) * scale) for index, value in enumerate(values)
    ]
    children: list[Node] = []
    stop = len(values) if end is None else min(end, len(values))
    lasts = stop == len(values)
    if start is not None and start < stop:
        left = max(0.0, spots[start][0] - step / 2)
        right = width if lasts else spots[stop - 1][0] + step / 2
        ground = {"x": left, "y": 0, "width": right - left, "height": height, "rx": 3}
        children.append(node("rect", {**ground, "fill": "var(--drift-soft)"}))
    children.append(_line(spots, "var(--ink)"))
    if start is not None and start < stop:
        children.append(_line(spots[start:stop], "var(--drift)"))
    x, y = spots[-1]
    colour = "var(--drift)" if start is not None and lasts else "var(--ink)"
    children.append(node("circle", {"cx": x, "cy": y, "r": 2.6, "fill": colour}))
    return svg(width, height, children, **{"class": "spark"})


def draw_symbol(symbol: str, size: int = 12) -> Node:
    """Return a model's symbol as it stands on the charts."""
    middle = size / 2
    line = {"fill": "none", "stroke": "var(--ink)", "stroke-width": 1.8}
    if symbol == "square":
        shape = node("rect", {"x": 2, "y": 2, "width": size - 4, "height": size - 4, **line})
    elif symbol == "diamond":
        path = f"M{middle:g} 1 L{size - 1} {middle:g} L{middle:g} {size - 1} L1 {middle:g} Z"
        shape = node("path", {"d": path, **line})
    elif symbol == "triangle":
        shape = node("path", {"d": f"M{middle:g} 1.5 L{size - 1} {size - 2} L1 {size - 2} Z", **line})
    elif symbol == "cross":
        path = f"M2 2 L{size - 2} {size - 2} M{size - 2} 2 L2 {size - 2}"
        shape = node("path", {"d": path, **line})
    else:
        shape = node("circle", {"cx": middle, "cy": middle, "r": 4.2, "fill": "var(--ink)"})
    return svg(size, size, [shape], **{"class": "symbol"})


def draw_left_out(size: int = 12) -> Node:
    """Return the hollow mark of a piece that was left out."""
    ring = {"cx": size / 2, "cy": size / 2, "r": 4.2, "fill": "none", "stroke": "var(--soft)"}
    return svg(size, size, [node("circle", {**ring, "stroke-width": 1.3})], **{"class": "symbol"})


def _line(spots: Sequence[tuple[float, float]], colour: str) -> Node:
    path = "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in spots)
    return node(
        "path",
        {"d": path, "fill": "none", "stroke": colour, "stroke-width": 1.5, "stroke-linejoin": "round"},
    )

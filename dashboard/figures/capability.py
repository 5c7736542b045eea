"""The capability panel: where the pieces of the present stretch lie between the limits. One chart."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from itertools import pairwise
from math import floor

from dashboard import words
from dashboard.figures.events import CHARACTER_PX
from dashboard.figures.frame import Figure, Note, Shape, Trace, bare_axis, base_layout
from dashboard.theme import LIGHT
from qc.jobs.board import Point, SeriesView

HEIGHT_PX = 176
BINS = 25  # chosen: a pile is then a little wider than its marks
STEP_OF_ITS_OWN = 0.6  # chosen: marks of such neighbours still stand apart
WIDTH_PX = 268
"""Width of the panel in its column [px]; a wider screen only leaves more room between the labels."""


def draw_capability(view: SeriesView) -> Figure:
    """Return the pieces of the present stretch stacked along the scale, with limits and target."""
    verdict = view.verdict
    points = verdict.present_points
    layout = base_layout(HEIGHT_PX, 26, 14, 38, 14)
    if not points:
        return {"data": [], "layout": layout}
    low, high = _span(view, points)
    xs, ys = _stack([p.value for p in points], _pile_edges(view, low, high), verdict.upper)
    # chosen: few pieces keep low piles, or five of them would look like a crowd
    tallest = max([8.0, *ys])
    unit = words.unit(verdict.unit) or "number"
    decimals = words.decimals_of(verdict)
    layout["xaxis"] = bare_axis(
        range=[low, high],
        showline=True,
        linecolor=LIGHT["soft"],
        nticks=5,
        tickfont={"size": 12, "color": LIGHT["soft"]},
        title={
            "text": escape(f"{verdict.name} [{unit}]"),
            "standoff": 6,
            "font": {"size": 12, "color": LIGHT["soft"]},
        },
        fixedrange=True,
    )
    layout["yaxis"] = bare_axis(range=[0, tallest * 1.12], showticklabels=False, fixedrange=True)
    layout["shapes"], layout["annotations"] = _bounds(view, low, high)
    drifting = verdict.telling is not None
    trace: Trace = {
        "type": "scatter",
        "mode": "markers",
        "x": xs,
        "y": ys,
        "text": [
            f"<b>{escape(p.serial)}</b> {words.amount(p.value, verdict.unit, decimals, verdict.centered)}"
            for p in sorted(points, key=lambda p: p.value)
        ],
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {"size": 7, "color": LIGHT["drift"] if drifting else LIGHT["steady"]},
        "cliponaxis": False,
    }
    return {"data": [trace], "layout": layout}


def _span(view: SeriesView, points: Sequence[Point]) -> tuple[float, float]:
    verdict = view.verdict
    values = [p.value for p in points]
    values += [v for v in (verdict.lower, verdict.upper, verdict.target) if v is not None]
    pad = 0.09 * ((max(values) - min(values)) or abs(values[0]) or 1.0)
    return min(values) - pad, max(values) + pad


def _pile_edges(view: SeriesView, low: float, high: float) -> tuple[float, float]:
    """Return where a pile begins and how wide it is: a limit is an edge, so that no pile straddles it."""
    lower, upper = view.verdict.lower, view.verdict.upper
    width = (high - low) / BINS
    if lower is not None and upper is not None and upper > lower:
        width = (upper - lower) / max(1, round((upper - lower) / width))
    start = next((edge for edge in (lower, upper) if edge is not None), low)
    return start, width


def _stack(
    values: Sequence[float], edges: tuple[float, float], upper: float | None
) -> tuple[list[float], list[float]]:
    """Put each value on the pile it falls into, sorted; a pile stands upright, the hover says the value."""
    start, width = edges
    steps = sorted({round(value, 9) for value in values})
    coarse = all(b - a >= STEP_OF_ITS_OWN * width for a, b in pairwise(steps))
    piles: dict[float, int] = {}
    xs: list[float] = []
    ys: list[float] = []
    for value in sorted(values):
        place = floor((value - start) / width + 1e-6)
        if upper is not None and value <= upper < start + (place + 0.5) * width:
            place -= 1  # a piece on its limit is inside
        # figures in coarse steps need no piles laid over them: each step is one
        at = round(value, 9) if coarse else start + (place + 0.5) * width
        piles[at] = piles.get(at, 0) + 1
        xs.append(at)
        ys.append(piles[at] - 0.4)
    return xs, ys


def _bounds(view: SeriesView, low: float, high: float) -> tuple[list[Shape], list[Note]]:
    verdict = view.verdict
    ink, soft = LIGHT["ink"], LIGHT["soft"]
    shapes: list[Shape] = []
    notes: list[Note] = []
    taken: list[tuple[float, float]] = []
    for value, name, colour, dash in (
        (verdict.lower, "limit", ink, "solid"),
        (verdict.upper, "limit", ink, "solid"),
        (verdict.target, "target", soft, "dash"),
    ):
        if value is None:
            continue
        line = {"color": colour, "width": 1.3, "dash": dash}
        ends = {"x0": value, "x1": value, "yref": "paper", "y0": 0, "y1": 1}
        shapes.append({"type": "line", **ends, "line": line, "layer": "below"})
        text = f"{name} {words.bound(value, '', verdict.centered)}"
        share = (value - low) / (high - low)
        width = len(text) * CHARACTER_PX / WIDTH_PX
        left = min(max(share - width / 2, 0.0), 1.0 - width)
        # The target's name gives way where it would run into a limit's; its dashes stay.
        if any(left < end and left + width > start for start, end in taken):
            continue
        taken.append((left, left + width))
        notes.append(_note(low + (left + width / 2) * (high - low), text, colour))
    return shapes, notes


def _note(x: float, text: str, colour: str) -> Note:
    place = {"x": x, "yref": "paper", "y": 1, "yanchor": "bottom", "xanchor": "center", "showarrow": False}
    return {**place, "text": escape(text), "font": {"size": 12, "color": colour}}

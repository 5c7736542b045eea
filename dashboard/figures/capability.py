"""The capability panel: where the pieces of the present stretch lie between the limits. One chart."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from dashboard import words
from dashboard.figures.events import CHARACTER_PX
from dashboard.figures.frame import Figure, Note, Shape, Trace, bare_axis, base_layout
from dashboard.theme import LIGHT
from qc.jobs.board import Point, SeriesView

HEIGHT_PX = 176
BINS = 25  # chosen: a pile is then about as wide as its marks
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
    xs, ys = _stack([p.value for p in points], low, high)
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


def _stack(values: Sequence[float], low: float, high: float) -> tuple[list[float], list[float]]:
    # Sorted values, each put on the pile of its bin; the value itself stays exact on the scale.
    piles: dict[int, int] = {}
    xs: list[float] = []
    ys: list[float] = []
    for value in sorted(values):
        place = min(BINS - 1, int(BINS * (value - low) / (high - low)))
        piles[place] = piles.get(place, 0) + 1
        xs.append(value)
        ys.append(piles[place] - 0.4)
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

"""What may lie over the chart of a series: a frozen settled state, and what classic rules find."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape

from dashboard import words
from dashboard.figures.frame import EdgeLabel, Note, Shape, Trace, level, shade
from dashboard.theme import LIGHT
from qc.jobs.board import DecisionView, Point, RulesView, SeriesView
from qc.sayings import What

RING_PX = 17
"""Diameter of the ring round a piece that offends against a rule [px]."""


def draw_frozen(view: SeriesView, first: int, final: int) -> tuple[list[Shape], list[Note]]:
    """Return the shade behind the pieces a lead froze as the settled state, with who and when at its foot."""
    low, high = view.verdict.baseline_first, view.verdict.baseline_last
    if low is None or high is None or high < first or low > final:
        return [], []
    left, right = max(low, first) - 0.5, min(high, final) + 0.5
    frozen = next((d for d in view.decisions if d.what == What.FREEZE), None)
    label = {
        "xref": "x",
        "x": left,
        "xanchor": "left",
        "xshift": 4,
        "yref": "paper",
        "y": 0,
        "yanchor": "bottom",
        "yshift": 3,
        "showarrow": False,
        "text": escape(frozen_text(frozen)),
        "font": {"color": LIGHT["steady"], "size": 12},
    }
    # A band too narrow for its words hands them on to the other side of its left edge.
    if (left - first) > 0.6 * (final - first):
        label |= {"x": right, "xanchor": "right", "xshift": -4}
    return [shade(left, right, LIGHT["steady-soft"])], [label]


def frozen_text(frozen: DecisionView | None) -> str:
    """Return the short label of a frozen stretch: ``settled state, frozen by IS, 4 May``."""
    by = f" by {frozen.who}" if frozen and frozen.who else ""
    on = f", {words.day(frozen.day)}" if frozen and frozen.day else ""
    return f"settled state, frozen{by}{on}"


def draw_rule_limits(
    rules: RulesView | None,
    x_range: tuple[float, float],
    y_range: tuple[float, float],
    say: Callable[[float], str],
) -> tuple[list[EdgeLabel], list[Shape]]:
    """Return the limits of ``beyond-limit`` as dashed lines, with what they rest on."""
    if rules is None or rules.reason:
        return [], []
    labels, shapes = [], []
    for value in (rules.upper, rules.lower):
        if y_range[0] < value < y_range[1]:
            shapes.append(
                level(value, max(rules.first - 0.4, x_range[0]), x_range[1], LIGHT["mark"], 1, "dash")
            )
            labels.append(EdgeLabel(value, f"{rules.limits} {say(value)} ({rules.n})", LIGHT["mark"]))
    return labels, shapes


def draw_rule_hits(rules: RulesView | None, points: Sequence[Point]) -> list[Trace]:
    """Return a ring round each piece in view that offends; the hover names the rules."""
    if rules is None or not points:
        return []
    hits = [hit for hit in rules.hits if hit.point.ordinal >= points[0].ordinal]
    if not hits:
        return []
    return [
        {
            "type": "scatter",
            "mode": "markers",
            "name": "rules",
            "x": [hit.point.ordinal for hit in hits],
            "y": [hit.point.value for hit in hits],
            "text": [f"<b>{escape(hit.point.serial)}</b> {', '.join(hit.rules)}" for hit in hits],
            "customdata": [hit.point.serial for hit in hits],
            "hovertemplate": "%{text}<extra></extra>",
            "cliponaxis": False,
            "marker": {
                "symbol": "circle-open",
                "size": RING_PX,
                "color": LIGHT["mark"],
                "line": {"width": 1.8, "color": LIGHT["mark"]},
            },
        }
    ]

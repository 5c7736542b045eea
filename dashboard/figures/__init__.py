"""Charts: pure functions from results to Plotly figures as plain dictionaries.

They know no app and no callback, so the report or a notebook may draw the same chart.
"""

from __future__ import annotations

from dashboard.figures.capability import draw_capability
from dashboard.figures.checks import draw_checks, draw_study
from dashboard.figures.frame import GRAPH_CONFIG, Figure
from dashboard.figures.lots import draw_lots
from dashboard.figures.pareto import draw_pareto
from dashboard.figures.series import draw_series
from dashboard.figures.wear import draw_wear

__all__ = [
    "GRAPH_CONFIG",
    "Figure",
    "draw_capability",
    "draw_checks",
    "draw_lots",
    "draw_pareto",
    "draw_series",
    "draw_study",
    "draw_wear",
]

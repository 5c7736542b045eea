"""Frames in, verdicts out: series, stretches, signals, suspects and the false-alarm budget."""

from __future__ import annotations

from qc.watch.budget import DAYS_PER_MONTH, Budget, expected_points, month_of, month_pace, share_budget
from qc.watch.decisions import DECIDED, Decisions, Span, standing
from qc.watch.dependence import dependence_note
from qc.watch.derive import sources_of
from qc.watch.factors import Factor, Factors, collect_factors
from qc.watch.judge import Question, judge
from qc.watch.points import Points, series_points
from qc.watch.results import (
    Forecast,
    Point,
    SeriesKey,
    SeriesVerdict,
    SignalResult,
    StretchResult,
    Suspect,
)
from qc.watch.upstream import Figure, collect_figures
from qc.watch.words import (
    FIRST_STEPS,
    day_words,
    inside,
    level_words,
    number_words,
    quantity_words,
    unit_words,
)

__all__ = [
    "DAYS_PER_MONTH",
    "DECIDED",
    "Budget",
    "Decisions",
    "FIRST_STEPS",
    "Factor",
    "Factors",
    "Figure",
    "Forecast",
    "Point",
    "Points",
    "Question",
    "SeriesKey",
    "SeriesVerdict",
    "SignalResult",
    "Span",
    "StretchResult",
    "Suspect",
    "collect_factors",
    "collect_figures",
    "day_words",
    "dependence_note",
    "expected_points",
    "inside",
    "judge",
    "level_words",
    "month_of",
    "month_pace",
    "number_words",
    "quantity_words",
    "series_points",
    "share_budget",
    "sources_of",
    "standing",
    "unit_words",
]

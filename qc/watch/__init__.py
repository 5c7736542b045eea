"""Frames in, verdicts out: series, stretches, signals, suspects and the false-alarm budget.

Names are fetched from their modules on first use: a page that only shows verdicts loads nothing that judges.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import Any

_HOME: dict[str, str] = {}
"""Where each public name lives: name -> module."""


def _offer(module: str, *names: str) -> None:
    """Enter the public names of a module."""
    _HOME.update({name: f"{__name__}.{module}" for name in names})


_offer("budget", "DAYS_PER_MONTH", "Budget", "expected_points", "month_of", "month_pace", "share_budget")
_offer("courses", "Courses", "courses_from", "plain_courses")
_offer("decisions", "DECIDED", "Decisions", "Span", "standing")
_offer("dependence", "dependence_note")
_offer("derive", "sources_of")
_offer("factors", "Factor", "FactorTable", "Factors", "among", "collect_factors")
_offer("judge", "Question", "judge", "judge_further")
_offer("points", "Points", "series_points")
_offer("results", "Forecast", "Point", "SeriesKey")
_offer("results", "SeriesVerdict", "SignalResult", "StretchResult", "Suspect")
_offer("upstream", "Figure", "FigureTable", "collect_figures")
_offer("wear", "fittings")
_offer("words", "FIRST_STEPS", "LIMITS_WORDS", "STILL_MOVING", "TOO_EARLY", "TOO_FEW", "day_words", "inside")
_offer("words", "is_few", "limits_words", "rate_words", "whole_words")
_offer("words", "level_words", "number_words", "quantity_words", "unit_words")

__all__ = sorted(_HOME)


class _Package(ModuleType):
    """The package; a module never hides a function of the same name (`judge` is both)."""

    def __setattr__(self, name: str, value: Any) -> None:
        if not (name in _HOME and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package


def __getattr__(name: str) -> Any:
    """Fetch a public name from its module."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(import_module(_HOME[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    """List the public names."""
    return __all__

"""Which options of a study go with which chart: what has no effect is refused or said, never swallowed."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from qc.stats import KINDS, LimitRule, StatisticsUsageError
from qc.stats.studies.options import StudyOptions

COUNTS = ("defects", "defects-per-unit", "number-defective", "proportion")
MEASURED = tuple(name for name, kind in KINDS.items() if kind.measured and not kind.several)

GOES_WITH: dict[str, tuple[str, ...]] = {
    "size": ("defects-per-unit", "number-defective", "proportion", "changepoint"),
    "against": ("trend", "changepoint"),
    "tool": ("changepoint",),
    "counts": ("changepoint",),
    "place": ("three-way",),
    "nominal": MEASURED,
    "model": MEASURED,
    "fitted": MEASURED,
    "gauge_sd": MEASURED,
    "center": tuple(name for name, kind in KINDS.items() if kind.own_level and name != "trend"),
    "sigma": tuple(name for name in MEASURED if KINDS[name].own_level),
    "weight": ("ewma", "mewma"),
    "width": ("ewma",),
    "time_varying": ("ewma",),
    "reference": ("cusum", "self-starting"),
    "decision": ("cusum", "self-starting"),
    "fast_start": ("cusum", "self-starting"),
    "false_alarm_rate": ("changepoint", "t2", "mewma"),
    "exact": (*COUNTS, "time-between"),
    "corrected": COUNTS,
    "robust": ("individuals", "three-way", "ewma", "cusum"),
    "within": ("three-way",),
    "screen": ("individuals", "mean-range", "mean-sd"),
}
"""Charts that each of these options goes with; with any other it is refused."""

_DEFAULTS: dict[str, Any] = {one.name: one.default for one in fields(StudyOptions)}


def check_fit(asked: StudyOptions, chart: str) -> tuple[str, ...]:
    """Refuse options that the chart has no use for, and name those that do nothing here.

    Parameters
    ----------
    asked : StudyOptions
    chart : str
        Kind of chart.

    Returns
    -------
    tuple of str
        A sentence for each option that every chart takes but that has no effect on this one.

    Raises
    ------
    StatisticsUsageError
        An unknown chart, a column that it needs and lacks, an option that goes with other charts only, or not
        without another one.
    """
    asked.check_needs(chart)
    for option, charts in GOES_WITH.items():
        if _given(asked, option) and chart not in charts:
            raise StatisticsUsageError(_refusal(option, charts, chart))
    if chart == "changepoint":
        _check_changepoint(asked)
    return tuple(
        f"--{option.replace('_', '-')} has no effect on {where}" for option, where in _idle(asked, chart)
    )


def _refusal(option: str, charts: tuple[str, ...], chart: str) -> str:
    name = f"--{option.replace('_', '-')}"
    if option in ("center", "sigma") and not KINDS[chart].own_level:
        return f"chart {chart} estimates its own level and spread: leave {name} out"
    known = charts if len(charts) <= len(KINDS) // 2 else ()
    if not known:
        left_out = ", ".join(kind for kind in KINDS if kind not in charts)
        return f"{name} does not go with chart {chart} (nor with any of {left_out}): leave it out"
    word = "chart" if len(known) == 1 else "charts"
    return f"{name} goes with {word} {', '.join(known)}; chart {chart} has no use for it: leave it out"


def _check_changepoint(asked: StudyOptions) -> None:
    """Refuse options of the change-point chart that need another one, or exclude one another."""
    if asked.counts is not None and asked.against is not None:
        raise StatisticsUsageError("--counts and --against exclude one another: counts do not wear")
    if asked.size is not None and asked.counts is None:
        raise StatisticsUsageError("--size goes with --counts defects or --counts pass-fail: say which")
    if asked.counts == "pass-fail" and asked.size is None:
        raise StatisticsUsageError("--counts pass-fail needs --size COLUMN: how many pieces were tried")
    if asked.tool is not None and asked.against is None:
        raise StatisticsUsageError("--tool goes with --against COLUMN: the count since the tool was fitted")
    for option in ("nominal", "model", "fitted", "gauge_sd"):
        if asked.counts is not None and _given(asked, option):
            raise StatisticsUsageError(
                f"--{option.replace('_', '-')} is for measured values: leave it out with --counts"
            )


def _idle(asked: StudyOptions, chart: str) -> list[tuple[str, str]]:
    """Options that every chart takes, but that change nothing on this one, with the words for "this one"."""
    kind, here = KINDS[chart], f"chart {chart}"
    measured = kind.measured and not kind.several and asked.counts is None
    limited = asked.lower is not None or asked.upper is not None
    detecting = chart == "changepoint"
    learns = detecting or chart == "self-starting"
    plain = here if asked.counts is None else f"{here} of counts"
    without = plain if not measured else f"{plain} without --lower or --upper"
    grouped = measured and chart != "trend" and asked.against is None
    shaped = measured and (limited or (detecting and asked.against is None))
    idle = {
        "subgroup": (not grouped and not (asked.checks and measured), plain),
        "baseline": (learns, f"{here}, which learns from all points before"),
        "limits": (asked.limits_on(chart).method == "textbook", here),
        "lower": (kind.several, here),
        "upper": (kind.several, here),
        "target": (not measured or not (limited or asked.checks), without),
        "wanted": (not (measured and limited), without),
        "resolution": (not measured, plain),
        "shape": (not shaped, without if not detecting else f"{plain} against a line"),
        "rules": (detecting and asked.rules not in ("limit", "none"), f"{here}, which has none"),
    }
    if LimitRule.parse(asked.limits).method == "textbook":
        del idle["limits"]
    return [(name, where) for name, (nothing, where) in idle.items() if nothing and _given(asked, name)]


def _given(asked: StudyOptions, option: str) -> bool:
    return bool(getattr(asked, option) != _DEFAULTS[option])

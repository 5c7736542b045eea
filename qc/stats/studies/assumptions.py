"""What charts take for granted, asked of all series in one pass: normal readings, order, a fine gauge."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from qc.plain import JsonObject
from qc.stats.charts import Chart
from qc.stats.gauges import gauge_resolution
from qc.stats.numbers import Floats, Places, number
from qc.stats.samples import LEAST_FOR_LAG, LEAST_NORMALITY, anderson_darling_many, lag_1_many, lag_bound
from qc.stats.studies.kinds import KINDS
from qc.stats.studies.outcome import Outcome
from qc.stats.studies.question import StudyQuestion


def distributions(readings: Sequence[Floats], *, measured: bool, several: bool) -> list[JsonObject]:
    """Hold every series against a normal distribution, or say why not.

    Parameters
    ----------
    readings : sequence of ndarray
        Readings of each series. [any unit]
    measured, several : bool
        Whether the figures are measured, and whether a piece has several of them.

    Returns
    -------
    list of dict
        `test, statistic, p_value, n`, and `reason` where there is no test.
    """
    out: list[JsonObject] = [
        {"test": "anderson-darling", "statistic": None, "p_value": None, "n": int(part.size)}
        for part in readings
    ]
    reasons = [_why_not(part, measured, several) for part in readings]
    for row, reason in enumerate(reasons):
        if reason is not None:
            out[row]["reason"] = reason
    rows = [row for row, reason in enumerate(reasons) if reason is None]
    if rows:
        found = anderson_darling_many(*_joined([readings[row] for row in rows]))
        for row, statistic, p_value in zip(rows, *(part.tolist() for part in found), strict=True):
            out[row] |= {"statistic": number(statistic), "p_value": number(p_value)}
    return out


def doubts(
    names: Sequence[str],
    readings: Sequence[Floats],
    outcomes: Mapping[str, Outcome],
    question: StudyQuestion,
) -> dict[str, tuple[str, ...]]:
    """Say what makes limits doubtful: points that hang together, a gauge that is too coarse.

    Parameters
    ----------
    names, readings : sequences, as long as one another
        Series and their readings. [any unit]
    outcomes : mapping of series name to Outcome
        Their charts.
    question : StudyQuestion
        Chart kind and step of the gauge.

    Returns
    -------
    dict of series name to tuple of str
        Sentences; a series without doubt is left out.
    """
    kind, out = KINDS[question.chart], dict[str, tuple[str, ...]]()
    charted: dict[str, Chart] = {}
    for name in names:
        chart = outcomes[name].chart
        if kind.independent and chart is not None and isinstance(chart.values, np.ndarray):
            charted[name] = chart
    for name, lag in _clear_lags(charted).items():
        out[name] = (
            f"neighbouring points hang together (lag-1 correlation {lag:.2f}): pieces of one "
            "batch, day or tool are the usual cause, and limits are then too tight or too wide",
        )
    step = question.setting.resolution
    if step is None or kind.sigma != "moving-range":
        return out
    for name, part in zip(names, readings, strict=True):
        if name not in charted or part.size < 2:
            continue
        coarse = gauge_resolution(part, resolution=step, sigma=charted[name].sigma)
        if not coarse.fine_enough:
            said = (
                f"the gauge is coarse: only {coarse.steps_inside} values of the moving range fit inside its "
                "limits, so expect false signals"
            )
            out[name] = (*out.get(name, ()), said)
    return out


def _why_not(part: Floats, measured: bool, several: bool) -> str | None:
    """Say why readings are not held against a normal distribution."""
    if not measured:
        return "counts are not held against a normal distribution"
    if several:
        return "several figures are not held against one normal distribution"
    if part.size < LEAST_NORMALITY:
        return f"{part.size} readings are too few: at least {LEAST_NORMALITY} are needed"
    return "all readings are equal" if part.min() == part.max() else None


def _clear_lags(charted: Mapping[str, Chart]) -> dict[str, float]:
    """Lag-1 correlations beyond what random order would keep 95 times in 100."""
    parts: dict[str, Floats] = {}
    for name, chart in charted.items():
        values = np.asarray(chart.values, dtype=np.float64)
        if values.size >= LEAST_FOR_LAG and values.min() < values.max():
            parts[name] = values
    if not parts:
        return {}
    lags = lag_1_many(*_joined(list(parts.values()))).tolist()
    return {
        name: lag
        for (name, values), lag in zip(parts.items(), lags, strict=True)
        if abs(lag) > lag_bound(values.size)
    }


def _joined(parts: Sequence[Floats]) -> tuple[Floats, Places]:
    """Join series end to end, with their sizes."""
    return np.concatenate(parts), np.array([part.size for part in parts], dtype=np.intp)

"""One question, one answer: the chart asked for, over one series or ten thousand, as the agreed JSON.

`study_frame` is pure: a frame of readings in, a `SeriesStudy` per series out. Reading files, drawing and
printing are the business of `qc.jobs.study`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl

from qc.stats.capability import capability
from qc.stats.capability_result import Capability
from qc.stats.charttable import ONLY, arrange, lengths
from qc.stats.dependence import lag_1_autocorrelation
from qc.stats.distribution import anderson_darling
from qc.stats.errors import StatisticsError
from qc.stats.gauge_step import gauge_resolution
from qc.stats.points import Chart, Floats, Signal, number
from qc.stats.shortrun import short_run_frame
from qc.stats.study_kinds import Kind, check_question
from qc.stats.study_outcome import Outcome
from qc.stats.study_question import StudyQuestion

LEAST_FOR_LAG = 10  # fewer points cannot show that neighbours hang together


@dataclass(frozen=True, slots=True)
class SeriesStudy:
    """The answer for one series; without a chart, `reason` says why and what is needed."""

    series: str | None
    n: int
    points: int
    chart: Chart | None
    capability: Capability | None
    distribution: Mapping[str, Any]
    warnings: tuple[str, ...] = ()
    reason: str | None = None

    @property
    def signals(self) -> tuple[Signal, ...]:
        """Signals of the chart, none where there is no chart."""
        return () if self.chart is None else self.chart.signals

    def to_dict(self, *, points: bool = True) -> dict[str, Any]:
        """Return the contract's object; `points=False` leaves out the values."""
        out: dict[str, Any] = {
            "n": self.n,
            "points": self.points,
            "chart": None if self.chart is None else self.chart.to_dict(points=points),
            "signals": [signal.to_dict() for signal in self.signals],
        }
        if self.capability is not None:
            out["capability"] = self.capability.to_dict()
        out["distribution"] = dict(self.distribution)
        out["warnings"] = list(self.warnings)
        if self.reason is not None:
            out["reason"] = self.reason
        return out


def study_frame(frame: pl.DataFrame, question: StudyQuestion) -> dict[str, SeriesStudy]:
    """Chart, signals, capability and distribution of every series of a frame.

    Parameters
    ----------
    frame : DataFrame
        Rows in order of making. `value` (for t2 and mewma the figures are all columns but the others named
        here), and as the chart needs them `series`, `subgroup`, `size`, `against`, `place`; with `nominal`
        the deviation from it is charted, with `model` models share the chart as they agree.
    question : StudyQuestion
        Chart kind and options.

    Returns
    -------
    dict of series name to SeriesStudy
        In order of first appearance. One series without a name has the name ''.

    Raises
    ------
    StatisticsError
        The only series cannot be charted, or a value is not a finite number. Among several series a bad one
        is kept with its reason.

    References
    ----------
    .. [1] Each chart names its source where it is computed.

    Examples
    --------
    >>> answer = study_frame(pl.DataFrame({"value": [1.0, 3.0, 2.0]}), StudyQuestion("individuals"))[""]
    >>> answer.n, answer.chart.center, answer.signals
    (3, 2.0, ())
    """
    frame = arrange(frame.with_columns(value=pl.lit(0.0)) if "value" not in frame.columns else frame)
    frame, said = short_run_frame(frame)
    named = frame["series"].dtype != pl.String or frame["series"][0] != ONLY
    kind = check_question(question)
    outcomes = kind.build(frame, question)
    counts = lengths(frame)
    names = frame["series"].unique(maintain_order=True).to_list()
    readings = frame["value"].to_numpy()
    out: dict[str, SeriesStudy] = {}
    start = 0
    for name, count in zip(names, counts.tolist(), strict=True):
        part = readings[start : start + count]
        start += count
        outcome = outcomes[str(name)]
        if outcome.chart is not None and str(name) in said:
            warnings = (*outcome.chart.warnings, said[str(name)])
            outcome = replace(outcome, chart=replace(outcome.chart, warnings=warnings))
        if outcome.chart is None and not named:
            raise StatisticsError(outcome.reason)
        out[str(name)] = _answer(str(name) if named else None, part, outcome, question, kind)
    return out


def _answer(
    series: str | None, readings: Floats, outcome: Outcome, question: StudyQuestion, kind: Kind
) -> SeriesStudy:
    chart = outcome.chart
    warnings = () if chart is None else chart.warnings + _baseline_missed(question, outcome.points)
    found = None
    plain = kind.measured and not kind.several
    if question.has_limits and chart is not None:
        if plain:
            found = _capability(readings, outcome, question)
        else:
            warnings += ("limits are for measured values: no capability is given for this chart",)
    if plain and chart is not None:
        warnings += _doubts(chart, readings, question)
    return SeriesStudy(
        series=series,
        n=int(readings.size),
        points=outcome.points,
        chart=chart,
        capability=found,
        distribution=_distribution(readings, kind),
        warnings=warnings,
        reason=outcome.reason,
    )


def _baseline_missed(question: StudyQuestion, points: int) -> tuple[str, ...]:
    """Say when the baseline asked for runs beyond the last point."""
    wanted = question.setting.baseline.last
    if wanted is None or wanted <= points:
        return ()
    return (f"the baseline was to run to point {wanted}, but there are {points}: limits rest on those",)


def _doubts(chart: Chart, readings: Floats, question: StudyQuestion) -> tuple[str, ...]:
    """Say what makes the limits doubtful: points that hang together, a gauge that is too coarse."""
    said: tuple[str, ...] = ()
    if chart.kind not in ("individuals", "three-way") or not isinstance(chart.values, np.ndarray):
        return said
    if chart.values.size >= LEAST_FOR_LAG and np.ptp(chart.values) > 0:
        lag = lag_1_autocorrelation(chart.values)
        if lag.clear:
            said += (
                f"neighbouring points hang together (lag-1 correlation {lag.lag_1:.2f}): pieces of one "
                "batch, day or tool are the usual cause, and limits are then too tight or too wide",
            )
    step = question.setting.resolution
    if step is not None and chart.kind == "individuals" and readings.size >= 2:
        coarse = gauge_resolution(readings, resolution=step, sigma=chart.sigma)
        if not coarse.fine_enough:
            said += (
                f"the gauge is coarse: only {coarse.steps_inside} values of the moving range fit inside its "
                "limits, so expect false signals",
            )
    return said


def _capability(readings: Floats, outcome: Outcome, question: StudyQuestion) -> Capability:
    chart = outcome.chart
    assert chart is not None
    signals = len({signal.point for signal in chart.signals})
    stable = signals == 0 and outcome.unstable is None
    because = outcome.unstable or (
        f"{signals} point{'s' if signals > 1 else ''} signalled: find and remove the cause first"
    )
    return capability(
        readings,
        lower=question.lower,
        upper=question.upper,
        target=question.target,
        sigma=outcome.sigma,
        # a sigma that was given is known, however many readings there are
        sigma_df=outcome.sigma_df if question.setting.sigma is None else math.inf,
        wanted=question.wanted,
        confidence=question.confidence,
        stable=stable,
        unstable_because=because,
        shape=question.shape,
        resolution=question.setting.resolution,
    )


def _distribution(readings: Floats, kind: Kind) -> dict[str, Any]:
    out: dict[str, Any] = {
        "test": "anderson-darling",
        "statistic": None,
        "p_value": None,
        "n": int(readings.size),
    }
    if not kind.measured:
        return out | {"reason": "counts are not held against a normal distribution"}
    if kind.several:
        return out | {"reason": "several figures are not held against one normal distribution"}
    if readings.size < 8:
        return out | {"reason": f"{readings.size} readings are too few: at least 8 are needed"}
    if np.ptp(readings) == 0:
        return out | {"reason": "all readings are equal"}
    found = anderson_darling(readings)
    return out | {"statistic": number(found.statistic), "p_value": number(found.p_value)}

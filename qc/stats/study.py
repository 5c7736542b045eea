"""One question, one answer: the chart asked for, over one series or ten thousand, as the agreed JSON.

`study_frame` is pure: a frame of readings in, a `SeriesStudy` per series out. Reading files, drawing and
printing are the business of `qc.jobs.study`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from scipy.special import log_ndtr

from qc.stats.capability import capability
from qc.stats.capability_result import Capability
from qc.stats.charttable import ONLY, arrange, lengths
from qc.stats.errors import StatisticsError
from qc.stats.points import Chart, Floats, Signal, number
from qc.stats.study_kinds import KINDS, Outcome
from qc.stats.study_question import StudyQuestion


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
        here), and as the chart needs them `series`, `subgroup`, `size`, `against`, `place`.
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
    named = frame["series"].dtype != pl.String or frame["series"][0] != ONLY
    outcomes = KINDS[question.chart].build(frame, question)
    counts = lengths(frame)
    names = frame["series"].unique(maintain_order=True).to_list()
    readings = frame["value"].to_numpy()
    out: dict[str, SeriesStudy] = {}
    start = 0
    for name, count in zip(names, counts.tolist(), strict=True):
        part = readings[start : start + count]
        start += count
        outcome = outcomes[str(name)]
        if outcome.chart is None and not named:
            raise StatisticsError(outcome.reason)
        out[str(name)] = _answer(str(name) if named else None, part, outcome, question)
    return out


def _answer(series: str | None, readings: Floats, outcome: Outcome, question: StudyQuestion) -> SeriesStudy:
    kind = KINDS[question.chart]
    warnings = () if outcome.chart is None else outcome.chart.warnings
    found = None
    if question.has_limits and outcome.chart is not None:
        found = _capability(readings, outcome, question)
        if kind.measured is False:
            warnings += ("limits are for measured values: no capability is given for this chart",)
    return SeriesStudy(
        series=series,
        n=int(readings.size),
        points=outcome.points,
        chart=outcome.chart,
        capability=found if kind.measured else None,
        distribution=_distribution(readings, measured=kind.measured),
        warnings=warnings,
        reason=outcome.reason,
    )


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
        sigma_df=outcome.sigma_df,
        wanted=question.wanted,
        confidence=question.confidence,
        stable=stable,
        unstable_because=because,
        shape=question.shape,
        resolution=question.setting.resolution,
    )


def _distribution(readings: Floats, *, measured: bool) -> dict[str, Any]:
    out: dict[str, Any] = {
        "test": "anderson-darling",
        "statistic": None,
        "p_value": None,
        "n": int(readings.size),
    }
    if not measured:
        return out | {"reason": "counts are not held against a normal distribution"}
    if readings.size < 8:
        return out | {"reason": f"{readings.size} readings are too few: at least 8 are needed"}
    if np.ptp(readings) == 0:
        return out | {"reason": "all readings are equal"}
    statistic, p_value = _anderson_darling(readings)
    return out | {"statistic": number(statistic), "p_value": number(p_value)}


def _anderson_darling(readings: Floats) -> tuple[float, float]:
    """Give the adjusted statistic and p-value for a normal distribution with mean and sd estimated.

    D'Agostino & Stephens, "Goodness-of-fit techniques", 1986, table 4.9 and section 4.8.5.
    """
    n = readings.size
    z = np.sort((readings - readings.mean()) / readings.std(ddof=1))
    weight = 2 * np.arange(1, n + 1) - 1
    plain = -n - float(np.mean(weight * (log_ndtr(z) + log_ndtr(-z[::-1]))))
    a = plain * (1 + 0.75 / n + 2.25 / n**2)
    if a < 0.2:
        return a, 1 - math.exp(-13.436 + 101.14 * a - 223.73 * a**2)
    if a < 0.34:
        return a, 1 - math.exp(-8.318 + 42.796 * a - 59.938 * a**2)
    if a < 0.6:
        return a, math.exp(0.9177 - 4.279 * a - 1.38 * a**2)
    return a, math.exp(1.2937 - 5.709 * min(a, 13.0) + 0.0186 * min(a, 13.0) ** 2)

"""Trend chart: a characteristic that wears is judged by its distance from the line, not from a level.

An ordinary chart of a wearing tool floods with expected signals. Here a straight line is fitted against a
count (draws since fitted), the residuals have limits, and the count at which the line meets a limit is
forecast with its interval.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from qc.stats.charts.chart import Chart
from qc.stats.errors import StatisticsError
from qc.stats.numbers import (
    AS_THEY_ARE,
    Floats,
    Interval,
    Setting,
    as_number,
    as_readings,
    check_limits,
    check_paired,
    shown,
)
from qc.stats.tabled import Tabled


@dataclass(frozen=True, slots=True)
class Line(Tabled):
    """Least-squares line `intercept + slope x` with what is needed for its intervals.

    `sd` is the residual sd with `df` degrees of freedom; `mean_x` and `square_x` are mean and sum of squares
    of x.
    """

    n: int
    slope: float
    intercept: float
    sd: float
    df: int
    mean_x: float
    mean_y: float
    square_x: float

    @property
    def slope_se(self) -> float:
        """Standard error of the slope."""
        return self.sd / math.sqrt(self.square_x)

    @property
    def intercept_se(self) -> float:
        """Standard error of the intercept."""
        return self.sd * math.sqrt(1 / self.n + self.mean_x**2 / self.square_x)

    def at(self, x: Floats) -> Floats:
        """Height of the line."""
        return np.asarray(self.mean_y + self.slope * (x - self.mean_x))

    def slope_interval(self, confidence: float = 0.95) -> Interval:
        """Two-sided t interval of the slope."""
        reach = float(stdtrit(self.df, (1 + confidence) / 2)) * self.slope_se
        return self.slope - reach, self.slope + reach


@dataclass(frozen=True, slots=True)
class Crossing(Tabled):
    """Count at which the line meets a limit; without a count `reason` says why."""

    limit: float | None
    count: float | None
    interval: Interval | None
    reason: str | None = None


def fit_trend(x: ArrayLike, y: ArrayLike) -> Line:
    """Fit a straight line by least squares.

    Parameters
    ----------
    x, y : array-like of float, length n >= 3
        Count and reading. [any units]

    Raises
    ------
    StatisticsError
        Fewer than three points, lengths that differ, or a count that never changes.

    References
    ----------
    .. [1] NIST Statistical Reference Datasets, "Norris": certified values, in tests/published.

    Examples
    --------
    >>> line = fit_trend([1.0, 2.0, 3.0, 4.0], [2.0, 4.1, 5.9, 8.0])
    >>> round(line.slope, 3), round(line.intercept, 3)
    (1.98, 0.05)
    """
    x, y = _pairs(x, y)
    if x.size < 3:
        raise StatisticsError(f"a line through {x.size} points says nothing: at least 3 are needed")
    mean_x, mean_y = float(np.mean(x)), float(np.mean(y))
    dx, dy = x - mean_x, y - mean_y
    square_x = float(dx @ dx)
    if square_x == 0 or np.ptp(x) == 0:
        raise StatisticsError("the count never changes: a trend needs readings at different counts")
    slope = float(dx @ dy) / square_x
    residual = dy - slope * dx
    df = x.size - 2
    sd = math.sqrt(float(residual @ residual) / df)
    return Line(x.size, slope, mean_y - slope * mean_x, sd, df, mean_x, mean_y, square_x)


def line_crossing(line: Line, limit: float, confidence: float = 0.95) -> Crossing:
    """Count at which the line meets a limit, with its inverse-regression interval.

    Parameters
    ----------
    line : Line
        Fitted line.
    limit : float
        Height to be met. [unit of the readings]
    confidence : float
        Of the interval.

    Returns
    -------
    Crossing
        Interval of all counts at which the limit lies within the confidence band of the line; no count where
        the slope could be 0.

    Raises
    ------
    StatisticsError
        A confidence outside 0..1.

    References
    ----------
    .. [1] Fieller, J. Royal Statistical Society B 16 (1954): interval of a ratio; Draper & Smith, "Applied
       Regression Analysis", section on inverse regression.

    Examples
    --------
    >>> line = fit_trend([1.0, 2.0, 3.0, 4.0], [2.0, 4.1, 5.9, 8.0])
    >>> round(line_crossing(line, 20.0).count, 3)
    10.076
    """
    if not 0 < confidence < 1:
        raise StatisticsError(f"confidence is {confidence}: it must lie between 0 and 1")
    limit = as_number(limit, "limit")
    quantile = float(stdtrit(line.df, (1 + confidence) / 2))
    doubt = (quantile * line.slope_se) ** 2
    if line.slope**2 <= doubt:
        return Crossing(limit, None, None, "the slope is not clear: it could be 0")
    rise = limit - line.mean_y
    # (slope^2 - doubt) u^2 - 2 slope rise u + rise^2 - (t s)^2 / n = 0, u counted from the mean of x
    leading = line.slope**2 - doubt
    variance = (quantile * line.sd) ** 2
    root = math.sqrt(max(0.0, doubt * rise**2 + leading * variance / line.n))
    ends = sorted(line.mean_x + (line.slope * rise + sign * root) / leading for sign in (-1.0, 1.0))
    return Crossing(limit, line.mean_x + rise / line.slope, (ends[0], ends[1]))


def trend(
    values: ArrayLike,
    against: ArrayLike,
    setting: Setting = AS_THEY_ARE,
    *,
    lower: float | None = None,
    upper: float | None = None,
    confidence: float = 0.95,
) -> Chart:
    """Chart of the distance from a fitted line, with a forecast of when the line meets a limit.

    Parameters
    ----------
    values : array-like of float, length n >= 3
        Readings in order of making. [any unit]
    against : array-like of float, length n
        Count (or time) of each reading.
    setting : Setting
        Baseline (points that the line is fitted to), kind of limits, given sigma, resolution.
    lower, upper : float, optional
        Specification limits; the one the line heads for is forecast. [unit of `values`]
    confidence : float
        Of the intervals.

    Returns
    -------
    Chart
        `values` are residuals about 0; `extras` holds slope, intercept, slope interval and crossing. For
        prediction and guaranteed limits the doubt about the line makes the limits vary from point to point.

    Raises
    ------
    StatisticsError
        As for `fit_trend` and `line_crossing` (sources there); residuals without spread and neither sigma nor
        resolution given.

    Examples
    --------
    >>> chart = trend([2.0, 4.1, 5.9, 8.0], [1.0, 2.0, 3.0, 4.0], upper=20.0)
    >>> round(chart.extras["slope"], 2), round(chart.extras["crossing"]["count"], 2)
    (1.98, 10.08)
    """
    x, y = _pairs(against, values)
    base = setting.baseline.select(y.size)
    line = fit_trend(x[base], y[base])
    sigma, said = _sigma(line, setting)
    residuals = y - line.at(x)
    reach = _reach(line, x, sigma, setting)
    steady = setting.limits.method == "textbook"
    return Chart(
        kind="trend",
        center=0.0,
        lower=-float(np.median(reach)),
        upper=float(np.median(reach)),
        sigma=sigma,
        values=residuals,
        lowers=None if steady else -reach,
        uppers=None if steady else reach,
        warnings=said,
        extras={
            "slope": line.slope,
            "intercept": line.intercept,
            "slope_interval": list(line.slope_interval(confidence)),
            "crossing": _heading(line, lower, upper, confidence).to_dict(),
        },
    )


def _pairs(x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
    """Take counts and readings, one each."""
    x, y = as_readings(x, "count", least=1), as_readings(y, "value", least=1)
    check_paired(x.size, "counts", y.size, "readings")
    return x, y


def _sigma(line: Line, setting: Setting) -> tuple[float, tuple[str, ...]]:
    floor = 0.0 if setting.resolution is None else setting.resolution / math.sqrt(12)
    sigma = setting.sigma if setting.sigma is not None else max(line.sd, floor)
    # residuals of a perfect line are rounding, not spread
    if sigma <= 1e-13 * max(abs(line.mean_y), abs(line.slope) * math.sqrt(line.square_x)):
        raise StatisticsError("the readings lie on a line without any spread: give a resolution or a sigma")
    if setting.sigma is None and floor > line.sd:
        return sigma, (f"sigma was raised to {shown(sigma)}, the least the step of the gauge can show",)
    # common practice, no source
    if line.n < 20:
        return sigma, (f"the line rests on {line.n} points only",)
    return sigma, ()


def _reach(line: Line, x: Floats, sigma: float, setting: Setting) -> Floats:
    """How far from the line a limit stands at each point."""
    df = math.inf if setting.sigma is not None else float(line.df)
    doubt = 1 / line.n + (x - line.mean_x) ** 2 / line.square_x  # variance of the line over that of a reading
    if setting.limits.method == "textbook":
        return np.full(x.size, setting.limits.factor() * sigma)
    return sigma * np.array([setting.limits.factor(max(1.0, 1 / one), df) for one in doubt.tolist()])


def _heading(line: Line, lower: float | None, upper: float | None, confidence: float) -> Crossing:
    """Crossing of the limit that the line heads for."""
    check_limits(lower, upper)
    limit = upper if line.slope > 0 else lower
    if lower is None and upper is None:
        return Crossing(None, None, None, "no limit was given")
    if limit is None:
        return Crossing(None, None, None, "the line leads away from the one limit that was given")
    return line_crossing(line, limit, confidence)

"""Charts for rare faults: the time, or the number of good units, from one fault to the next."""

from __future__ import annotations

import math

import polars as pl
from numpy.typing import ArrayLike
from scipy.special import fdtri

from qc.stats.charts.chart import Chart
from qc.stats.charts.table import ChartTable, arrange, spread_out
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers import AS_THEY_ARE, THREE_SIGMA_RATE, Setting, as_readings, shown


def time_between(times: ArrayLike, setting: Setting = AS_THEY_ARE, *, units: bool = False) -> Chart:
    """Chart of the time, or the number of good units, between one rare fault and the next.

    Parameters
    ----------
    times : array-like of float >= 0, length m
        Time from fault to fault (or good units between them). [time, or units]
    setting : Setting
        Baseline, given centre (the mean); limits textbook (mean taken as known) or prediction.
    units : bool
        The figures are whole numbers of good units: geometric instead of exponential limits.

    Returns
    -------
    Chart
        Limits leave at most 0.135 % of a steady process on either side; a point below means that faults have
        become more frequent.

    Raises
    ------
    StatisticsError
        A negative time, a number of units that is not whole, or all times zero.

    References
    ----------
    .. [1] Exponential and geometric distribution functions; with an estimated mean the ratio of a time to
       the mean of m earlier ones has an F distribution with 2 and 2m degrees of freedom.

    Examples
    --------
    >>> chart = time_between([10.0, 20.0, 30.0])
    >>> chart.center, round(chart.lower, 4), round(chart.upper, 1)
    (20.0, 0.027, 132.2)
    """
    frame = pl.DataFrame({"value": as_readings(times, "time between faults", least=1)})
    return time_between_table(frame, setting, units=units).only()


def time_between_table(
    frame: pl.DataFrame, setting: Setting = AS_THEY_ARE, *, units: bool = False
) -> ChartTable:
    """Charts of times between faults of many series in one pass; options, errors, source as `time_between`.

    Parameters
    ----------
    frame : DataFrame
        `value` in order and, for several series, `series`.

    Examples
    --------
    >>> time_between_table(pl.DataFrame({"value": [3.0, 5.0]}), units=True).levels["center"].to_list()
    [4.0]
    """
    if setting.limits.method == "guaranteed" or setting.sigma is not None:
        raise StatisticsUsageError("time-between takes textbook or prediction limits and no sigma of its own")
    points = arrange(frame)
    low = float(points["value"].min())  # type: ignore[arg-type]
    if low < 0:
        raise StatisticsError(f"time between faults is {shown(low)}: it cannot be negative")
    if units and not bool((points["value"] == points["value"].round()).all()):
        raise StatisticsError("units between faults must be whole numbers; leave out --exact for times")
    base = setting.baseline.mask(pl.col("point"))
    mean = pl.col("value").filter(base).mean() if setting.center is None else pl.lit(float(setting.center))
    levels = points.group_by("series", maintain_order=True).agg(
        points=pl.len(), baseline_points=base.sum(), center=mean
    )
    known = setting.center is not None
    rows = [
        _between_limits(center, math.inf if known or setting.limits.method == "textbook" else count, units)
        for count, center in levels.select("baseline_points", "center").iter_rows()
    ]
    levels = levels.with_columns(
        lower=pl.Series([row[0] for row in rows], dtype=pl.Float64),
        upper=pl.Series([row[1] for row in rows], dtype=pl.Float64),
        sigma=(pl.col("center") * (pl.col("center") + 1)).sqrt() if units else pl.col("center"),
        reason=pl.when(~(pl.col("center") > 0).fill_null(False)).then(
            pl.lit("the mean time between faults is zero: a time above 0 in the baseline is needed")
        ),
    )
    points = points.select(
        "series",
        "point",
        "value",
        sd=spread_out(levels, "sigma"),
        lower=spread_out(levels, "lower"),
        upper=spread_out(levels, "upper"),
    )
    return ChartTable("time-between", points, levels)


def _between_limits(center: float | None, count: float, units: bool) -> tuple[float, float]:
    """Exact limits for one time between faults."""
    if center is None or not center > 0:
        return math.nan, math.nan
    low, high = THREE_SIGMA_RATE / 2, 1 - THREE_SIGMA_RATE / 2
    if units:  # P(X >= k) = (1 - p)^k with p = 1 / (1 + mean)
        stay = -math.log1p(1 / center)
        # a hair less before rounding up: a count exactly on the quantile must not become the next one
        lower = math.ceil(math.log1p(-low) / stay - 1 - 1e-9)
        return float(max(lower, 0)), float(math.ceil(math.log(low) / stay - 1 - 1e-9))
    if math.isinf(count):
        return -center * math.log1p(-low), -center * math.log(low)
    return center * float(fdtri(2, 2 * count, low)), center * float(fdtri(2, 2 * count, high))

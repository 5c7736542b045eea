"""Self-starting charts: each point judged by those before it, so that no baseline is needed.

Q statistics turn every point into a standard normal score, from the third on when nothing is known; a CUSUM
of them finds what lasts. A shift in the first few points is learned as normal: the change-point detector does
not have that weakness.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtr

from qc.stats.charts.chart import Chart, Companion
from qc.stats.charts.memory import PLAIN_CUSUM, CusumDesign, cusum_sum
from qc.stats.charts.table import ChartTable, arrange, lengths
from qc.stats.numbers import AS_THEY_ARE, Floats, Setting, as_readings

WIDTH = 3.0  # limits of the Q chart, in sd of Q, as for any chart of one point
LEAST_TAIL = 1e-300  # a probability below this has no score: scores end at 37


def q_statistics(values: ArrayLike, *, center: float | None = None, sigma: float | None = None) -> Floats:
    """Q statistics of single readings: standard normal and independent while nothing changes.

    Parameters
    ----------
    values : array-like of float, length n
        Readings in order of making. [any unit]
    center, sigma : float, optional
        Known mean and sd. [unit of `values`]

    Returns
    -------
    ndarray of float, length n
        Q_r; NaN where too little has been seen (the first two when nothing is known) or where all readings
        before agree. [sd]

    Raises
    ------
    StatisticsError
        A reading that is not finite, or a sigma that is not above 0.

    References
    ----------
    .. [1] Quesenberry, "SPC Q charts for start-up processes and short or long runs", J. Quality Technology 23
       (1991): Q_r = inverse normal of T_{r-2}(sqrt((r - 1) / r) (x_r - mean_{r-1}) / s_{r-1}).

    Examples
    --------
    >>> q = q_statistics([152.0, 148.0, 155.0, 150.0, 158.0, 147.0, 151.0, 170.0])
    >>> round(float(q[2]), 4), round(float(q[7]), 4)
    (0.8674, 2.8559)
    """
    frame = pl.DataFrame({"value": as_readings(values, least=1)})
    table = self_starting_table(frame, Setting(center=center, sigma=sigma))
    return table.points["value"].fill_null(np.nan).to_numpy()


def self_starting(
    values: ArrayLike, setting: Setting = AS_THEY_ARE, design: CusumDesign = PLAIN_CUSUM
) -> Chart:
    """Chart of Q statistics with a self-starting CUSUM beside it; errors as for `q_statistics`.

    Parameters
    ----------
    values : array-like of float, length n >= 3
        Readings in order of making. [any unit]
    setting : Setting
        Known centre and sigma, resolution; baseline and kind of limits have no say.
    design : CusumDesign
        Of the CUSUM.

    Returns
    -------
    Chart
        `values` are Q (NaN where too little is known), limits -3 and 3; the companion holds `high` and `low`.

    References
    ----------
    .. [1] As for `q_statistics`; Hawkins, "Self-starting CUSUM charts", The Statistician 36 (1987).

    Examples
    --------
    >>> chart = self_starting([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> round(float(chart.companion.values["high"][-1]), 6)
    3.152743
    """
    table = self_starting_table(pl.DataFrame({"value": as_readings(values, least=3)}), setting)
    table.only()  # says why where there is no chart
    return self_starting_charts(table, design)[""]


def self_starting_table(frame: pl.DataFrame, setting: Setting = AS_THEY_ARE) -> ChartTable:
    """Q charts of many series in one pass; setting as for `self_starting`, source as for `q_statistics`.

    Parameters
    ----------
    frame : DataFrame
        `value` (finite) in order of making and, for several series, `series`; with `model` each piece is
        judged by earlier ones of its own model, on one time line.

    Returns
    -------
    ChartTable
        `value` is Q, `reading` the plain reading.

    Examples
    --------
    >>> frame = pl.DataFrame({"value": [1.0, 2.0, 3.0, 2.0]})
    >>> self_starting_table(frame).points["value"].is_null().to_list()
    [True, True, False, False]
    """
    points = arrange(frame)
    alike = ["series", "model"] if "model" in points.columns else ["series"]
    # sums about the mean of the whole series keep their digits; which origin they have does not change Q
    origin = pl.col("value").mean().over(alike) if setting.center is None else pl.lit(setting.center)
    points = points.with_columns(d=pl.col("value") - origin)
    before = points.select(
        r=pl.int_range(1, pl.len() + 1).over(alike).cast(pl.Float64),
        d="d",
        total=pl.col("d").cum_sum().over(alike) - pl.col("d"),
        square=(pl.col("d") ** 2).cum_sum().over(alike) - pl.col("d") ** 2,
    )
    r, d, total, square = (before[name].to_numpy() for name in ("r", "d", "total", "square"))
    q = _scores(r, d, total, square, setting)
    points = points.select(
        "series",
        "point",
        reading="value",
        value=pl.Series(q).fill_nan(None),
        sd=pl.lit(1.0),
        lower=pl.lit(-WIDTH),
        upper=pl.lit(WIDTH),
    )
    levels = points.group_by("series", maintain_order=True).agg(
        points=pl.len(), judged=pl.col("value").count()
    )
    words = "{} readings that all agree, or fewer than 3, give no score: at least 3 that differ are needed"
    few = pl.when(pl.col("judged") == 0).then(pl.format(words, "points"))
    levels = levels.with_columns(
        center=pl.lit(0.0), sigma=pl.lit(1.0), lower=pl.lit(-WIDTH), upper=pl.lit(WIDTH), reason=few
    )
    return ChartTable("self-starting", points, levels)


def self_starting_charts(table: ChartTable, design: CusumDesign = PLAIN_CUSUM) -> dict[str, Chart]:
    """Q charts by series name, each with its CUSUM beside it and a sentence where that has run over.

    Parameters
    ----------
    table, design
        From `self_starting_table`; reference value and decision interval are in sd of Q.

    Examples
    --------
    >>> table = self_starting_table(pl.DataFrame({"value": [1.0, 2.0, 3.0, 2.0]}))
    >>> self_starting_charts(table)[""].companion.kind
    'cusum'
    """
    counts = lengths(table.points)
    # a point without a score leaves the sums where they are
    q = table.points["value"].fill_null(np.nan).to_numpy()
    up = np.where(np.isnan(q), 0.0, q - design.reference)
    down = np.where(np.isnan(q), 0.0, -q - design.reference)
    high, low = cusum_sum(up, counts, design.head_start), cusum_sum(down, counts, design.head_start)
    begin = dict(zip(table.levels["series"].cast(pl.String), np.cumsum(counts) - counts, strict=True))
    out: dict[str, Chart] = {}
    for name, chart in table.charts().items():
        rows = slice(int(begin[name]), int(begin[name]) + len(chart.values))
        part = {"high": high[rows], "low": low[rows]}
        companion = Companion("cusum", 0.0, -design.decision, design.decision, part)
        out[name] = replace(chart, companion=companion, warnings=chart.warnings + _said(part, design))
    return out


def _said(sums: dict[str, Floats], design: CusumDesign) -> tuple[str, ...]:
    out = []
    for side, total in (("above", sums["high"]), ("below", sums["low"])):
        over = np.flatnonzero(total > design.decision)
        if over.size:
            zeros = np.flatnonzero(total[: over[0]] == 0)
            start = int(zeros[-1]) + 2 if zeros.size else 1
            out.append(
                f"cusum chart: the level has been {side} what went before since about point {start} "
                f"(decision interval passed at point {int(over[0]) + 1})"
            )
    return tuple(out)


def _scores(r: Floats, d: Floats, total: Floats, square: Floats, setting: Setting) -> Floats:
    """Give Q of every point from sums over the points before it; `d` counts from the known mean if any."""
    floor = 0.0 if setting.resolution is None else setting.resolution**2 / 12
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = total / (r - 1)
        if setting.sigma is not None:
            if setting.center is not None:
                return np.asarray(d / setting.sigma)
            return np.where(r > 1, np.sqrt((r - 1) / r) * (d - mean) / setting.sigma, np.nan)
        if setting.center is not None:
            df, shift, stretch = r - 1, d, np.ones_like(r)
            variance = square / (r - 1)
        else:
            df, shift, stretch = r - 2, d - mean, np.sqrt((r - 1) / r)
            variance = (square - total**2 / (r - 1)) / (r - 2)
        variance = np.maximum(variance, floor)
        # sums that cancel leave rounding behind: a variance that small is none
        known = (df >= 1) & (variance > 1e-14 * np.maximum(square / np.maximum(r - 1, 1), 1e-300))
        t = np.where(known, stretch * shift / np.sqrt(variance), np.nan)
        # by the lower tail on both sides, so that far points keep their score
        tail = stdtr(np.where(known, df, 1.0), -np.abs(t))
        return np.asarray(-np.sign(t) * ndtri(np.maximum(tail, LEAST_TAIL)))

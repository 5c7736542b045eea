"""Charts with a memory: EWMA and tabular CUSUM, over many series in one pass.

Both recursions have closed forms. The smoothed value is a running exponential mean with its start corrected;
a CUSUM is its running sum less the running minimum of that sum, or less 0 where that is smaller.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import ArrayLike

from qc.stats.charts.chart import Chart, Side, Signal
from qc.stats.charts.measured import individuals_table
from qc.stats.charts.table import ChartTable, lengths, signals_by_series, spread_out
from qc.stats.errors import StatisticsError
from qc.stats.numbers import AS_THEY_ARE, LIMIT, SLACK, Flags, Floats, Places, Setting, as_readings


@dataclass(frozen=True, slots=True)
class EwmaDesign:
    """Weight of the newest point and width of the limits in sd of the smoothed value.

    The default has an in-control run length of 371 (Lucas & Saccucci 1990; recomputed).
    """

    weight: float = 0.2
    width: float = 2.86
    time_varying: bool = False

    def __post_init__(self) -> None:
        if not 0 < self.weight <= 1:
            raise StatisticsError(f"weight is {self.weight}: it must lie above 0 and at most at 1")
        if not (self.width > 0 and math.isfinite(self.width)):
            raise StatisticsError(f"width is {self.width}: it must be above 0")


@dataclass(frozen=True, slots=True)
class CusumDesign:
    """Reference value and decision interval in sigma; `fast_start` begins at half the decision interval.

    The default has a two-sided in-control run length of 465 (Montgomery & Runger, table 16-9).
    """

    reference: float = 0.5
    decision: float = 5.0
    fast_start: bool = False

    def __post_init__(self) -> None:
        if not (self.reference >= 0 and math.isfinite(self.reference)):
            raise StatisticsError(f"reference is {self.reference}: it must be a number from 0 up")
        if not (self.decision > 0 and math.isfinite(self.decision)):
            raise StatisticsError(f"decision is {self.decision}: it must be above 0")

    @property
    def head_start(self) -> float:
        """Where both sums begin, in sigma."""
        return self.decision / 2 if self.fast_start else 0.0


PLAIN_EWMA, PLAIN_CUSUM = EwmaDesign(), CusumDesign()
SUMS: tuple[tuple[Side, str], ...] = (("above", "high"), ("below", "low"))


def ewma(values: ArrayLike, setting: Setting = AS_THEY_ARE, design: EwmaDesign = PLAIN_EWMA) -> Chart:
    """Exponentially weighted moving average chart of single readings.

    Parameters
    ----------
    values : array-like of float, length n
        Readings in order of making. [any unit]
    setting : Setting
        Baseline, given centre and sigma (of one reading). The smoothing starts at the centre.
    design : EwmaDesign
        Weight, width, and whether the limits open up over the first points.

    Returns
    -------
    Chart
        `values` are the smoothed ones; signals carry as `start` the point after the last crossing of the
        centre.

    Raises
    ------
    StatisticsError
        As for `individuals`, or a weight outside 0..1.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 "EWMA control charts".
    .. [2] Lucas & Saccucci, Technometrics 32 (1990).

    Examples
    --------
    >>> chart = ewma([0.5, -0.2, 1.1, 0.9, 1.4, 1.8], Setting(center=0.0, sigma=1.0), EwmaDesign(0.2, 2.86))
    >>> round(float(chart.values[-1]), 5), round(chart.upper, 4)
    (0.82822, 0.9533)
    """
    table = ewma_table(pl.DataFrame({"value": as_readings(values, least=1)}), setting, design)
    chart = table.only()
    return replace(chart, signals=ewma_signals(table).get("", ()))


def ewma_table(
    frame: pl.DataFrame, setting: Setting = AS_THEY_ARE, design: EwmaDesign = PLAIN_EWMA
) -> ChartTable:
    """EWMA charts of many series in one pass; setting, design, errors and sources as for `ewma`.

    Parameters
    ----------
    frame : DataFrame
        `value` in order of making and, for several series, `series`.

    Returns
    -------
    ChartTable
        `value` is the smoothed one, `reading` the plain one.

    Examples
    --------
    >>> frame = pl.DataFrame({"value": [1.0, 2.0]})
    >>> table = ewma_table(frame, Setting(center=0.0, sigma=1.0), EwmaDesign(0.5))
    >>> table.points["value"].to_list()
    [0.5, 1.25]
    """
    base = individuals_table(frame, setting)
    levels = base.levels
    w = design.weight
    deviation = base.points.select("series", "point", d=pl.col("value") - spread_out(levels, "center"))
    # the running mean of the library starts at the first deviation; ours at the centre: what differs decays
    started = pl.col("d").ewm_mean(alpha=w, adjust=False).over("series")
    first = pl.col("d").first().over("series")
    smooth = deviation.select(s=started - first * (1 - w) ** pl.col("point").cast(pl.Float64))["s"]
    share = w / (2 - w)
    settled = pl.Series(np.full(smooth.len(), share))
    grown = share * (1 - (1 - w) ** (2.0 * base.points["point"].cast(pl.Float64)))
    sd = spread_out(levels, "sigma") * (grown if design.time_varying else settled).sqrt()
    center = spread_out(levels, "center")
    points = base.points.select(
        "series",
        "point",
        reading=pl.col("value"),
        value=smooth + center,
        sd=sd,
        lower=center - design.width * sd,
        upper=center + design.width * sd,
    )
    reach = design.width * math.sqrt(share)
    levels = levels.with_columns(
        lower=pl.col("center") - reach * pl.col("sigma"), upper=pl.col("center") + reach * pl.col("sigma")
    )
    return ChartTable("ewma", points, levels, varying=design.time_varying, warnings=base.warnings)


def ewma_signals(table: ChartTable) -> dict[str, tuple[Signal, ...]]:
    """Points of an EWMA outside its limits; the start is the point after the last crossing of the centre.

    Examples
    --------
    >>> table = ewma_table(pl.DataFrame({"value": [-1.0, 4.0, 4.0]}), Setting(center=0.0, sigma=1.0))
    >>> [(s.point, s.start, s.size) for s in ewma_signals(table)[""]]
    [(3, 2, 4.0)]
    """
    points = table.points
    center = spread_out(table.levels, "center").to_numpy()
    value = points["value"].to_numpy()
    slack = SLACK * points["sd"].to_numpy()
    above = value > points["upper"].to_numpy() + slack
    below = value < points["lower"].to_numpy() - slack
    side = np.sign(value - center)
    first = points["point"].to_numpy() == 1
    begins = first | np.append(True, side[1:] != side[:-1])
    start = np.maximum.accumulate(np.where(begins, np.arange(value.size), 0))
    deviation = points["reading"].to_numpy() - center
    return _memory_signals(table, deviation, [("above", above, start), ("below", below, start)])


def cusum(values: ArrayLike, setting: Setting = AS_THEY_ARE, design: CusumDesign = PLAIN_CUSUM) -> Chart:
    """Tabular CUSUM of single readings, both sides.

    Parameters
    ----------
    values : array-like of float, length n
        Readings in order of making. [any unit]
    setting : Setting
        Baseline, given centre (the target) and sigma.
    design : CusumDesign
        Reference value, decision interval, fast start.

    Returns
    -------
    Chart
        `values` holds `high` and `low` in sigma, both counted upwards; `upper` is the decision interval and
        `lower` its negative, where the low sum is drawn. `start` of a signal is the point after the last
        zero, `size` the mean deviation since then.

    Raises
    ------
    StatisticsError
        As for `individuals`, a negative reference, a decision interval that is not above 0.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3 "CUSUM control charts".
    .. [2] Lucas & Crosier, Technometrics 24 (1982): the fast start.

    Examples
    --------
    >>> chart = cusum([0.5, -0.2, 1.1, 0.9, 1.4, 1.8], Setting(center=0.0, sigma=1.0))
    >>> round(float(chart.values["high"][-1]), 10)
    3.2
    """
    table = cusum_table(pl.DataFrame({"value": as_readings(values, least=1)}), setting, design)
    chart = table.only()
    return replace(chart, signals=cusum_signals(table, design).get("", ()))


def cusum_table(
    frame: pl.DataFrame, setting: Setting = AS_THEY_ARE, design: CusumDesign = PLAIN_CUSUM
) -> ChartTable:
    """CUSUMs `high` and `low`, in sigma, of many series in one pass; the rest as for `cusum`, sources too.

    Parameters
    ----------
    frame : DataFrame
        `value` in order of making and, for several series, `series`.

    Examples
    --------
    >>> table = cusum_table(pl.DataFrame({"value": [1.0, 2.0, -3.0]}), Setting(center=0.0, sigma=1.0))
    >>> table.points["high"].to_list(), table.points["low"].to_list()
    ([0.5, 2.0, 0.0], [0.0, 0.0, 2.5])
    """
    base = individuals_table(frame, setting)
    levels = base.levels
    z = (base.points["value"] - spread_out(levels, "center")) / spread_out(levels, "sigma")
    counts = lengths(base.points)
    points = base.points.select(
        "series",
        "point",
        "value",
        sd=spread_out(levels, "sigma"),
        high=pl.Series(cusum_sum(z.to_numpy() - design.reference, counts, design.head_start)),
        low=pl.Series(cusum_sum(-z.to_numpy() - design.reference, counts, design.head_start)),
        lower=pl.lit(-design.decision),
        upper=pl.lit(design.decision),
    )
    levels = levels.with_columns(lower=pl.lit(-design.decision), upper=pl.lit(design.decision))
    return ChartTable("cusum", points, levels, warnings=base.warnings)


def cusum_sum(steps: Floats, counts: np.ndarray, head_start: float = 0.0) -> Floats:
    """Sum the steps of each series, held at 0 from below, in closed form: S_i = max(0, S_{i-1} + steps_i).

    Parameters
    ----------
    steps : ndarray of float, length n
        Standardised deviation less the reference value. [sigma]
    counts : ndarray of int
        Lengths of the series that follow one another in `steps`.
    head_start : float
        Value before the first step. [sigma]

    References
    ----------
    .. [1] The identity S_i = C_i - min(0, min_{j<=i} C_j), C the running sum with the head start: any text
       on reflected random walks.

    Examples
    --------
    >>> cusum_sum(np.array([1.0, -2.0, 0.5]), np.array([3])).tolist()
    [1.0, 0.0, 0.5]
    """
    frame = pl.DataFrame({"series": np.repeat(np.arange(counts.size), counts), "step": steps})
    running = pl.col("step").cum_sum().over("series") + head_start
    total = frame.select("series", total=running)
    lowest = pl.min_horizontal(pl.col("total").cum_min().over("series"), pl.lit(0.0))
    return total.select(s=pl.col("total") - lowest)["s"].to_numpy()


def cusum_signals(table: ChartTable, design: CusumDesign) -> dict[str, tuple[Signal, ...]]:
    """Points of a CUSUM beyond its decision interval; the start is the point after the last zero.

    Examples
    --------
    >>> design = CusumDesign(decision=4.0)
    >>> table = cusum_table(pl.DataFrame({"value": [-1.0, 3.0, 3.0]}), Setting(center=0.0, sigma=1.0), design)
    >>> [(s.point, s.side, s.start, s.size) for s in cusum_signals(table, design)[""]]
    [(3, 'above', 2, 3.0)]
    """
    points = table.points
    deviation = points["value"].to_numpy() - spread_out(table.levels, "center").to_numpy()
    first = points["point"].to_numpy() == 1
    sides: list[tuple[Side, Flags, Places]] = []
    for side, column in SUMS:
        total = points[column].to_numpy()
        after_zero = first | np.append(True, total[:-1] == 0)
        start = np.maximum.accumulate(np.where(after_zero, np.arange(total.size), 0))
        sides.append((side, total > design.decision + SLACK, start))
    return _memory_signals(table, deviation, sides)


def _memory_signals(
    table: ChartTable, deviation: Floats, sides: Sequence[tuple[Side, Flags, Places]]
) -> dict[str, tuple[Signal, ...]]:
    """Turn flags into signals; sizes are of the readings since the start, since sums carry older ones."""
    charted = table.levels.select("points", charted=pl.col("reason").is_null())
    known = spread_out(charted, "charted").to_numpy()
    rows = sorted(
        (int(r), side, int(start[r])) for side, over, start in sides for r in np.flatnonzero(over & known)
    )
    return signals_by_series(
        table, ((r, LIMIT, side, begin, float(np.mean(deviation[begin : r + 1]))) for r, side, begin in rows)
    )

"""Phase I: find a settled baseline among first points that may hold odd ones, without hiding a single one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import polars as pl
from numpy.typing import ArrayLike

from qc.stats.charts.chart import Chart
from qc.stats.charts.measured import individuals_table
from qc.stats.charts.rule_signals import find_signals
from qc.stats.charts.table import ChartTable
from qc.stats.numbers import AS_THEY_ARE, LIMIT, Rule, Setting, as_readings
from qc.stats.tabled import Tabled

# chosen: each round leaves out at least one point; a baseline of usual length is settled in two or three
MOST_ROUNDS = 20
LARGEST_SHARE = 0.5  # more than half the baseline odd is no baseline: screening stops there


@dataclass(frozen=True, slots=True)
class Screening(Tabled):
    """Chart with limits from the points that were kept; `left_out` lists every other one.

    Attributes
    ----------
    chart : Chart
        Limits from the kept points; all points are plotted.
    left_out : tuple of int
        Points of the baseline that did not set the limits, from 1.
    rounds : int
        How often limits were computed anew.
    settled : bool
        Whether the last round left nothing more out.
    """

    chart: Chart
    left_out: tuple[int, ...]
    rounds: int
    settled: bool


def screen(values: ArrayLike, setting: Setting = AS_THEY_ARE) -> Screening:
    """Leave points beyond the limits out of the baseline, again and again, until none is beyond.

    Parameters
    ----------
    values : array-like of float, length n
        Readings in order of making. [any unit]
    setting : Setting
        Baseline to screen, kind of limits.

    Returns
    -------
    Screening
        A point is only left out of the limits, never off the chart, and is listed. Leaving points out without
        a found cause makes limits too tight: look for the cause of each. Refused as `individuals` refuses.

    References
    ----------
    .. [1] Montgomery & Runger, "Applied Statistics and Probability for Engineers", 16-5: revised limits.

    Examples
    --------
    >>> screen([10.0, 10.2, 9.9, 10.1, 15.0, 10.0, 9.8, 10.1, 10.2, 9.9, 10.0, 10.1]).left_out
    (5,)
    """
    frame = pl.DataFrame({"value": as_readings(values)})
    return screen_frame(frame, setting, individuals_table)


def screen_frame(
    frame: pl.DataFrame, setting: Setting, build: Callable[[pl.DataFrame, Setting], ChartTable]
) -> Screening:
    """Screen one series with any chart that has points and limits; setting and source as for `screen`.

    Parameters
    ----------
    frame : DataFrame
        Rows of one series.
    build : callable
        Makes the chart table, for example `individuals_table`; what it refuses is refused here.

    Examples
    --------
    >>> screen_frame(pl.DataFrame({"value": [1.0, 2.0, 1.5]}), Setting(), individuals_table).settled
    True
    """
    left: set[int] = set()
    rounds = 0
    while True:
        baseline = replace(setting.baseline, left_out=tuple(sorted(left)))
        table = build(frame, replace(setting, baseline=baseline))
        chart = table.only()
        rounds += 1
        flagged = {signal.point for part in find_signals(table, [Rule(LIMIT)]).values() for signal in part}
        # later points beyond the limits are what the chart is for; only those that set limits can leave
        inside = {point for point in flagged if baseline.holds(point)}
        total = len(chart.values) if setting.baseline.last is None else setting.baseline.last
        length = min(total, len(chart.values)) - setting.baseline.first + 1
        if not inside or rounds >= MOST_ROUNDS or len(left | inside) > LARGEST_SHARE * length:
            return Screening(chart, tuple(sorted(left)), rounds, not inside)
        left |= inside

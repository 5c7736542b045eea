"""What building a chart yields for a study, and the way from a table of charts to one outcome per series."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from qc.stats.charts import Chart, ChartTable, Signal, find_signals, lengths
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers import LIMIT, Rule, shown


@dataclass(frozen=True, slots=True)
class Outcome:
    """The chart of one series, or the reason why there is none, and what its capability rests on.

    `sigma` and `sigma_df` are the short-term spread of single readings for Cp and Cpk; `unstable` says why
    the series is no settled process where that does not follow from its signals.
    """

    points: int
    chart: Chart | None
    reason: str | None = None
    sigma: float | None = None
    sigma_df: float | None = None
    unstable: str | None = None


Outcomes = dict[str, Outcome]


def table_outcomes(
    table: ChartTable,
    signals: Mapping[str, tuple[Signal, ...]],
    warnings: tuple[str, ...] = (),
    *,
    single_readings: bool = True,
) -> Outcomes:
    """Turn a table of charts and the signals found on it into one outcome per series.

    Parameters
    ----------
    table : ChartTable
        Charts of many series.
    signals : mapping of series name to tuple of Signal
        As `find_signals` gives them.
    warnings : tuple of str
        Sentences that hold for every series.
    single_readings : bool
        Whether `sigma` of the charts is that of one reading.

    Returns
    -------
    dict of series name to Outcome
    """
    charts = table.charts()
    said = companion_sentences(table)
    columns = table.levels.columns
    # subgroups know the degrees of freedom of their sigma; what a moving range is worth is told by
    # `study_capability`, which knows the baseline
    degrees = table.levels["sigma_df"].to_list() if "typical" in columns and "sigma_df" in columns else None
    out: Outcomes = {}
    levels = table.levels.select("series", "points", "reason")
    for row, (series, points, reason) in enumerate(levels.iter_rows()):
        name = str(series)
        if reason is not None:
            out[name] = Outcome(points, None, reason)
            continue
        chart = charts[name]
        more = chart.warnings + warnings + tuple(said.get(name, ()))
        chart = replace(chart, signals=signals.get(name, ()), warnings=more)
        out[name] = Outcome(
            points,
            chart,
            sigma=chart.sigma if single_readings else None,
            sigma_df=degrees[row] if degrees is not None else None,
        )
    return out


def with_rules(chart: Chart, rules: tuple[Rule, ...], name: str) -> Chart:
    """Apply rules to one chart that was built on its own.

    Parameters
    ----------
    chart : Chart
        With limits for all points or for each.
    rules : tuple of Rule
        Rules to apply.
    name : str
        Series name.

    Returns
    -------
    Chart
        With its signals.
    """
    assert isinstance(chart.values, np.ndarray) and chart.sigma is not None
    count = chart.values.size
    points = pl.DataFrame(
        {
            "series": [name] * count,
            "point": np.arange(1, count + 1, dtype=np.uint32),
            "value": chart.values,
            "sd": np.full(count, chart.sigma),
            "lower": np.full(count, chart.lower) if chart.lowers is None else chart.lowers,
            "upper": np.full(count, chart.upper) if chart.uppers is None else chart.uppers,
        }
    )
    levels = pl.DataFrame(
        {"series": [name], "points": [count], "center": [chart.center], "sigma": [chart.sigma]}
    )
    return replace(chart, signals=find_signals(ChartTable(chart.kind, points, levels), rules).get(name, ()))


def only_limit(rules: tuple[Rule, ...]) -> tuple[str, ...]:
    """Say that pattern rules are left aside on a chart whose points depend on one another."""
    if all(rule.name == LIMIT for rule in rules):
        return ()
    return ("pattern rules need independent points: on this chart only beyond-limit is used",)


def series_of(frame: pl.DataFrame) -> Iterator[tuple[str, pl.DataFrame]]:
    """Cut an arranged frame into its series, each with its name."""
    start = 0
    for count in lengths(frame).tolist():
        part = frame.slice(start, count)
        start += count
        yield str(part["series"][0]), part


def each_series(frame: pl.DataFrame, build: Callable[[str, pl.DataFrame], Outcome]) -> Outcomes:
    """Build series by series; one that cannot be charted keeps its reason."""
    out: Outcomes = {}
    for name, part in series_of(frame):
        try:
            out[name] = build(name, part)
        except StatisticsUsageError:
            raise
        except StatisticsError as error:
            out[name] = Outcome(part.height, None, str(error))
    return out


def points_of(frame: pl.DataFrame) -> pl.DataFrame:
    """Take readings as points; with subgroups each point is the mean of one."""
    if "subgroup" not in frame.columns:
        return frame
    return frame.group_by("series", "subgroup", maintain_order=True).agg(pl.col("value").mean())


def companion_sentences(table: ChartTable) -> dict[str, list[str]]:
    """Say which points of the spread chart lie outside its limits."""
    if table.companion_kind is None:
        return {}
    # rounding of a limit must not put a point beyond it, as `rules.SLACK`
    slack = 1e-9 * pl.col("companion_upper").abs()
    outside = (
        table.companion_points()
        .with_columns(
            above=pl.col("companion") > pl.col("companion_upper") + slack,
            below=pl.col("companion") < pl.col("companion_lower") - slack,
        )
        .filter(pl.col("above") | pl.col("below"))
    )
    out: dict[str, list[str]] = {}
    for series, point, value, lower, upper, above, _ in outside.iter_rows():
        limit = f"above its upper limit {shown(upper)}" if above else f"below its lower limit {shown(lower)}"
        sentence = f"{table.companion_kind} chart: point {point} ({shown(value)}) is {limit}"
        out.setdefault(str(series), []).append(sentence)
    return out

"""Which chart kinds there are, what each needs, and how a frame of readings becomes charts of that kind."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import polars as pl

from qc.stats.charttable import ChartTable
from qc.stats.measured import individuals_table, subgroup_table
from qc.stats.memory import cusum_signals, cusum_table, ewma_signals, ewma_table
from qc.stats.points import Chart, Signal, shown
from qc.stats.rules import LIMIT, find_signals
from qc.stats.study_question import StudyQuestion

Outcomes = dict[str, "Outcome"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """The chart of one series, or the reason why there is none, and what its capability rests on."""

    points: int
    chart: Chart | None
    reason: str | None = None
    sigma: float | None = None
    sigma_df: float | None = None
    unstable: str | None = None


@dataclass(frozen=True, slots=True)
class Kind:
    """A chart kind: how it is built, which columns it cannot do without, whether it is of measured values."""

    build: Callable[[pl.DataFrame, StudyQuestion], Outcomes]
    needs: tuple[str, ...] = ()
    measured: bool = True
    several: bool = False


def _individuals(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    table = individuals_table(_points_of(frame), question.setting)
    return table_outcomes(table, find_signals(table, question.rules))


def _mean_range(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    table = subgroup_table(frame, question.setting, spread="range")
    return table_outcomes(table, find_signals(table, question.rules))


def _mean_sd(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    table = subgroup_table(frame, question.setting, spread="sd")
    return table_outcomes(table, find_signals(table, question.rules))


def _ewma(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    table = ewma_table(_points_of(frame), question.setting, question.ewma)
    return table_outcomes(table, ewma_signals(table) if question.rules else {}, _only_limit(question))


def _cusum(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    table = cusum_table(_points_of(frame), question.setting, question.cusum)
    signals = cusum_signals(table, question.cusum) if question.rules else {}
    return table_outcomes(table, signals, _only_limit(question))


KINDS: dict[str, Kind] = {
    "individuals": Kind(_individuals),
    "mean-range": Kind(_mean_range, needs=("subgroup",)),
    "mean-sd": Kind(_mean_sd, needs=("subgroup",)),
    "ewma": Kind(_ewma),
    "cusum": Kind(_cusum),
}


def table_outcomes(
    table: ChartTable, signals: Mapping[str, tuple[Signal, ...]], warnings: tuple[str, ...] = ()
) -> Outcomes:
    """Turn a table of charts and the signals found on it into one outcome per series."""
    charts = table.charts()
    said = _companion_sentences(table)
    degrees = table.levels["sigma_df"] if "sigma_df" in table.levels.columns else None
    subgroups = "typical" in table.levels.columns
    out: Outcomes = {}
    for row, (series, points, reason) in enumerate(
        table.levels.select("series", "points", "reason").iter_rows()
    ):
        name = str(series)
        if reason is not None:
            out[name] = Outcome(points, None, reason)
            continue
        chart = charts[name]
        chart = replace(
            chart,
            signals=signals.get(name, ()),
            warnings=chart.warnings + warnings + tuple(said.get(name, ())),
        )
        df = float(degrees[row]) if degrees is not None and subgroups else None
        out[name] = Outcome(points, chart, sigma=chart.sigma, sigma_df=df)
    return out


def _points_of(frame: pl.DataFrame) -> pl.DataFrame:
    """Take readings as points; with subgroups each point is the mean of one."""
    if "subgroup" not in frame.columns:
        return frame
    return frame.group_by("series", "subgroup", maintain_order=True).agg(pl.col("value").mean())


def _only_limit(question: StudyQuestion) -> tuple[str, ...]:
    if all(rule.name == LIMIT for rule in question.rules):
        return ()
    return ("pattern rules need independent points: on this chart only beyond-limit is used",)


def _companion_sentences(table: ChartTable) -> dict[str, list[str]]:
    """Say which points of the spread chart lie outside its limits."""
    if table.companion_kind is None:
        return {}
    slack = 1e-9 * pl.col("companion_upper").abs()
    outside = (
        table.points.select("series", "point", "companion", "companion_lower", "companion_upper")
        .with_columns(
            above=pl.col("companion") > pl.col("companion_upper") + slack,
            below=pl.col("companion") < pl.col("companion_lower") - slack,
        )
        .filter(pl.col("above") | pl.col("below"))
    )
    out: dict[str, list[str]] = {}
    for series, point, value, lower, upper, above, _ in outside.iter_rows():
        limit = f"above its upper limit {shown(upper)}" if above else f"below its lower limit {shown(lower)}"
        out.setdefault(str(series), []).append(
            f"{table.companion_kind} chart: point {point} ({shown(value)}) is {limit}"
        )
    return out

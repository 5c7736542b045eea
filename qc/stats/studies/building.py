"""How a frame of readings becomes charts: one function a kind, with the name of the kind (`kinds.KINDS`)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import polars as pl

from qc.stats.charts import (
    Chart,
    ChartTable,
    CountKind,
    count_table,
    cusum_signals,
    cusum_table,
    ewma_signals,
    ewma_table,
    find_signals,
    individuals_table,
    screen_frame,
    self_starting_charts,
    self_starting_table,
    subgroup_table,
    t2_of_means,
    three_way_table,
    time_between_table,
)
from qc.stats.charts import mewma as mewma_chart
from qc.stats.charts import t2 as t2_chart
from qc.stats.charts import trend as trend_chart
from qc.stats.numbers import THREE_SIGMA_RATE, Floats, Setting
from qc.stats.studies.changes import changepoint as changepoint
from qc.stats.studies.outcome import (
    Outcome,
    Outcomes,
    each_series,
    only_limit,
    points_of,
    table_outcomes,
    with_rules,
)
from qc.stats.studies.question import StudyQuestion

MEWMA_RUN_LENGTH = 200.0  # as Prabhu & Runger 1997 tabulate (from memory)
MEWMA_WEIGHT = 0.1  # likewise
VALUE = "value:"  # columns of several figures carry this before their name


def individuals(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    """Chart single readings, or the means of subgroups, with moving ranges."""
    return _levels(points_of(frame), question, individuals_table, "subgroup" not in frame.columns)


def mean_range(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    """Chart means of subgroups with their ranges."""
    return _levels(frame, question, lambda rows, setting: subgroup_table(rows, setting, spread="range"))


def mean_sd(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    """Chart means of subgroups with their sds."""
    return _levels(frame, question, lambda rows, setting: subgroup_table(rows, setting, spread="sd"))


def _levels(
    frame: pl.DataFrame,
    question: StudyQuestion,
    build: Callable[[pl.DataFrame, Setting], ChartTable],
    single_readings: bool = True,
) -> Outcomes:
    if question.screen:
        return _screened(frame, question, build, single_readings)
    table = build(frame, question.setting)
    signals = find_signals(table, question.rules)
    return table_outcomes(table, signals, single_readings=single_readings)


def _screened(
    frame: pl.DataFrame,
    question: StudyQuestion,
    build: Callable[[pl.DataFrame, Setting], ChartTable],
    single_readings: bool,
) -> Outcomes:
    """Chart each series with limits from its screened baseline; every point left out is listed."""

    def one(name: str, part: pl.DataFrame) -> Outcome:
        found = screen_frame(part, question.setting, build)
        baseline = replace(question.setting.baseline, left_out=found.left_out)
        table = build(part, replace(question.setting, baseline=baseline))
        outcome = table_outcomes(table, find_signals(table, question.rules), single_readings=single_readings)[
            name
        ]
        assert outcome.chart is not None
        said = tuple(
            f"point {point} lies beyond the limits and sets none: find its cause" for point in found.left_out
        )
        if not found.settled:
            said += ("screening stopped: too many points lie beyond the limits for a baseline",)
        extras = {**outcome.chart.extras, "left_out": list(found.left_out)}
        chart = replace(outcome.chart, extras=extras, warnings=outcome.chart.warnings + said)
        return replace(outcome, chart=chart)

    return each_series(frame, one)


def three_way(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    """Chart means of pieces, moving ranges of the means, and the spread within pieces."""
    table = three_way_table(frame, question.setting, within=question.within)
    outcomes = table_outcomes(table, find_signals(table, question.rules), single_readings=False)
    for name, outcome in outcomes.items():
        if outcome.chart is not None:
            sd: Any = outcome.chart.extras["sd"]
            # capability is of single readings: between and within together
            outcomes[name] = replace(outcome, sigma=sd["total"])
    return outcomes


def ewma(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    """Chart exponentially weighted means."""
    table = ewma_table(points_of(frame), question.setting, question.ewma)
    signals = ewma_signals(table) if question.rules else {}
    return table_outcomes(
        table, signals, only_limit(question.rules), single_readings="subgroup" not in frame.columns
    )


def cusum(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    """Chart cumulative sums."""
    table = cusum_table(points_of(frame), question.setting, question.cusum)
    signals = cusum_signals(table, question.cusum) if question.rules else {}
    return table_outcomes(
        table, signals, only_limit(question.rules), single_readings="subgroup" not in frame.columns
    )


def self_starting(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    """Chart Q statistics from the first pieces on."""
    table = self_starting_table(points_of(frame), question.setting)
    outcomes = table_outcomes(table, find_signals(table, question.rules), single_readings=False)
    charts = self_starting_charts(table, question.cusum)
    return {
        name: outcome
        if outcome.chart is None
        else replace(outcome, chart=replace(charts[name], signals=outcome.chart.signals))
        for name, outcome in outcomes.items()
    }


def trend(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    """Chart readings about the line of what wears."""

    def one(name: str, part: pl.DataFrame) -> Outcome:
        chart = trend_chart(
            part["value"].to_numpy(),
            part["against"].to_numpy(),
            question.setting,
            lower=question.lower,
            upper=question.upper,
            confidence=question.confidence,
        )
        interval: Any = chart.extras["slope_interval"]
        # a clear slope alone makes it no settled process, although the chart about its line raises nothing
        wears = (
            None
            if interval[0] <= 0 <= interval[1]
            else "it follows a line: see where the line meets the limit"
        )
        chart = with_rules(chart, question.rules, name)
        return Outcome(part.height, chart, sigma=chart.sigma, unstable=wears)

    return each_series(frame, one)


def t2(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    """Chart several figures of a piece by Hotelling's T2; with subgroups, of their means."""

    def one(name: str, part: pl.DataFrame) -> Outcome:
        matrix, names = _figures(part)
        rate = question.false_alarm_rate or THREE_SIGMA_RATE
        if "subgroup" in part.columns:
            chart = t2_of_means(matrix, part["subgroup"].to_list(), names, question.setting.baseline, rate)
        else:
            chart = t2_chart(matrix, names, question.setting.baseline, rate)
        return _several(name, chart, question)

    return each_series(frame, one)


def mewma(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    """Chart several figures of a piece by their weighted means."""

    def one(name: str, part: pl.DataFrame) -> Outcome:
        matrix, names = _figures(part)
        rate = question.false_alarm_rate
        chart = mewma_chart(
            matrix,
            names,
            question.setting.baseline,
            weight=question.mewma_weight or MEWMA_WEIGHT,
            run_length=MEWMA_RUN_LENGTH if rate is None else 1 / rate,
        )
        return _several(name, chart, question)

    return each_series(frame, one)


def _several(name: str, chart: Chart, question: StudyQuestion) -> Outcome:
    signals = tuple(replace(signal, series=name or None) for signal in chart.signals)
    chart = replace(
        chart,
        signals=signals if question.rules else (),
        warnings=chart.warnings + only_limit(question.rules),
    )
    return Outcome(len(chart.values), chart)


def _counts(kind: CountKind) -> Callable[[pl.DataFrame, StudyQuestion], Outcomes]:
    def build(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
        table = count_table(frame, kind, question.setting, exact=question.exact, corrected=question.corrected)
        return table_outcomes(table, find_signals(table, question.rules), single_readings=False)

    return build


def time_between(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    """Chart the time between faults."""
    table = time_between_table(frame, question.setting, units=question.exact)
    rules = tuple(rule for rule in question.rules if rule.name == "beyond-limit")
    warnings = (
        () if rules == question.rules else ("times between faults are skewed: only beyond-limit is used",)
    )
    return table_outcomes(table, find_signals(table, rules), warnings, single_readings=False)


defects = _counts("defects")
defects_per_unit = _counts("defects-per-unit")
number_defective = _counts("number-defective")
proportion = _counts("proportion")


def _figures(part: pl.DataFrame) -> tuple[Floats, list[str]]:
    columns = [name for name in part.columns if name.startswith(VALUE)]
    return part.select(columns).to_numpy(), [name.removeprefix(VALUE) for name in columns]

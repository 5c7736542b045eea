"""Which chart kinds there are, what each needs, and how a frame of readings becomes charts of that kind."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
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
    mewma,
    screen_frame,
    self_starting_charts,
    self_starting_table,
    subgroup_table,
    t2,
    three_way_table,
    time_between_table,
    trend,
)
from qc.stats.errors import StatisticsUsageError
from qc.stats.numbers import THREE_SIGMA_RATE, Setting
from qc.stats.studies.changes import changepoint
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


@dataclass(frozen=True, slots=True)
class Kind:
    """A chart kind: how it is built, which columns it cannot do without, what else it takes.

    `measured` is false for counts, `several` true where a piece has several figures, `own_level` true where
    centre and sigma can be given, `limits` true where the kind of limits can be chosen.
    """

    build: Callable[[pl.DataFrame, StudyQuestion], Outcomes]
    needs: tuple[str, ...] = ()
    measured: bool = True
    several: bool = False
    own_level: bool = True
    limits: bool = False


def check_question(question: StudyQuestion) -> Kind:
    """Look the kind up and refuse options that do not go with it.

    Raises
    ------
    StatisticsUsageError
        An unknown kind, or an option that the kind cannot take.
    """
    if question.chart not in KINDS:
        raise StatisticsUsageError(f"chart {question.chart!r} is not known: use one of {', '.join(KINDS)}")
    kind, setting = KINDS[question.chart], question.setting
    if not kind.own_level and not (setting.center is None and setting.sigma is None):
        raise StatisticsUsageError(f"chart {question.chart} estimates its own level and spread: give neither")
    if not kind.limits and setting.limits.method != "textbook":
        raise StatisticsUsageError(f"chart {question.chart} has one kind of limits: leave --limits out")
    if kind.several and question.has_limits:
        raise StatisticsUsageError(f"chart {question.chart} judges several figures: give no limits of one")
    if question.screen and question.chart not in SCREENED:
        raise StatisticsUsageError(f"screening is for {', '.join(SCREENED)}")
    if question.counts is not None and question.chart != "changepoint":
        raise StatisticsUsageError("counts are named for chart changepoint only: the others are of one kind")
    return kind if question.counts is None else replace(kind, measured=False)


def _individuals(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    return _levels(points_of(frame), question, individuals_table, "subgroup" not in frame.columns)


def _mean_range(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    return _levels(frame, question, lambda rows, setting: subgroup_table(rows, setting, spread="range"))


def _mean_sd(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
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


def _three_way(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    table = three_way_table(frame, question.setting, within=question.within)
    outcomes = table_outcomes(table, find_signals(table, question.rules), single_readings=False)
    # capability is of single readings: between and within together
    return {
        name: outcome
        if outcome.chart is None
        else replace(outcome, sigma=outcome.chart.extras["sd"]["total"])
        for name, outcome in outcomes.items()
    }


def _ewma(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    table = ewma_table(points_of(frame), question.setting, question.ewma)
    signals = ewma_signals(table) if question.rules else {}
    return table_outcomes(
        table, signals, only_limit(question.rules), single_readings="subgroup" not in frame.columns
    )


def _cusum(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    table = cusum_table(points_of(frame), question.setting, question.cusum)
    signals = cusum_signals(table, question.cusum) if question.rules else {}
    return table_outcomes(
        table, signals, only_limit(question.rules), single_readings="subgroup" not in frame.columns
    )


def _self_starting(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    table = self_starting_table(points_of(frame), question.setting)
    outcomes = table_outcomes(table, find_signals(table, question.rules), single_readings=False)
    charts = self_starting_charts(table, question.cusum)
    return {
        name: outcome
        if outcome.chart is None
        else replace(outcome, chart=replace(charts[name], signals=outcome.chart.signals))
        for name, outcome in outcomes.items()
    }


def _trend(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    def one(name: str, part: pl.DataFrame) -> Outcome:
        chart = trend(
            part["value"].to_numpy(),
            part["against"].to_numpy(),
            question.setting,
            lower=question.lower,
            upper=question.upper,
            confidence=question.confidence,
        )
        low, high = chart.extras["slope_interval"]
        # a clear slope alone makes it no settled process, although the chart about its line raises nothing
        wears = None if low <= 0 <= high else "it follows a line: see where the line meets the limit"
        chart = with_rules(chart, question.rules, name)
        return Outcome(part.height, chart, sigma=chart.sigma, unstable=wears)

    return each_series(frame, one)


def _t2(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    def one(name: str, part: pl.DataFrame) -> Outcome:
        matrix, names = _figures(part)
        rate = question.false_alarm_rate or THREE_SIGMA_RATE
        return _several(name, t2(matrix, names, question.setting.baseline, rate), question)

    return each_series(frame, one)


def _mewma(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    def one(name: str, part: pl.DataFrame) -> Outcome:
        matrix, names = _figures(part)
        rate = question.false_alarm_rate
        chart = mewma(
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


def _time_between(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    table = time_between_table(frame, question.setting, units=question.exact)
    rules = tuple(rule for rule in question.rules if rule.name == "beyond-limit")
    warnings = (
        () if rules == question.rules else ("times between faults are skewed: only beyond-limit is used",)
    )
    return table_outcomes(table, find_signals(table, rules), warnings, single_readings=False)


KINDS: dict[str, Kind] = {
    "individuals": Kind(_individuals, limits=True),
    "mean-range": Kind(_mean_range, needs=("subgroup",), limits=True),
    "mean-sd": Kind(_mean_sd, needs=("subgroup",), limits=True),
    "three-way": Kind(_three_way, needs=("subgroup",), limits=True),
    "ewma": Kind(_ewma),
    "cusum": Kind(_cusum),
    "self-starting": Kind(_self_starting),
    "changepoint": Kind(changepoint, own_level=False),
    "trend": Kind(_trend, needs=("against",), limits=True),
    "t2": Kind(_t2, several=True, own_level=False),
    "mewma": Kind(_mewma, several=True, own_level=False),
    "defects": Kind(_counts("defects"), measured=False),
    "defects-per-unit": Kind(_counts("defects-per-unit"), needs=("size",), measured=False),
    "number-defective": Kind(_counts("number-defective"), needs=("size",), measured=False),
    "proportion": Kind(_counts("proportion"), needs=("size",), measured=False),
    "time-between": Kind(_time_between, measured=False, limits=True),
}
SCREENED = ("individuals", "mean-range", "mean-sd")


def _figures(part: pl.DataFrame) -> tuple[np.ndarray[Any, np.dtype[np.float64]], list[str]]:
    columns = [name for name in part.columns if name.startswith(VALUE)]
    return part.select(columns).to_numpy(), [name.removeprefix(VALUE) for name in columns]

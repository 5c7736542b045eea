"""Checks beside a chart: are the readings what the chart takes them for, and do they hang together.

`study_checks` asks all of them of every series of a frame. Readings are judged by the checks of distribution;
the points of the chart (with subgroups their means) by the checks of order; readings by subgroup, else by
model, by the comparisons of groups. What wears is judged by its forecast errors about the line.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl

from qc.stats.charts import arrange, lengths, short_run_frame
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers import Floats, Integers
from qc.stats.samples import Grouped
from qc.stats.studies.check_result import Check, Readings, SeriesChecks, corrected
from qc.stats.studies.kinds import Kind, check_question
from qc.stats.studies.order import Ordered, check_lag_1, check_mean_change, check_runs, check_target_change
from qc.stats.studies.question import StudyQuestion
from qc.stats.studies.spread import (
    Groups,
    check_gauge_step,
    check_levels,
    check_normal,
    check_one_outlier,
    check_outliers,
    check_spreads,
)
from qc.stats.wear import recursive_residuals

OF_ORDER = ("runs", "lag_1", "mean_change", "mean_change_from_target")
ONLY_MEASURED = "counts are not held against what measured values do"


@dataclass(frozen=True, slots=True)
class _Part:
    """One series: its readings before and after models were made one family, and what labels them."""

    values: Floats
    plain: Floats
    against: Floats | None
    subgroup: Integers | None
    model: Integers | None
    tool: Integers | None


def study_checks(frame: pl.DataFrame, question: StudyQuestion) -> dict[str, SeriesChecks]:
    """Check the distribution, the order and the groups of every series of a frame.

    Parameters
    ----------
    frame : DataFrame
        As for `study_frame`: rows in order of making with `value` and, where they are there, `series`,
        `subgroup`, `model`, `nominal`, `size` (of counts), `against` and `tool` (of what wears).
    question : StudyQuestion
        Chart kind; of its options resolution, target (else the given centre) and sigma concern the checks.
        All points take part, whatever the baseline.

    Returns
    -------
    dict of series name to SeriesChecks
        In order of first appearance; a check that cannot be made has its reason.

    Raises
    ------
    StatisticsUsageError
        A chart of several figures.
    StatisticsError
        A value that is not a finite number, or models that cannot be compared.

    References
    ----------
    .. [1] Each check names its source where it is computed.

    Examples
    --------
    >>> isotopes = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    >>> checks = study_checks(pl.DataFrame({"value": isotopes}), StudyQuestion("individuals"))[""]
    >>> checks["grubbs"].figures["point"], round(checks["grubbs"].p_value, 7), checks["grubbs"].clear
    (8, 3e-07, True)
    >>> checks["anova"].reason
    'there are no groups: give --subgroup (or --model) to compare them'
    """
    kind = check_question(question)
    if kind.several:
        raise StatisticsUsageError(
            f"chart {question.chart} judges several figures: checks are made for one figure at a time, "
            "so study each column alone"
        )
    return {name: _checks_of(part, question, kind) for name, part in _parts(frame, kind)}


def _parts(frame: pl.DataFrame, kind: Kind) -> Iterator[tuple[str, _Part]]:
    """Cut the frame into its series."""
    plain = arrange(frame)
    if not kind.measured and "size" in plain.columns:
        plain = plain.with_columns(value=pl.col("value") / pl.col("size"))
    # models become one family for what is asked of the process; groups and the gauge's
    # step keep plain readings
    family, _ = short_run_frame(plain)
    if "nominal" in plain.columns:
        plain = plain.with_columns(value=pl.col("value") - pl.col("nominal"))
    columns = {name: _codes(plain, name) for name in ("subgroup", "model", "tool")}
    against = plain["against"].to_numpy() if "against" in plain.columns else None
    values, readings = family["value"].to_numpy(), plain["value"].to_numpy()
    names = plain["series"].unique(maintain_order=True).to_list()
    start = 0
    for name, count in zip(names, lengths(plain).tolist(), strict=True):
        rows = slice(start, start + count)
        start += count
        labels = {column: None if codes is None else codes[rows] for column, codes in columns.items()}
        counts = None if against is None else against[rows]
        yield str(name), _Part(values[rows], readings[rows], against=counts, **labels)


def _codes(frame: pl.DataFrame, name: str) -> Integers | None:
    """Give each label of a column its number."""
    if name not in frame.columns:
        return None
    return np.asarray(frame[name].rank("dense").to_numpy(), dtype=np.int64)


def _checks_of(part: _Part, question: StudyQuestion, kind: Kind) -> SeriesChecks:
    """Ask every check; one that cannot be made keeps its place, with the reason."""
    readings, points, groups = _readings(part), _points(part, question, kind), _groups(part)
    resolution = question.setting.resolution
    plain = Readings(part.plain, np.arange(1, part.plain.size + 1), "readings")
    asked: dict[str, Callable[[], Check]] = {
        "anderson_darling": lambda: check_normal(readings),
        "grubbs": lambda: check_one_outlier(readings),
        "generalised_esd": lambda: check_outliers(readings),
        "runs": lambda: check_runs(points),
        "lag_1": lambda: check_lag_1(points),
        "mean_change": lambda: check_mean_change(points),
        "mean_change_from_target": lambda: check_target_change(points),
        "anova": lambda: check_levels(groups),
        "bartlett": lambda: check_spreads(groups, "bartlett"),
        "levene": lambda: check_spreads(groups, "levene"),
        "brown_forsythe": lambda: check_spreads(groups, "brown_forsythe"),
        "gauge_resolution": lambda: check_gauge_step(plain, groups, resolution),
    }
    made = []
    for name, ask in asked.items():
        of_points = name in OF_ORDER
        judged, n = (points.judged, points.n) if of_points else (readings.judged, readings.n)
        # the order of counts means what that of readings does; their distribution is another by nature
        if not kind.measured and name not in ("runs", "lag_1"):
            made.append(Check(name, judged, n, reason=ONLY_MEASURED))
            continue
        try:
            made.append(ask())
        except StatisticsError as error:
            made.append(Check(name, judged, n, reason=str(error)))
    checks = SeriesChecks(corrected(tuple(made)))
    return SeriesChecks(checks.checks, _notes(checks, groups))


def _readings(part: _Part) -> Readings:
    """Take what the checks of distribution judge."""
    if part.against is not None:
        errors, numbers = _forecast_errors(part)
        return Readings(errors, numbers, "forecast errors about the line")
    judged = "readings" if part.model is None else "deviations of the family"
    return Readings(part.values, np.arange(1, part.values.size + 1), judged)


def _points(part: _Part, question: StudyQuestion, kind: Kind) -> Ordered:
    """Take what the checks of order judge."""
    if part.against is not None:
        errors, numbers = _forecast_errors(part)
        why = "what wears follows a line and has no one target"
        judged = "forecast errors about the line"
        return Ordered(errors, numbers, judged, without_target=why, limited=False)
    target = question.target if question.target is not None else question.setting.center
    if part.model is not None:
        why = "models share these points by their own levels: there is no one target"
        values = _means(part.values, part.subgroup)
        numbers = np.arange(1, values.size + 1)
        return Ordered(values, numbers, _called(part), without_target=why)
    if part.subgroup is not None and kind.measured:
        values = _means(part.values, part.subgroup)
        return Ordered(values, np.arange(1, values.size + 1), _called(part), target=target)
    numbers = np.arange(1, part.values.size + 1)
    if not kind.measured:
        return Ordered(part.values, numbers, "counts, each by its size", limited=False)
    return Ordered(part.values, numbers, "readings", question.setting.sigma, target)


def _called(part: _Part) -> str:
    family = "" if part.model is None else " of the family"
    return ("readings" if part.subgroup is None else "subgroup means") + family


def _means(values: Floats, subgroup: Integers | None) -> Floats:
    """Mean of each subgroup in order of first appearance."""
    if subgroup is None:
        return values
    _, first, code = np.unique(subgroup, return_index=True, return_inverse=True)
    means = np.bincount(code, values) / np.bincount(code)
    return np.asarray(means[np.argsort(first)])


def _groups(part: _Part) -> Groups:
    """Part the readings by subgroup, else by model."""
    labels = part.subgroup if part.subgroup is not None else part.model
    if labels is None:
        return Groups(None, None)
    by = "subgroup" if part.subgroup is not None else "model"
    return Groups(Grouped.of(part.plain, labels), by)


def _forecast_errors(part: _Part) -> tuple[Floats, Integers]:
    """Errors of forecasting each reading from the line since its tool was fitted, and their point numbers."""
    assert part.against is not None
    tool = np.zeros(part.values.size, dtype=np.int64) if part.tool is None else part.tool
    edges = [0, *(np.flatnonzero(np.diff(tool)) + 1).tolist(), part.values.size]
    errors, numbers = [], []
    for first, last in zip(edges[:-1], edges[1:], strict=True):
        found = recursive_residuals(part.against[first:last], part.values[first:last])
        errors.append(found)
        numbers.append(np.arange(last - found.size + 1, last + 1))
    return np.concatenate(errors), np.concatenate(numbers)


def _notes(checks: SeriesChecks, groups: Groups) -> tuple[str, ...]:
    """Say what one check means for the worth of another."""
    said: tuple[str, ...] = ()
    if checks["mean_change"].clear:
        said += (
            "a change of level alone makes readings look not normal and neighbours alike: find its cause "
            "first, then check each side on its own",
        )
    if groups.by == "subgroup" and checks["anova"].clear:
        said += (
            "readings of one subgroup hang together: checks that take each reading on its own call too often",
        )
    return said

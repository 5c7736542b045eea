"""Capability of every series of a study in one pass, from what each chart knows of sigma and of nests."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qc.stats.capable import (
    LEAST_PIECES,
    Basis,
    Capability,
    Limits,
    Nest,
    beside,
    capability_many,
    nest_of,
    spread_by,
    withheld,
    worth,
)
from qc.stats.numbers import Floats, Setting
from qc.stats.run_lengths import moving_range_df, subgroup_df
from qc.stats.studies.kinds import KINDS
from qc.stats.studies.outcome import Outcome
from qc.stats.studies.question import StudyQuestion

ONE = f"1 piece is too few: at least {LEAST_PIECES} are needed"


@dataclass(frozen=True, slots=True)
class _Nested:
    """Components of variance of one series and how its readings lie in pieces."""

    nest: Nest
    within: float
    between: float
    between_df: float | None
    piece: NDArray[np.int64]


def series_capability(
    names: Sequence[str],
    readings: Sequence[Floats],
    groups: Sequence[pl.Series | None],
    outcomes: Mapping[str, Outcome],
    question: StudyQuestion,
) -> dict[str, Capability]:
    """Capability of every series that has a chart.

    Parameters
    ----------
    names : sequence of str
        Series.
    readings : sequence of ndarray
        Readings of each. [unit]
    groups : sequence of Series or None
        Piece or subgroup of each reading, where there is one.
    outcomes : mapping of series name to Outcome
        Charts with their sigma.
    question : StudyQuestion
        Limits, shape, what counts as proven.

    Returns
    -------
    dict of series name to Capability
    """
    picked, parts, bases, nested = [], [], [], {}
    alone: dict[str, Capability] = {}
    limits = Limits(question.lower, question.upper, question.target)
    for name, part, group in zip(names, readings, groups, strict=True):
        outcome = outcomes[name]
        if outcome.chart is None:
            continue
        if part.size < 2:
            alone[name] = withheld(1, ONE, question.wanted, question.confidence, None, question.gauge_sd)
            continue
        found = None if group is None or group.n_unique() < 2 else _nested(part, group, outcome, question)
        if found is not None:
            nested[name] = found
        picked.append(name)
        parts.append(part)
        bases.append(_basis(part, outcome, question, found))
    if not picked:
        return alone
    answers = capability_many(
        parts,
        bases,
        lower=question.lower,
        upper=question.upper,
        target=question.target,
        wanted=question.wanted,
        confidence=question.confidence,
        shape=question.fitted_shape,
        resolution=question.setting.resolution,
        gauge_sd=question.gauge_sd,
    )
    out = alone | dict(zip(picked, answers, strict=True))
    of = "subgroups" if KINDS[question.chart].sigma == "subgroups" else "pieces"
    means = {name: float(part.mean()) for name, part in zip(picked, parts, strict=True) if name in nested}
    for name, one in nested.items():
        spread = spread_by(limits, means[name], one.within, one.between, of)
        out[name] = beside(out[name], spread, one.nest.readings - one.nest.pieces)
    return out


def _nested(part: Floats, group: pl.Series, outcome: Outcome, question: StudyQuestion) -> _Nested | None:
    """Components of variance: the chart's own where it has them, else those of the table of variance."""
    labels = group.to_physical().rle_id().to_numpy() if group.is_sorted() else group.to_numpy()
    nest = nest_of(part, labels)
    chart = outcome.chart
    assert chart is not None
    within, between = nest.variances
    between_df = None
    if KINDS[question.chart].sigma == "pieces":
        components: Any = chart.extras["components"]
        within = math.nan if components["within"] is None else components["within"]
        between = components["between"]
        if question.setting.limits.method == "textbook" and question.setting.sigma is None:
            # the means' sigma comes from moving ranges, which are worth less than the pieces less one
            between_df = moving_range_df(_baseline_points(question.setting, outcome))
    elif KINDS[question.chart].sigma == "subgroups" and chart.sigma is not None:
        within = chart.sigma**2
        between = max((nest.between_ms - within) / nest.size, 0.0)
    return _Nested(nest, within, between, between_df, labels)


def _basis(part: Floats, outcome: Outcome, question: StudyQuestion, nested: _Nested | None) -> Basis:
    """Say what is known of a series beside its readings."""
    assert outcome.chart is not None
    signals = len({signal.point for signal in outcome.chart.signals})
    because = outcome.unstable or (
        f"{signals} point{'s' if signals > 1 else ''} signalled: find and remove the cause first"
    )
    basis = Basis(
        sigma=outcome.sigma,
        sigma_df=_sigma_df(outcome, question),
        stable=signals == 0 and outcome.unstable is None,
        unstable_because=because,
    )
    if nested is None or KINDS[question.chart].sigma == "subgroups":
        return basis
    nest, within, between = nested.nest, nested.within, nested.between
    basis = replace(basis, pieces=nest.pieces, piece=nested.piece)
    seen = float(np.var(part, ddof=1))
    if math.isnan(within) or not (seen > 0.0 and within + between > 0.0):
        return basis
    all_readings = worth(nest, within, between, seen)
    total = within + between
    own = worth(nest, within, between, total, nested.between_df)
    sigma = math.sqrt(total) if KINDS[question.chart].sigma == "pieces" else basis.sigma
    # a sigma that was given stays known, however little the readings are worth
    sigma_df = own.sd_df if question.setting.sigma is None else basis.sigma_df
    return replace(
        basis, sigma=sigma, sigma_df=sigma_df, mean_n=all_readings.mean_n, sd_df=all_readings.sd_df
    )


def _sigma_df(outcome: Outcome, question: StudyQuestion) -> float | None:
    """Degrees of freedom of the sigma behind Cp and Cpk, as far as its chart tells."""
    setting = question.setting
    if outcome.sigma is None:
        return None
    if setting.sigma is not None:
        return math.inf  # a sigma that was given is known, however many readings there are
    points = _baseline_points(setting, outcome)
    textbook = setting.limits.method == "textbook"
    if KINDS[question.chart].sigma == "subgroups":
        chart = outcome.chart
        assert chart is not None and chart.companion is not None
        if outcome.sigma_df is None or not textbook or setting.robust:
            return outcome.sigma_df
        return subgroup_df(outcome.sigma_df, outcome.sigma_df / points + 1.0, chart.companion.kind)
    if KINDS[question.chart].sigma == "moving-range" and textbook and points >= 2:
        return moving_range_df(points, robust=setting.robust)
    # a line takes two degrees of freedom, a level one; limits other than textbook rest on the sample sd
    estimated = 2 if KINDS[question.chart].sigma == "line" else 1
    return max(float(points - estimated), 1.0)


def _baseline_points(setting: Setting, outcome: Outcome) -> int:
    """Points that set the limits."""
    last = outcome.points if setting.baseline.last is None else min(setting.baseline.last, outcome.points)
    chart = outcome.chart
    left_out: Any = () if chart is None else chart.extras.get("left_out", ())
    return max(last - setting.baseline.first + 1 - len(left_out), 2)

"""Short runs: many models, few pieces of each, one process behind them.

The process is charted, not the product: what is plotted is the deviation from each piece's own target. Models
may share a chart only if their deviations scatter alike and sit at one level; that is tested, and where it
fails each model is taken at its own level and spread.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import ArrayLike
from scipy.special import fdtrc

from qc.stats.charts.selfstarting import self_starting_table
from qc.stats.charts.table import series_of
from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, as_readings, check_paired, shown
from qc.stats.samples import SignificanceTest, bartlett, equal_spreads
from qc.stats.tabled import Tabled

ALPHA = 0.05  # a test clearer than this keeps models apart (common practice, no source)
OWN_MODEL = "each piece is judged by earlier pieces of its own model; the first two of a model have no score"
LEAST_PIECES = 3  # pieces of a model before its own level and spread can be used
# Under so many pieces of a model distances from medians hide even spreads of a million to one, of two models
# of three pieces always; Bartlett's test, for normal readings, sees it and keeps its 5 % (in the tests).
FEW_PIECES = 10
_NOISE = 1e-12  # relative: differences below it are rounding of the computer, not steps of the gauge


@dataclass(frozen=True, slots=True)
class Pooling(Tabled):
    """Whether models of a family may share one chart, and what is done when they may not.

    Attributes
    ----------
    pooled : bool
        Whether deviations go on one chart as they are.
    spread_test : str
        `bartlett` where a model has few pieces (under ten), else `brown-forsythe`.
    spread_statistic, spread_p : float
        Its chi-square, or F: are spreads equal?
    level_statistic, level_p : float
        F test of equal levels (Welch).
    levels, spreads : mapping of model to float
        Mean and sd of the deviations of each model. [unit of the readings]
    advice : str
        What to do, in a sentence.
    """

    pooled: bool
    spread_test: str
    spread_statistic: float
    spread_p: float
    level_statistic: float
    level_p: float
    levels: Mapping[str, float]
    spreads: Mapping[str, float]
    advice: str

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "pooled": self.pooled,
            "spread": _test(self.spread_test, self.spread_statistic, self.spread_p),
            "level": _test("welch", self.level_statistic, self.level_p),
            "levels": dict(self.levels),
            "spreads": dict(self.spreads),
            "advice": self.advice,
        }


def deviation_from_target(values: ArrayLike, targets: ArrayLike) -> Floats:
    """Deviation of each reading from its own target.

    Parameters
    ----------
    values, targets : array-like of float, length n
        Readings and their targets. [one unit]

    Raises
    ------
    StatisticsError
        Lengths that differ, or a number that is not finite.

    References
    ----------
    .. [1] ISO 7870-8:2017, "Charting techniques for short runs and small mixed batches" (scope).

    Examples
    --------
    >>> deviation_from_target([13.9, 14.1], [13.887, 14.1]).round(3).tolist()
    [0.013, 0.0]
    """
    readings, wanted = as_readings(values, least=1), as_readings(targets, "target", least=1)
    check_paired(readings.size, "readings", wanted.size, "targets")
    return readings - wanted


def pooling_test(deviations: ArrayLike, models: ArrayLike, alpha: float = ALPHA) -> Pooling:
    """Test whether the models of a family may share one chart.

    Parameters
    ----------
    deviations : array-like of float, length n
        Deviations from target. [any unit]
    models : array-like, length n
        Model of each piece; at least two models with three pieces each.
    alpha : float
        Both tests must have a p-value above this.

    Raises
    ------
    StatisticsError
        Fewer than two models, a model with fewer than three pieces, or no spread at all.

    References
    ----------
    .. [1] Brown & Forsythe, "Robust tests for the equality of variances", J. American Statistical Association
       69 (1974).
    .. [2] NIST/SEMATECH e-Handbook 1.3.5.7 (Bartlett's test).

    Examples
    --------
    >>> found = pooling_test([1, 2, 3, 2, 1, 3, 2, 2], list("aaaabbbb"))
    >>> found.pooled, found.spread_test, round(found.spread_p, 3)
    (True, 'bartlett', 1.0)
    >>> pooling_test([1, 2, 3, 1e6, 2e6, 3e6], list("aaabbb")).pooled
    False
    """
    parts = _by_model(deviations, models)
    fewest = min(part.size for part in parts.values())
    spread = _equal_spreads(list(parts.values()), fewest)
    level_statistic, level_p = _equal_levels(list(parts.values()))
    pooled = spread.p_value > alpha and level_p > alpha
    return Pooling(
        pooled=pooled,
        spread_test=spread.test,
        spread_statistic=spread.statistic,
        spread_p=spread.p_value,
        level_statistic=level_statistic,
        level_p=level_p,
        levels={name: float(np.mean(part)) for name, part in parts.items()},
        spreads={name: float(np.std(part, ddof=1)) for name, part in parts.items()},
        advice=_advice(spread.p_value, level_p, alpha, fewest),
    )


def standardised_deviation(deviations: ArrayLike, models: ArrayLike) -> Floats:
    """Deviation less the level of its model, over the sd of its model. [sd of the model].

    Parameters
    ----------
    deviations : array-like of float, length n
        Deviations from target. [any unit]
    models : array-like, length n
        Model of each piece; three pieces of each at least.

    Raises
    ------
    StatisticsError
        A model with fewer than three pieces or without spread.

    References
    ----------
    .. [1] ISO 7870-8:2017 (standardised charts for short runs; scope read, formula common practice).

    Examples
    --------
    >>> standardised_deviation([1.0, 2.0, 3.0, 10.0, 20.0, 30.0], list("aaabbb")).tolist()
    [-1.0, 0.0, 1.0, -1.0, 0.0, 1.0]
    """
    readings, labels = as_readings(deviations, "deviation"), np.asarray(models).astype(str)
    out = np.empty_like(readings)
    for name, part in _by_model(readings, labels, least_models=1).items():
        sd = float(np.std(part, ddof=1))
        if np.ptp(part) == 0:
            raise StatisticsError(f"model {name}: all deviations are {shown(part[0])}: spread is needed")
        out[labels == name] = (part - part.mean()) / sd
    return out


def family_points(deviations: ArrayLike, models: ArrayLike) -> tuple[Floats, str]:
    """Deviations as they may share one chart: plain, less the level of their model, or standardised.

    Asked as `pooling_test`, source and errors too; a model without spread is refused where spreads differ.

    Returns
    -------
    tuple of ndarray and str
        Points [unit of the deviations, or sd of the model], and a sentence that says what was done and why.

    Examples
    --------
    >>> points, said = family_points([1, 2, 3, 2, 1, 3, 2, 2], list("aaaabbbb"))
    >>> points.tolist(), said[:24]
    ([1.0, 2.0, 3.0, 2.0, 1.0, 3.0, 2.0, 2.0], 'spreads and levels agree')
    """
    found, readings = pooling_test(deviations, models), as_readings(deviations, "deviation")
    if found.pooled:
        return readings, found.advice
    if found.spread_p > ALPHA:
        labels = np.asarray(models).astype(str)
        level = np.array([found.levels[label] for label in labels.tolist()])
        return readings - level, f"{found.advice}; this was done"
    return standardised_deviation(readings, models), f"{found.advice}; they were standardised"


def q_over_models(values: ArrayLike, models: ArrayLike) -> Floats:
    """Q statistics of several models on one time line: each piece judged by earlier ones of its model.

    Parameters
    ----------
    values : array-like of float, length n
        Readings in order of making. [any unit]
    models : array-like, length n
        Model of each piece.

    Returns
    -------
    ndarray of float, length n
        Standard normal while nothing changes; NaN for the first two pieces of a model.

    Raises
    ------
    StatisticsError
        Lengths that differ, or a reading that is not finite.

    References
    ----------
    .. [1] Quesenberry, J. Quality Technology 23 (1991).

    Examples
    --------
    >>> q = q_over_models([152.0, 1.0, 148.0, 2.0, 155.0], ["a", "b", "a", "b", "a"])
    >>> round(float(q[4]), 4)
    0.8674
    """
    readings, labels = _labelled(as_readings(values, least=1), models)
    table = self_starting_table(pl.DataFrame({"model": labels, "value": readings}))
    return table.points["value"].fill_null(np.nan).to_numpy()


def short_run_frame(frame: pl.DataFrame, *, own: bool = False) -> tuple[pl.DataFrame, dict[str, str]]:
    """Turn readings into deviations from their targets, and models into one family, where they are given.

    Parameters
    ----------
    frame : DataFrame
        Arranged rows with `series` and `value`; `nominal` and `model` are taken where they are there.
    own : bool
        The chart itself judges each piece by earlier ones of its model (Q statistics): none are pooled.

    Returns
    -------
    tuple of DataFrame and dict of series name to str
        The frame with its `value` replaced, and for each series with models what was done with them (errors
        as for `family_points`).
    """
    if "nominal" in frame.columns:
        frame = frame.with_columns(value=pl.col("value") - pl.col("nominal"))
    if "model" not in frame.columns:
        return frame, {}
    if own:
        names = frame["series"].unique().to_list()
        return frame, dict.fromkeys(map(str, names), OWN_MODEL)
    parts, said = [], {}
    for part in series_of(frame):
        points, said[str(part["series"][0])] = family_points(part["value"], part["model"].cast(pl.String))
        parts.append(part.with_columns(value=pl.Series(points)))
    return pl.concat(parts), said


def _test(name: str, statistic: float, p_value: float) -> dict[str, Any]:
    return {"test": name, "statistic": statistic, "p_value": p_value}


def _labelled(readings: Floats, models: ArrayLike) -> tuple[Floats, np.ndarray[Any, np.dtype[np.str_]]]:
    """Put the readings beside the names of their models, or say that one has no name."""
    labels = np.asarray(models).astype(str)
    check_paired(readings.size, "readings", labels.size, "models")
    return readings, labels


def _by_model(deviations: ArrayLike, models: ArrayLike, least_models: int = 2) -> dict[str, Floats]:
    readings, labels = _labelled(as_readings(deviations, "deviation"), models)
    names = list(dict.fromkeys(labels.tolist()))
    if len(names) < least_models:
        raise StatisticsError(f"there is only the model {names[0]}: a family needs at least {least_models}")
    parts = {name: readings[labels == name] for name in names}
    for name, part in parts.items():
        if part.size < LEAST_PIECES:
            raise StatisticsError(f"model {name} has {part.size} pieces: at least {LEAST_PIECES} are needed")
    return parts


def _equal_spreads(parts: list[Floats], fewest: int) -> SignificanceTest:
    """Test equal spreads by distances from medians, or by Bartlett where those cannot see."""
    if fewest >= FEW_PIECES or not any(np.ptp(part) for part in parts):
        return equal_spreads(parts)
    # pieces that read alike on a coarse gauge are not taken for pieces without any spread
    noise = _NOISE * max(float(np.max(np.abs(part))) for part in parts)
    gaps = np.concatenate([np.diff(np.sort(part)) for part in parts])
    seen = gaps[gaps > noise]
    return bartlett(parts, least_sd=float(seen.min()) / math.sqrt(12.0) if seen.size else noise)


def _equal_levels(parts: list[Floats]) -> tuple[float, float]:
    """Welch's F test of equal means: it holds its level where spreads differ."""
    n = np.array([part.size for part in parts], dtype=np.float64)
    mean = np.array([part.mean() for part in parts])
    variance = np.array([max(part.var(ddof=1), 1e-300) for part in parts])
    weight = n / variance
    share = weight / weight.sum()
    k = len(parts)
    between = float(np.sum(weight * (mean - np.sum(share * mean)) ** 2)) / (k - 1)
    lack = float(np.sum((1 - share) ** 2 / (n - 1)))
    statistic = between / (1 + 2 * (k - 2) / (k * k - 1) * lack)
    return statistic, float(fdtrc(k - 1, (k * k - 1) / (3 * lack), statistic))


def _advice(spread_p: float, level_p: float, alpha: float, fewest: int) -> str:
    few = "" if fewest >= FEW_PIECES else f", as far as {fewest} pieces of a model show"
    if spread_p > alpha and level_p > alpha:
        return f"spreads and levels agree{few}: deviations of all models may share one chart"
    if spread_p > alpha:
        return f"spreads agree but levels do not{few}: take each model's own level out before sharing a chart"
    return "spreads differ: standardise each model by its own level and spread, or give it its own chart"

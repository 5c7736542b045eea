"""Capability of readings that are not normal: percentiles of a fitted or of the observed distribution.

The spread of a normal process over six sd is the width between its 0.135 % and 99.865 % percentiles; the
percentile method puts those of another distribution in their place (the pattern of ISO 22514). The intervals
come from a bootstrap: for the fitted families parametric, with exact pivots, so that they hold at 20 pieces;
for the observed percentiles by resampling, bias-corrected and accelerated.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from scipy import special

from qc.stats.capable.gate import LEAST_OBSERVED, TAIL
from qc.stats.capable.result import Limits
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers import Floats, Interval
from qc.stats.tabled import Tabled

WIDEST = 1e12  # greatest over least reading on a log scale: more is a slip, and its percentiles overflow
SHAPES = ("normal", "positive", "weibull", "half-normal", "any")
_DRAWS = 4000  # the 2.5 % end of the interval is then good to about 0.0025 in level (binomial)


class Percentiles(NamedTuple):
    """The 0.135 %, 50 % and 99.865 % percentiles, scalars or arrays, in the unit of the readings."""

    low: Floats
    middle: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class ShapeFigures(Tabled):
    """Figures of one sample by the percentile method.

    Attributes
    ----------
    pp : float or None
        Tolerance over the width between the outer percentiles; None with one limit. [1]
    ppk : float
        The nearer limit's distance from the median over that of the outer percentile. [1]
    pp_interval : (float, float) or None
        Two-sided interval. [1]
    ppk_interval : (float, float)
        Two-sided interval. [1]
    ppk_bounds : (float, float)
        One-sided bounds. [1]
    outside, outside_interval
        Fraction outside, 0..1, with its two-sided interval.
    method : str
        How they were made.
    """

    pp: float | None
    ppk: float
    pp_interval: Interval | None
    ppk_interval: Interval
    ppk_bounds: Interval
    outside: float
    outside_interval: Interval
    method: str


def percentile_figures(percentiles: Percentiles, limits: Limits) -> tuple[Floats | None, Floats]:
    """Pp (None with one limit) and Ppk by percentiles. [1].

    Parameters
    ----------
    percentiles : Percentiles
        Scalars or arrays. [unit of the readings]
    limits : Limits
        Specification limits. [same unit]

    Raises
    ------
    StatisticsError
        Percentiles that do not rise.

    References
    ----------
    .. [1] ISO 22514-2 and -4, percentile method (definition from memory).

    Examples
    --------
    >>> lognormal = Percentiles(*(np.exp(0.4 * special.ndtri(share)) for share in (0.00135, 0.5, 0.99865)))
    >>> pp, ppk = percentile_figures(lognormal, Limits(0.2, 4.0))
    >>> round(float(pp), 6), round(float(ppk), 6)
    (1.258741, 1.144815)
    """
    low, middle, high = percentiles
    if not np.all((low < middle) & (middle < high)):
        raise StatisticsError(
            "capability by percentiles: the three percentiles must rise; the readings hardly vary"
        )
    sides = []
    if limits.upper is not None:
        sides.append((limits.upper - middle) / (high - middle))
    if limits.lower is not None:
        sides.append((middle - limits.lower) / (middle - low))
    pp = None
    if limits.lower is not None and limits.upper is not None:
        pp = np.asarray((limits.upper - limits.lower) / (high - low))
    return pp, np.asarray(np.minimum.reduce(sides))


def shape_figures(
    readings: Floats, limits: Limits, shape: str, *, confidence: float = 0.95, seed: int = 0
) -> ShapeFigures:
    """Figures of one sample with their bootstrap intervals.

    Parameters
    ----------
    readings : ndarray, length n >= 2
        One reading per piece. [unit of the characteristic]
    limits : Limits
        Specification limits. [same unit]
    shape : {"positive", "weibull", "half-normal", "any"}
        `positive` is the lognormal, `half-normal` a normal folded at 0 (flatness, run-out), `any` the
        observed percentiles.
    confidence : float
        Of the two-sided intervals and of each one-sided bound.
    seed : int
        Of the bootstrap.

    Raises
    ------
    StatisticsError
        Readings the shape cannot have, equal readings, or too few for observed percentiles.
    StatisticsUsageError
        A shape that does not exist.

    References
    ----------
    .. [1] ISO 22514-2 (percentile method, from memory); Efron and Tibshirani, "An Introduction to the
       Bootstrap", 1993 (coverage simulated in the tests).

    Examples
    --------
    >>> figures = shape_figures(np.exp(np.linspace(-0.8, 0.8, 40)), Limits(0.1, 8.0), "positive")
    >>> round(figures.ppk, 3)
    1.18
    """
    if np.ptp(readings) == 0.0:
        raise StatisticsError("capability by percentiles: all readings are equal, the spread is unknown")
    check_shape(readings, shape)
    if shape == "any":
        return _observed(readings, limits, confidence, seed)
    if shape == "normal":
        raise StatisticsUsageError("capability by percentiles: normal readings need none, ask `capability`")
    family = _FAMILIES[shape]
    place, scale = family.fit(readings[np.newaxis, :])
    places, scales = family.pivots(int(readings.size), place, scale, seed)
    pp, ppk = percentile_figures(family.percentiles(place[0], scale[0]), limits)
    pps, ppks = percentile_figures(family.percentiles(places, scales), limits)
    return ShapeFigures(
        pp=None if pp is None else float(pp),
        ppk=float(ppk),
        pp_interval=None if pps is None else _middle(pps, confidence),
        ppk_interval=_middle(ppks, confidence),
        ppk_bounds=_one_sided(ppks, confidence),
        outside=float(family.outside(place[0], scale[0], limits)),
        outside_interval=_middle(family.outside(places, scales, limits), confidence),
        method=f"percentiles of a fitted {family.name}; parametric bootstrap, exact pivots, {_DRAWS} draws",
    )


def check_shape(readings: Floats, shape: str) -> None:
    """Refuse a shape that does not exist, and readings that it cannot have.

    Raises
    ------
    StatisticsError
        A reading below 0, or of 0 where the shape has none, or readings twelve powers of ten apart there.
    StatisticsUsageError
        A shape that does not exist.

    Examples
    --------
    >>> check_shape(np.array([0.2, 1.4]), "weibull")
    """
    if shape not in SHAPES:
        raise StatisticsUsageError(f"capability: shape {shape!r} is not known; there are {', '.join(SHAPES)}")
    family = _FAMILIES.get(shape)
    if family is None:
        return
    least = float(np.min(readings))
    if least < 0.0 or (family.needs_positive and least == 0.0):
        raise StatisticsError(
            f"capability: a {family.name} distribution needs readings "
            f"{'above' if family.needs_positive else 'not below'} 0, the least is {least:g}; "
            "take another shape or correct the reading"
        )
    if family.needs_positive and float(np.max(readings)) > WIDEST * least:
        raise StatisticsError(
            f"capability: the readings run from {least:g} to {np.max(readings):g}, too wide for a "
            f"{family.name} distribution; correct the reading that does not belong"
        )


@dataclass(frozen=True, slots=True)
class _Family:
    """A family of distributions: fit, pivotal draws of its parameters, percentiles and distribution."""

    name: str
    needs_positive: bool
    fit: Callable[[Floats], tuple[Floats, Floats]]
    pivots: Callable[[int, Floats, Floats, int], tuple[Floats, Floats]]
    quantile: Callable[[float, Floats, Floats], Floats]
    chance_below: Callable[[float, Floats, Floats], Floats]

    def percentiles(self, place: Floats, scale: Floats) -> Percentiles:
        """Outer percentiles and median."""
        low, middle, high = (self.quantile(share, place, scale) for share in (TAIL, 0.5, 1.0 - TAIL))
        return Percentiles(low, middle, high)

    def outside(self, place: Floats, scale: Floats, limits: Limits) -> Floats:
        """Fraction outside the limits."""
        total = np.zeros_like(scale)
        if limits.lower is not None and limits.lower > 0:
            total = total + self.chance_below(limits.lower, place, scale)
        if limits.upper is not None:
            above = 1.0 - self.chance_below(limits.upper, place, scale) if limits.upper > 0 else 1.0
            total = total + above
        return np.asarray(total)


def _log_normal_fit(rows: Floats) -> tuple[Floats, Floats]:
    """Mean and sample sd of the logs."""
    logs = np.log(rows)
    return np.asarray(logs.mean(axis=1)), np.asarray(logs.std(axis=1, ddof=1))


def _log_normal_pivots(n: int, place: Floats, scale: Floats, seed: int) -> tuple[Floats, Floats]:
    """Draw mean and sd of the logs by their exact pivots (Student and chi-square)."""
    rng = np.random.default_rng(seed)
    scales = scale * np.sqrt((n - 1.0) / rng.chisquare(n - 1.0, _DRAWS))
    return place + scales / math.sqrt(n) * rng.standard_normal(_DRAWS), scales


def _half_normal_fit(rows: Floats) -> tuple[Floats, Floats]:
    """Root mean square: the scale of a normal folded at 0."""
    return np.zeros(rows.shape[0]), np.sqrt(np.mean(rows * rows, axis=1))


def _half_normal_pivots(n: int, place: Floats, scale: Floats, seed: int) -> tuple[Floats, Floats]:
    """Draw the scale by its exact chi-square pivot."""
    return np.zeros(_DRAWS), scale * np.sqrt(n / np.random.default_rng(seed).chisquare(n, _DRAWS))


def _weibull_fit(rows: Floats) -> tuple[Floats, Floats]:
    """Maximum likelihood, many samples at once: log of the characteristic life, and 1 / shape."""
    logs = np.log(rows)
    top = logs.max(axis=1, keepdims=True)
    shifted = logs - top
    average = shifted.mean(axis=1)
    shape = 1.2825 / np.maximum(logs.std(axis=1, ddof=1), 1e-12)  # pi / sqrt 6 over the sd: by moments
    for _ in range(50):
        power = np.exp(shape[:, None] * shifted)
        total, first = power.sum(axis=1), (power * shifted).sum(axis=1)
        second = (power * shifted * shifted).sum(axis=1)
        gap = first / total - 1.0 / shape - average
        slope = second / total - (first / total) ** 2 + 1.0 / shape**2
        # no further than half the shape: a whole Newton step can lead below 0 from a start by moments
        step = np.clip(gap / slope, -0.5 * shape, 0.5 * shape)
        shape = shape - step
        if np.max(np.abs(step) / shape) < 1e-12:
            break
    power = np.exp(shape[:, None] * shifted)
    return np.asarray(top[:, 0] + np.log(power.mean(axis=1)) / shape), np.asarray(1.0 / shape)


def _weibull_pivots(n: int, place: Floats, scale: Floats, seed: int) -> tuple[Floats, Floats]:
    """Draw by the pivots of a location and scale family: fits of standard samples of the same size."""
    places, scales = _standard_weibull(n, seed)
    return place - scale * places / scales, scale / scales


@lru_cache(maxsize=64)
def _standard_weibull(n: int, seed: int) -> tuple[Floats, Floats]:
    """Fit many standard samples once for all series of one length."""
    return _weibull_fit(np.random.default_rng(seed).exponential(size=(_DRAWS, n)))


_FAMILIES = {
    "positive": _Family(
        "lognormal",
        True,
        _log_normal_fit,
        _log_normal_pivots,
        lambda share, place, scale: np.exp(place + scale * special.ndtri(share)),
        lambda x, place, scale: special.ndtr((math.log(x) - place) / scale),
    ),
    "weibull": _Family(
        "Weibull",
        True,
        _weibull_fit,
        _weibull_pivots,
        lambda share, place, scale: np.exp(place + scale * math.log(-math.log1p(-share))),
        lambda x, place, scale: -np.expm1(-np.exp((math.log(x) - place) / scale)),
    ),
    "half-normal": _Family(
        "half-normal",
        False,
        _half_normal_fit,
        _half_normal_pivots,
        lambda share, place, scale: scale * special.ndtri((1.0 + share) / 2.0),
        lambda x, place, scale: 2.0 * special.ndtr(x / scale) - 1.0,
    ),
}


def _observed(readings: Floats, limits: Limits, confidence: float, seed: int) -> ShapeFigures:
    """Observed percentiles, resampled (bias-corrected and accelerated); fraction outside by counting."""
    n = int(readings.size)
    if n < LEAST_OBSERVED:
        raise StatisticsError(
            f"capability: {n} pieces cannot show the 0.135 % percentiles, {LEAST_OBSERVED} are needed; "
            "take shape positive or weibull if one of them fits"
        )

    def figures(sample: Floats, axis: int = -1) -> tuple[Floats | None, Floats]:
        """Pp and Ppk of observed percentiles."""
        low, middle, high = np.quantile(sample, (TAIL, 0.5, 1.0 - TAIL), axis=axis)
        return percentile_figures(Percentiles(low, middle, high), limits)

    pp, ppk = figures(readings)
    pp_draws = (
        None if pp is None else _resampled(readings, lambda x, axis: figures(x, axis)[0], confidence, seed)
    )
    out = np.zeros(n, dtype=bool)
    if limits.lower is not None:
        out |= readings < limits.lower
    if limits.upper is not None:
        out |= readings > limits.upper
    count = int(out.sum())
    half = (1.0 - confidence) / 2.0
    worst = float(special.betaincinv(count + 1, n - count, 1.0 - half)) if count < n else 1.0
    best = float(special.betaincinv(count, n - count + 1, half)) if count else 0.0
    two = _resampled(readings, lambda x, axis: figures(x, axis)[1], confidence, seed)
    one = _resampled(readings, lambda x, axis: figures(x, axis)[1], 2.0 * confidence - 1.0, seed)
    return ShapeFigures(
        pp=None if pp is None else float(pp),
        ppk=float(ppk),
        pp_interval=pp_draws,
        ppk_interval=two,
        ppk_bounds=one,
        outside=count / n,
        outside_interval=(best, worst),
        method=f"observed percentiles; resampled interval (bias-corrected and accelerated), {_DRAWS} draws; "
        "fraction outside counted, exact binomial interval",
    )


def _resampled(
    readings: Floats, statistic: Callable[[Floats, int], Floats | None], confidence: float, seed: int
) -> Interval:
    """Bias-corrected and accelerated interval by scipy; where ties leave none, the middle of the draws."""
    from scipy import stats  # half a second to load, and only this shape needs it

    rng = np.random.default_rng(seed)
    how = {"n_resamples": _DRAWS, "batch": 200, "vectorized": True, "rng": rng}
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = stats.bootstrap((readings,), statistic, confidence_level=confidence, **how)
    low, high = (float(end) for end in result.confidence_interval)
    if math.isfinite(low) and math.isfinite(high):
        return low, high
    return _middle(result.bootstrap_distribution, confidence)


def _middle(draws: Floats, confidence: float) -> Interval:
    """Middle share of the draws."""
    low, high = np.quantile(draws, ((1.0 - confidence) / 2.0, (1.0 + confidence) / 2.0))
    return float(low), float(high)


def _one_sided(draws: Floats, confidence: float) -> Interval:
    """Lower and upper bound, each one-sided."""
    low, high = np.quantile(draws, (1.0 - confidence, confidence))
    return float(low), float(high)

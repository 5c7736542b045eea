"""Distributions that are fitted to readings: parameters, their draws, percentiles and fraction outside."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from scipy import special

from qc.stats.capable.gate import TAIL
from qc.stats.capable.nest import Worth
from qc.stats.capable.result import Limits
from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats

DRAWS = 4000  # the 2.5 % end of the interval is then good to about 0.0025 in level (binomial)


class Percentiles(NamedTuple):
    """The 0.135 %, 50 % and 99.865 % percentiles, scalars or arrays, in the unit of the readings."""

    low: Floats
    middle: Floats
    high: Floats


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


@dataclass(frozen=True, slots=True)
class Family:
    """A family of distributions: fit, pivotal draws of its parameters, percentiles and distribution.

    `scale` brings readings where their worth is counted: the figures of a family are means and spreads there.
    """

    name: str
    needs_positive: bool
    fit: Callable[[Floats], tuple[Floats, Floats]]
    pivots: Callable[[Worth, Floats, Floats, int], tuple[Floats, Floats]]
    quantile: Callable[[float, Floats, Floats], Floats]
    chance_below: Callable[[float, Floats, Floats], Floats]
    scale: Callable[[Floats], Floats]

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


def _log_normal_pivots(own: Worth, place: Floats, scale: Floats, seed: int) -> tuple[Floats, Floats]:
    """Draw mean and sd of the logs by their pivots (Student and chi-square), exact for single readings."""
    rng = np.random.default_rng(seed)
    scales = scale * np.sqrt(own.sd_df / rng.chisquare(own.sd_df, DRAWS))
    return place + scales / math.sqrt(own.mean_n) * rng.standard_normal(DRAWS), scales


def _half_normal_fit(rows: Floats) -> tuple[Floats, Floats]:
    """Root mean square: the scale of a normal folded at 0."""
    return np.zeros(rows.shape[0]), np.sqrt(np.mean(rows * rows, axis=1))


def _half_normal_pivots(own: Worth, place: Floats, scale: Floats, seed: int) -> tuple[Floats, Floats]:
    """Draw the scale by its chi-square pivot: its square is a mean of squares, worth so many of them."""
    chance = np.random.default_rng(seed).chisquare(own.mean_n, DRAWS)
    return np.zeros(DRAWS), scale * np.sqrt(own.mean_n / chance)


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


def _weibull_pivots(own: Worth, place: Floats, scale: Floats, seed: int) -> tuple[Floats, Floats]:
    """Draw by the pivots of a location and scale family: fits of standard samples of what they are worth.

    Of what the readings are worth to place and to spread the lesser counts, for both come from one fit.
    """
    places, scales = _standard_weibull(max(2, math.floor(min(own.mean_n, own.sd_df + 1.0) + 1e-9)), seed)
    return place - scale * places / scales, scale / scales


@lru_cache(maxsize=64)
def _standard_weibull(n: int, seed: int) -> tuple[Floats, Floats]:
    """Fit many standard samples once for all series of one length."""
    return _weibull_fit(np.random.default_rng(seed).exponential(size=(DRAWS, n)))


FAMILIES = {
    "positive": Family(
        "lognormal",
        True,
        _log_normal_fit,
        _log_normal_pivots,
        lambda share, place, scale: np.exp(place + scale * special.ndtri(share)),
        lambda x, place, scale: special.ndtr((math.log(x) - place) / scale),
        np.log,
    ),
    "weibull": Family(
        "Weibull",
        True,
        _weibull_fit,
        _weibull_pivots,
        lambda share, place, scale: np.exp(place + scale * math.log(-math.log1p(-share))),
        lambda x, place, scale: -np.expm1(-np.exp((math.log(x) - place) / scale)),
        np.log,
    ),
    "half-normal": Family(
        "half-normal",
        False,
        _half_normal_fit,
        _half_normal_pivots,
        lambda share, place, scale: scale * special.ndtri((1.0 + share) / 2.0),
        lambda x, place, scale: 2.0 * special.ndtr(x / scale) - 1.0,
        np.square,
    ),
}

"""Capability of readings that are not normal: percentiles of a fitted or of the observed distribution.

The spread of a normal process over six sd is the width between its 0.135 % and 99.865 % percentiles; the
percentile method puts those of another distribution in their place (the pattern of ISO 22514). The intervals
come from a bootstrap: for the fitted families parametric, with exact pivots, so that they hold at 20 pieces;
for the observed percentiles by resampling, bias-corrected and accelerated.
"""

from __future__ import annotations

import math

import numpy as np

from qc.stats.capable.fitted import DRAWS, FAMILIES, percentile_figures
from qc.stats.capable.nest import Worth, nest_of, worth
from qc.stats.capable.observed import Labels, ShapeFigures, middle, observed_figures, one_sided
from qc.stats.capable.result import Limits
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers import Floats

WIDEST = 1e12  # greatest over least reading on a log scale: more is a slip, and its percentiles overflow
SHAPES = ("normal", "positive", "weibull", "half-normal", "any")


def shape_figures(
    readings: Floats,
    limits: Limits,
    shape: str,
    *,
    piece: Labels | None = None,
    confidence: float = 0.95,
    seed: int = 0,
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
    piece : ndarray, length n, optional
        Piece of each reading, where pieces have several: the interval then counts what they are worth.
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
       Bootstrap", 1993 (coverage simulated in the tests). What nested readings are worth:
       `qc.stats.capable.nest` on the scale of the shape, logarithms or the squares of a half-normal (coverage
       simulated in the tests).

    Examples
    --------
    >>> figures = shape_figures(np.exp(np.linspace(-0.8, 0.8, 40)), Limits(0.1, 8.0), "positive")
    >>> round(figures.ppk, 3)
    1.18
    """
    if np.ptp(readings) == 0.0:
        raise StatisticsError("capability by percentiles: all readings are equal, the spread is unknown")
    check_shape(readings, shape)
    if piece is not None and np.unique(piece).size == readings.size:
        piece = None  # one reading each: nothing hangs together
    if shape == "any":
        return observed_figures(readings, limits, confidence, seed, piece)
    if shape == "normal":
        raise StatisticsUsageError("capability by percentiles: normal readings need none, ask `capability`")
    family = FAMILIES[shape]
    place, scale = family.fit(readings[np.newaxis, :])
    own = _worth(family.scale(readings), piece)
    places, scales = family.pivots(own, place, scale, seed)
    pp, ppk = percentile_figures(family.percentiles(place[0], scale[0]), limits)
    pps, ppks = percentile_figures(family.percentiles(places, scales), limits)
    how = "exact pivots" if piece is None else "pivots of what the readings of a piece are worth"
    return ShapeFigures(
        pp=None if pp is None else float(pp),
        ppk=float(ppk),
        pp_interval=None if pps is None else middle(pps, confidence),
        ppk_interval=middle(ppks, confidence),
        ppk_bounds=one_sided(ppks, confidence),
        outside=float(family.outside(place[0], scale[0], limits)),
        outside_interval=middle(family.outside(places, scales, limits), confidence),
        method=f"percentiles of a fitted {family.name}; parametric bootstrap, {how}, {DRAWS} draws",
    )


def _worth(scaled: Floats, piece: Labels | None) -> Worth:
    """Tell what readings are worth on the scale of a shape: single ones as many as they are."""
    alone = Worth(float(scaled.size), float(scaled.size - 1))
    if piece is None:
        return alone
    nest = nest_of(scaled, piece)
    within, between = nest.variances
    seen = float(np.var(scaled, ddof=1))
    if math.isnan(within) or not seen > 0.0:
        return alone
    return worth(nest, within, between, seen)


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
    family = FAMILIES.get(shape)
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

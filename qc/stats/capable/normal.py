"""The figures of normal readings with their bounds, for many samples in one pass: shared by all who ask."""

from __future__ import annotations

import math

import numpy as np
from scipy import special

from qc.stats.capable.basis import Samples
from qc.stats.capable.bounds import cp_bound, cpm_bound, one_sided_bound, two_sided_bound
from qc.stats.capable.gate import LEAST_PIECES
from qc.stats.capable.outside import fraction_outside_intervals
from qc.stats.capable.pieces import pieces_to_settle_many
from qc.stats.capable.result import Limits
from qc.stats.numbers import Floats

Figures = dict[str, Floats]

PPM = 1e6


def normal_figures(samples: Samples, limits: Limits, *, wanted: float, confidence: float) -> Figures:
    """Figures, two-sided intervals, verdict bounds and fraction outside of many samples.

    Parameters
    ----------
    samples : Samples
        k samples that a figure may be given for.
    limits : Limits
        Specification limits and target, the same for all. [unit of the characteristic]
    wanted, confidence : float
        Wanted Ppk; confidence of the two-sided intervals and of each one-sided bound. [1]

    Returns
    -------
    dict of str to ndarray of length k
        `cp, cpk, cpm, pp, ppk` and each with `_low` and `_high` (NaN where the limits allow no such figure);
        `bound_low, bound_high`, the one-sided bounds of Ppk; `outside_ppm, outside_low_ppm,
        outside_high_ppm`; `pieces_to_settle` (NaN where no number would do).

    Raises
    ------
    StatisticsError
        As the bounds in `qc.stats.capable.bounds` and `fraction_outside_intervals` (sources there): a spread
        or degrees of freedom not above 0, a confidence outside 0..1.

    Examples
    --------
    >>> one = np.ones(1)
    >>> figures = normal_figures(
    ...     Samples(45 * one, 0 * one, one, one, 44 * one, 45 * one, 44 * one),
    ...     Limits(-3.45, 3.45), wanted=1.0, confidence=0.95)
    >>> [round(float(figures[name][0]), 2) for name in ("ppk", "ppk_low", "ppk_high", "pieces_to_settle")]
    [1.15, 0.89, 1.41, 49.0]
    """
    bound = one_sided_bound if limits.sides == 1 else two_sided_bound
    half = (1.0 - confidence) / 2.0
    s = samples
    found: Figures = {
        "cp": widths(limits, s.sigma),
        "cpk": nearest(limits, s.mean, s.sigma),
        "cpm": np.full(s.n.size, np.nan),
        "pp": widths(limits, s.sd),
        "ppk": nearest(limits, s.mean, s.sd),
    }
    off = np.zeros(s.n.size) if limits.target is None else (s.mean - limits.target) / s.sd
    if limits.target is not None:
        found["cpm"] = widths(limits, np.hypot(s.sd, s.mean - limits.target))
    for end, level in (("low", half), ("high", 1.0 - half)):
        found[f"cp_{end}"] = cp_bound(found["cp"], level, s.sigma_df)
        found[f"cpk_{end}"] = bound(found["cpk"], level, s.mean_n, s.sigma_df)
        found[f"cpm_{end}"] = cpm_bound(found["cpm"], level, s.sd_df + 1.0, off)
        found[f"pp_{end}"] = cp_bound(found["pp"], level, s.sd_df)
        found[f"ppk_{end}"] = bound(found["ppk"], level, s.mean_n, s.sd_df)
    found["bound_low"] = bound(found["ppk"], 1.0 - confidence, s.mean_n, s.sd_df)
    found["bound_high"] = bound(found["ppk"], confidence, s.mean_n, s.sd_df)
    found |= _outside(s, limits, confidence)
    found["pieces_to_settle"] = pieces_of(s, limits, wanted=wanted, confidence=confidence)
    return found


def pieces_of(samples: Samples, limits: Limits, *, wanted: float, confidence: float) -> Floats:
    """Further pieces that would settle each sample's question; NaN where none up to 100,000 would. [count].

    Parameters
    ----------
    samples, limits, wanted, confidence
        As `normal_figures`.

    Examples
    --------
    >>> one = np.ones(1)
    >>> few = Samples(8 * one, 0 * one, one, one, 7 * one, 8 * one, 7 * one)
    >>> pieces_of(few, Limits(-9.0, 9.0), wanted=1.0, confidence=0.95).tolist()
    [12.0]
    """
    return pieces_to_settle_many(
        nearest(limits, samples.mean, samples.sd),
        samples.n,
        sides=limits.sides,
        wanted=wanted,
        confidence=confidence,
        least=LEAST_PIECES,
        mean_share=samples.mean_n / samples.n,
        df_share=samples.sd_df / (samples.n - 1.0),
    )


def widths(limits: Limits, spread: Floats) -> Floats:
    """Tolerance over six spreads; not a number with one limit.

    Examples
    --------
    >>> widths(Limits(8.0, 20.0), np.array([2.0])).tolist()
    [1.0]
    """
    if limits.lower is None or limits.upper is None:
        return np.full(spread.shape, np.nan)
    return np.asarray((limits.upper - limits.lower) / (6.0 * spread))


def nearest(limits: Limits, mean: Floats, spread: Floats) -> Floats:
    """Distance of the mean to the nearer limit over three spreads.

    Examples
    --------
    >>> nearest(Limits(8.0, 20.0), np.array([17.0]), np.array([2.0])).tolist()
    [0.5]
    """
    above = math.inf if limits.upper is None else limits.upper - mean
    below = math.inf if limits.lower is None else mean - limits.lower
    return np.asarray(np.minimum(above, below) / (3.0 * spread))


def _outside(samples: Samples, limits: Limits, confidence: float) -> Figures:
    """Give the expected fraction outside with its interval, in a million."""
    total = np.zeros(samples.n.size)
    if limits.lower is not None:
        total = total + special.ndtr((limits.lower - samples.mean) / samples.sd)
    if limits.upper is not None:
        total = total + special.ndtr((samples.mean - limits.upper) / samples.sd)
    low, high = fraction_outside_intervals(
        samples.mean,
        samples.sd,
        samples.mean_n,
        lower=limits.lower,
        upper=limits.upper,
        confidence=confidence,
        df=samples.sd_df,
    )
    return {"outside_ppm": total * PPM, "outside_low_ppm": low * PPM, "outside_high_ppm": high * PPM}

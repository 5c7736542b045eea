"""Skewness and tails of settled readings by L-moments, and the share of odd pieces that is left."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from qc.stats.noise.laid import Laid, spread_ties
from qc.stats.noise.scatter import LARGEST_SKEW, Noise
from qc.stats.numbers import Flags, Floats, Integers

PRIOR_TAU_4 = 0.1795  # of Student's t with six degrees of freedom: bench figures are rarely quite normal
PRIOR_PIECES = 60.0  # pieces that the prior counts as; this and the next two by simulation
# beside own pieces with lighter tails sisters count as so many times more: a series that has had no odd piece
# yet is not known to have none; by simulation of series with one piece in fifty far off
LIGHTER = 2.0
MARGIN = 0.15  # tails taken for heavier than seen cost little, for lighter many false signals
# standard deviation of a ratio of one piece: of normal readings, and how it grows with the L-kurtosis beyond
# theirs; by simulation of samples of 40 to 160 readings of Student's t with 3 to 10 degrees of freedom
OF_ONE_TAU_3, OF_ONE_TAU_4 = (0.45, 2.8), (0.31, 2.1)
UNLIKE_TAU_3, UNLIKE_TAU_4 = 0.03, 0.03  # how far apart sisters are believed to be before they have shown it
UNLIKE_SISTERS = 8.0  # sisters that this belief counts as; it and what is believed by simulation
USUAL_PIECES = 40.0  # what those are believed to have had
ALIKE = 0.01  # nearer to each other than that no pool can be known to be
SKEW_PER_TAU_3 = 1.0 / 0.49  # of a lognormal: tau_3 is 0.49 sigma, to a hundredth up to sigma 0.8
BEND_PER_TAU_3 = 0.775  # how much tau_4 of a lognormal rises with the square of its tau_3
TAU_4 = (0.123, 0.132, 0.154, 0.180, 0.194, 0.217, 0.271)
TAILS = (0.0, 1 / 30, 1 / 10, 1 / 6, 1 / 5, 1 / 4, 0.35)
"""Student's t: its fourth L-moment ratio and one over its degrees of freedom."""

ODD = 3.0  # normal score beyond which a piece counts as odd
PRIOR_ODD = (0.54, 200.0)  # odd pieces in so many: the normal share, 0.0027
PRIOR_REACH = (0.6, 2.0)  # sum of how far beyond three so many of them lay
FIT_STEPS = 12  # chosen: from mean and spread the fit stands still to three digits
SHORT_SIDE = 8.0  # where a skewed scale ends, so many standard deviations out, no logarithm exists


class Learned(NamedTuple):
    """Shape of each series, the odd pieces of the pool, and how far apart its series are."""

    skew: Floats
    tails: Floats
    odd_share: float
    odd_reach: float
    unlike_skew: float
    unlike_tails: float


def l_moment_ratios(ordered: Floats, sizes: Integers) -> tuple[Floats, Floats]:
    """L-skewness and L-kurtosis of samples laid end to end, from unbiased probability-weighted moments.

    Parameters
    ----------
    ordered : ndarray, shape (pieces,)
        Readings, from the smallest on within each sample. [any unit]
    sizes : ndarray of int, shape (samples,)
        Readings of each sample, at least four, not all equal.

    Returns
    -------
    tau_3, tau_4 : ndarray, shape (samples,)
        Third and fourth L-moment over the second. [1]

    References
    ----------
    .. [1] Hosking, "L-moments: analysis and estimation of distributions using linear combinations of order
       statistics", J. Royal Statistical Society B 52 (1990), 105-124.

    Examples
    --------
    >>> tau_3, tau_4 = l_moment_ratios(np.array([1.0, 2.0, 3.0, 4.0, 10.0]), np.array([5]))
    >>> round(float(tau_3[0]), 6), round(float(tau_4[0]), 6)
    (0.5, 0.5)
    """
    first = np.cumsum(sizes) - sizes
    sample = np.repeat(np.arange(sizes.size), sizes)
    n = sizes[sample].astype(np.float64)
    below = np.arange(ordered.size) - first[sample]
    # from the sample's middle, so that a large common offset costs no digits
    part = (ordered - ordered[first + sizes // 2][sample]) / n
    b = [np.bincount(sample, part, sizes.size)]
    for r in range(1, 4):
        part = part * (below - r + 1) / (n - r)
        b.append(np.bincount(sample, part, sizes.size))
    second = 2 * b[1] - b[0]
    third = 6 * b[2] - 6 * b[1] + b[0]
    fourth = 20 * b[3] - 30 * b[2] + 12 * b[1] - b[0]
    return third / second, fourth / second


def tails_of(tau_3: Floats, tau_4: Floats) -> Floats:
    """One over the degrees of freedom of the t whose L-kurtosis is left once the skewness is taken out."""
    return np.interp(tau_4 - BEND_PER_TAU_3 * tau_3 * tau_3, TAU_4, TAILS)


def learn_shape(laid: Laid) -> Learned:
    """Learn skewness and tails of each series, shrunk towards the pool and the pool towards the prior.

    The pool holds the series itself as well: a sister of four pieces then changes next to nothing of what
    a series alone would give. The less alike its series are, the fewer pieces it counts as.

    References
    ----------
    .. [1] Morris, "Parametric empirical Bayes inference", J. American Statistical Association 78 (1983),
       47-55: shrinking by the variance between groups, estimated from them (from memory).
    """
    ordered = spread_ties(laid)
    tau_3, tau_4 = l_moment_ratios(ordered, laid.sizes)
    worth = (laid.sizes - 3).astype(np.float64)
    own = laid.over_series(worth)
    pool = float(own.sum())
    margin = MARGIN / np.sqrt(PRIOR_PIECES + pool)
    heavier = max(_of_pool(worth * tau_4, own, PRIOR_TAU_4) - TAU_4[0], 0.0)
    skewed, apart_3 = _shrunk(
        laid, worth * tau_3, own, 0.0, _of_one(OF_ONE_TAU_3, heavier), UNLIKE_TAU_3, 1.0
    )
    tailed, apart_4 = _shrunk(
        laid, worth * tau_4, own, PRIOR_TAU_4, _of_one(OF_ONE_TAU_4, heavier), UNLIKE_TAU_4, LIGHTER
    )
    tailed = tailed + margin
    skew = np.clip(skewed * SKEW_PER_TAU_3, -LARGEST_SKEW, LARGEST_SKEW)
    tails = tails_of(skewed, tailed)
    # odd pieces are counted by the sisters' tails at the most: a series that has had one has taken it for its
    # own tail, and would hide from the others how odd pieces can be
    common = tails_of(skewed, _of_pool(worth * tau_4, own, PRIOR_TAU_4) + margin)
    beyond = np.abs(normal_scores(laid, ordered, skew, np.minimum(tails, common))) - ODD
    odd = beyond > 0
    k = float(odd.sum())
    share = (k + PRIOR_ODD[0]) / (pool + PRIOR_ODD[1])
    reach = (PRIOR_REACH[0] + float(np.sort(beyond[odd]).sum())) / (PRIOR_REACH[1] + k)
    return Learned(skew, tails, share, reach, apart_3 * SKEW_PER_TAU_3, apart_4)


def normal_scores(laid: Laid, ordered: Floats, skew: Floats, tails: Floats) -> Floats:
    """Bring readings to the normal scale of their stretch, given the shape of each series.

    Level and spread are those of the t, by reweighting: a few odd pieces do not widen them.

    References
    ----------
    .. [1] Wallace, "Bounds on normal approximations to Student's and the chi-square distributions", Annals
       of Mathematical Statistics 30 (1959), 1121-1130: the normal score of t (from memory; checked against
       the exact one in the tests).
    """
    g, kappa = skew[laid.series], tails[laid.series]
    mean = laid.over_stretches(ordered) / laid.sizes
    middle = mean
    away = (ordered - mean[laid.stretch]) ** 2
    spread = np.sqrt(laid.over_stretches(away) / (laid.sizes - 1))
    for _ in range(FIT_STEPS):
        u = _unskewed((ordered - middle[laid.stretch]) / spread[laid.stretch], g[laid.stretch])
        weight = (1 + kappa[laid.stretch]) / (1 + kappa[laid.stretch] * u * u)
        middle = middle + spread * laid.over_stretches(weight * u) / laid.over_stretches(weight)
        spread = spread * np.sqrt(laid.over_stretches(weight * u * u) / (laid.sizes - 1))
    u = _unskewed((ordered - middle[laid.stretch]) / spread[laid.stretch], g[laid.stretch])
    return score_of_t(u, kappa[laid.stretch])


def score_of_t(u: Floats, tails: Floats) -> Floats:
    """Return the normal score of readings that follow Student's t with 1 / `tails` degrees of freedom."""
    heavy: Flags = tails > 0
    kappa = np.where(heavy, tails, 1.0)
    bent = np.sign(u) * (8 + kappa) / (8 + 3 * kappa) * np.sqrt(np.log1p(kappa * u * u) / kappa)
    return np.where(heavy, bent, u)


def score_of(noise: Noise, away: float) -> float:
    """Return the normal score of one reading, given how many spreads it lies from the level.

    Examples
    --------
    >>> round(score_of(Noise(tails=0.2), 6.0), 2), score_of(Noise(), 6.0)
    (3.09, 6.0)
    """
    u = _unskewed(np.array([away]), np.array([noise.skew]))
    return float(score_of_t(u, np.array([noise.tails]))[0])


def _unskewed(away: Floats, skew: Floats) -> Floats:
    """Take the skewness out of standardised readings."""
    skewed: Flags = np.abs(skew) > 1e-9
    g = np.where(skewed, skew, 1.0)
    return np.where(skewed, np.log(np.maximum(1 + g * away, np.exp(-SHORT_SIDE * np.abs(g)))) / g, away)


def _of_pool(weighted: Floats, own: Floats, prior: float) -> float:
    """Mean of a ratio over the pool, beside the prior."""
    return float((PRIOR_PIECES * prior + weighted.sum()) / (PRIOR_PIECES + own.sum()))


def _of_one(normal_and_slope: tuple[float, float], heavier: float) -> float:
    """Variance of a ratio from so few readings as one, by what is known of the pool's tails."""
    normal, slope = normal_and_slope
    return (normal + slope * heavier) ** 2


def _shrunk(
    laid: Laid, weighted: Floats, own: Floats, prior: float, of_one: float, usual: float, below: float
) -> tuple[Floats, float]:
    """Mean of a ratio for each series: its own beside the pool's, the pool's beside the prior.

    The pool counts as the pieces that would place a series as well as knowing its sisters does: the variance
    of one piece over that between sisters; `below` times as many where the series' own ratio is under that of
    the pool. Returned with it: by how much sisters differ.
    """
    summed, pool = laid.over_series(weighted), _of_pool(weighted, own, prior)
    known = own > 0
    apart = _between(summed[known] / own[known], own[known], of_one, usual)
    alone = own.sum() - own <= 0
    counts_as = of_one / apart**2 * np.where(summed < own * pool, below, 1.0)
    return np.asarray(np.where(alone, pool, (counts_as * pool + summed) / (counts_as + own))), apart


def _between(ratios: Floats, pieces: Floats, of_one: float, usual: float) -> float:
    """Give the standard deviation of a ratio between sisters beyond chance, beside what is usual.

    Each sister's squared distance counts by how well it tells that variance.
    """
    square, count = usual * usual, ratios.size
    believed = UNLIKE_SISTERS / (square + of_one / USUAL_PIECES) ** 2
    if count < 2:
        return usual
    middle = float(ratios @ pieces) / float(pieces.sum())
    chance = of_one / pieces
    tells = 1.0 / (square + chance) ** 2
    beyond = float(tells @ ((ratios - middle) ** 2 - chance)) * count / (count - 1)
    return float(np.sqrt(max((believed * square + beyond) / (believed + float(tells.sum())), ALIKE * ALIKE)))

"""Do two figures of the same pieces go together: by ranks, each piece against its neighbours.

Both figures may drift, step and come in lots, each for reasons of its own. Two series that wander by
themselves agree by chance far more often than two sets of independent figures do, so each piece is compared
with those made just before and after it, and what is left of neighbours' likeness lowers the number of pieces
counted.

Ranks within the group are divided by its size plus one, and the mean of the piece and four on either side is
taken off. The pieces count as 1 + 1/v. Here v is the variance of the correlation: the mean square of the
correlations of the two series shifted against each other, on a ring (Clifford, Richardson and Hemon), or that
of their products with six neighbours (Newey and West), which sees lots that both figures share, whichever is
larger, and one standard error more, since it is estimated itself. They never count as more than the pieces
less what groups and neighbours' means take up. By simulation the chance of a false answer is held for
independent pieces, lots of three to ten (shared or not), steps, trends, ties and verdicts.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, Interval, Places, check_between
from qc.stats.tabled import Tabled

BESIDE = 4
"""Pieces on either side whose mean is taken off; chosen: about a fortnight of a workshop, so that a step of
one figure and a step of the other, weeks apart, do not meet."""

LEAST_TOGETHER = 20
"""Chosen: of so few a correlation of 0.7 is told from chance among twenty figures one time in four, of fewer
hardly ever."""

LAGS = 6
"""How far apart pieces may be alike in both figures at once; by simulation enough for lots of up to ten."""

RANK_SPREAD = 1.06
"""Variance of a transformed rank correlation, times n - 3 (Fieller, Hartley and Pearson)."""


@dataclass(frozen=True, slots=True)
class RankAssociation(Tabled):
    """How two figures of the same pieces go together.

    Attributes
    ----------
    correlation : float
        Rank correlation of the pieces against their neighbours, -1..1.
    interval : (float, float)
        Two-sided interval of it.
    p_value : float
        Chance of one as far from 0 where the figures have nothing to do with each other, 0..1.
    n : int
        Pieces that have both figures.
    counts_as : float
        Independent pieces they are worth, at most n.
    against : tuple of (float, float), length n
        Of each piece both figures as they are compared: ranks less those of its neighbours.
    """

    correlation: float
    interval: Interval
    p_value: float
    n: int
    counts_as: float
    against: tuple[tuple[float, float], ...] = ()


def rank_association(
    first: Sequence[float],
    second: Sequence[float],
    groups: Sequence[Hashable] = (),
    *,
    confidence: float = 0.95,
) -> RankAssociation | None:
    """Say how two figures go together, each piece against those made before and after it.

    Parameters
    ----------
    first, second : sequence of float, length n
        The figures of each piece in order of making, NaN where one was not read; pieces without both take no
        part.
    groups : sequence, length n
        What each piece is one of, such as its model: ranks are those within the group. All alike if empty.
    confidence : float, 0..1
        Confidence of the interval.

    Returns
    -------
    RankAssociation or None
        None where fewer than `LEAST_TOGETHER` pieces have both figures, or one of them is always the same.

    Raises
    ------
    StatisticsError
        Lengths differ, or a confidence outside 0..1.

    References
    ----------
    .. [1] Clifford, Richardson and Hemon, "Assessing the significance of the correlation between two spatial
       processes", Biometrics 45 (1989), 123-134.
    .. [2] Newey and West, "A simple, positive semi-definite, heteroskedasticity and autocorrelation
       consistent covariance matrix", Econometrica 55 (1987), 703-708.
    .. [3] Fieller, Hartley and Pearson, "Tests for rank correlation coefficients", Biometrika 44 (1957),
       470-481: the variance 1.06/(n - 3).

    Examples
    --------
    >>> noise = [3.0, 9.0, 1.0, 7.0, 5.0, 8.0, 2.0, 6.0, 4.0, 0.0] * 3
    >>> found = rank_association(noise, [value**2 for value in noise])
    >>> round(found.correlation, 3), found.n
    (1.0, 30)
    """
    check_between(confidence, "association: confidence")
    one, other = (np.asarray(values, dtype=np.float64) for values in (first, second))
    labels = list(groups) or [""] * one.size
    if not one.size == other.size == len(labels):
        raise StatisticsError(
            f"association: {one.size} and {other.size} figures of {len(labels)} pieces; give each piece both"
        )
    both = np.isfinite(one) & np.isfinite(other)
    n = int(both.sum())
    if n < LEAST_TOGETHER:
        return None
    own = np.unique([str(label) for label in labels], return_inverse=True)[1][both]
    a, b = (less_neighbours(ranks_within(values[both], own)) for values in (one, other))
    scale = math.sqrt(float(a @ a) * float(b @ b))
    if scale < 1e-9 * n:  # one of them never differs from its neighbours
        return None
    correlation = float(np.clip(a @ b / scale, -1.0, 1.0))
    taken = len(np.unique(own)) - 1 + n / (2 * BESIDE + 1) - 1
    counts_as = pieces_counted(a, b, scale, n - taken)
    pairs = tuple(zip(a.tolist(), b.tolist(), strict=True))
    return RankAssociation(
        correlation,
        _interval(correlation, counts_as, confidence),
        chance_of(correlation, counts_as),
        n,
        counts_as,
        pairs,
    )


def ranks_within(values: Floats, groups: Places) -> Floats:
    """Return ranks within each group, 0 in its middle, between -1/2 and 1/2; ties share their mean rank."""
    out = np.empty_like(values)
    for group in np.unique(groups):
        own = groups == group
        size = int(own.sum())
        # not by scipy.stats, whose import alone takes a tenth of a month's report
        ranks = pl.Series(values[own]).rank("average").to_numpy()
        out[own] = (ranks - (size + 1) / 2) / (size + 1)
    return out


def less_neighbours(scores: Floats) -> Floats:
    """Take off each score the mean of itself and its neighbours; at the ends of as many pieces within."""
    n, width = scores.size, 2 * BESIDE + 1
    first = np.clip(np.arange(n) - BESIDE, 0, n - width)
    total = np.concatenate([[0.0], np.cumsum(scores)])
    left = scores - (total[first + width] - total[first]) / width
    return np.asarray(left - left.mean())


def pieces_counted(a: Floats, b: Floats, scale: float, most: float) -> float:
    """Return as how many independent pieces these count, from how much chance moves their correlation."""
    n = a.size
    shifted = np.fft.irfft(np.conj(np.fft.rfft(a)) * np.fft.rfft(b), n) / scale
    products = a * b / scale
    products = products - products.mean()
    alike = float(products @ products)
    for lag in range(1, LAGS + 1):
        alike += 2.0 * (1.0 - lag / (LAGS + 1)) * float(products[lag:] @ products[:-lag])
    variance = max(float(np.mean(shifted[1:] ** 2)), alike * n / (n - 1.0), 1.0 / n)
    rough = min(most, 1.0 + 1.0 / variance)
    return min(most, 1.0 + 1.0 / (variance * (1.0 + math.sqrt(2.0 / rough))))


def chance_of(correlation: float, counts_as: float) -> float:
    """Return the chance of a correlation as far from 0 of so many independent pieces."""
    freedom = counts_as - 2.0
    if freedom <= 0.0:
        return 1.0
    if abs(correlation) >= 1.0:
        return 0.0
    t = abs(correlation) * math.sqrt(freedom / (1.0 - correlation**2))
    return float(2.0 * special.stdtr(freedom, -t))


def _interval(correlation: float, counts_as: float, confidence: float) -> Interval:
    if counts_as <= 3.0 or abs(correlation) >= 1.0:
        return (-1.0, 1.0) if counts_as <= 3.0 else (correlation, correlation)
    reach = float(special.ndtri(0.5 + confidence / 2.0)) * math.sqrt(RANK_SPREAD / (counts_as - 3.0))
    middle = math.atanh(correlation)
    return math.tanh(middle - reach), math.tanh(middle + reach)

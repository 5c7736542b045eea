"""How sure a check is: p-values of Grubbs' test and of the largest change, the interval of a correlation."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats
from qc.stats.samples import LEAST_FOR_LAG, NORMAL_95

NODES = 32  # of the quadrature; 64 change no p-value above 1e-8 by more than 1e-10


def grubbs_p_value(statistic: float, n: int, *, both_sides: bool = True) -> float:
    """P-value of the most extreme reading's distance from the mean.

    Parameters
    ----------
    statistic : float, >= 0
        Distance from the mean in sample sds. [1]
    n : int, >= 3
        Readings.
    both_sides : bool
        Whether an outlier was looked for on both sides.

    Returns
    -------
    float
        n (one-sided) or 2 n times the tail of a t value, at most 1. Exact where no two readings can be so far
        off together, which holds for every p-value that matters.

    Raises
    ------
    StatisticsError
        Fewer than three readings, or a statistic that is negative or not a number.

    References
    ----------
    .. [1] The critical value of NIST/SEMATECH e-Handbook 1.3.5.17.1, solved for the level.

    Examples
    --------
    >>> round(grubbs_p_value(2.0317, 8, both_sides=False), 4)
    0.05
    """
    _check(statistic, n)
    room = (n - 1.0) ** 2 - n * statistic * statistic
    if room <= 0.0:
        return 0.0
    t = statistic * math.sqrt(n * (n - 2.0) / room)
    tail = float(special.stdtr(n - 2, -t))
    return min(1.0, n * tail * (2.0 if both_sides else 1.0))


def mean_change_p_value(statistic: float, n: int) -> float:
    """P-value of the largest two-sample t over all splits of a series.

    Parameters
    ----------
    statistic : float
        Largest t, as `mean_change` gives it; its sign does not matter. [1]
    n : int, >= 3
        Readings.

    Returns
    -------
    float
        Never less than the true p-value of independent normal readings, and close above it where it is small.

    Raises
    ------
    StatisticsError
        Fewer than three readings, or a statistic that is not a number.

    Notes
    -----
    The chance that some split exceeds the value is at most the sum over the splits less the sum over
    neighbouring pairs of the chance that both do. Splits are directions in space, so a pair needs only the
    angle between two of them and one integral.

    References
    ----------
    .. [1] Worsley, "On the likelihood ratio test for a shift in location of normal populations", J. American
       Statistical Association 74 (1979), 365-367; "An improved Bonferroni inequality and applications",
       Biometrika 69 (1982), 297-302 (both from memory; exact for three readings, simulated in the tests).

    Examples
    --------
    >>> round(mean_change_p_value(3.2, 30), 3)
    0.058
    """
    _check(abs(statistic), n)
    squared = statistic * statistic
    share = 1.0 if math.isinf(squared) else squared / (n - 2.0 + squared)
    return _union(share, _angles_between_splits(n), n - 1)


def target_change_p_value(statistic: float, n: int, squares: float | None = None) -> float:
    """P-value of the largest change away from a known level.

    Parameters
    ----------
    statistic : float
        As `mean_change_from_target` gives it: in sds with a known spread, else in the unit of the readings.
    n : int, >= 1
        Readings; 2 without a known spread.
    squares : float, optional
        Sum of squared deviations from the target where the spread is not known. [square of the unit]

    Returns
    -------
    float
        As for `mean_change_p_value`; every start counts, the first reading among them.

    Raises
    ------
    StatisticsError
        Too few readings, a statistic that is not a number, or squares not above 0.

    References
    ----------
    .. [1] As for `mean_change_p_value`.

    Examples
    --------
    >>> round(target_change_p_value(2.0, 1), 4), round(target_change_p_value(3.0, 30), 3)
    (0.0455, 0.032)
    """
    _check(abs(statistic), n, least=1 if squares is None else 2)
    angles = _angles_from_the_end(n)
    if squares is None:
        return _normal_union(statistic * statistic, angles)
    if not squares > 0:
        raise StatisticsError(f"change from target: the sum of squares is {squares}, must be above 0")
    return _union(min(1.0, statistic * statistic / squares), angles, n)


def lag_1_interval(lag_1: float, n: int) -> tuple[float, float]:
    """Interval of about 95 % of a lag-1 autocorrelation.

    Parameters
    ----------
    lag_1 : float, -1..1
        Coefficient seen. [1]
    n : int, >= 10
        Readings.

    Returns
    -------
    tuple of float
        The true coefficients that would make the one seen no surprise: mean rho - (1 + 4 rho) / n, variance
        (1 - rho^2) / n. It is not centred on `lag_1`, because an estimated mean pulls that down.

    Raises
    ------
    StatisticsError
        Fewer than ten readings, or a coefficient outside -1..1.

    References
    ----------
    .. [1] Bartlett, J. Royal Statistical Society B 8 (1946), the variance; Kendall, Biometrika 41 (1954),
       403-404, the mean (both from memory; coverage simulated in the tests).

    Examples
    --------
    >>> low, high = lag_1_interval(0.25, 50)
    >>> round(low, 3), round(high, 3)
    (-0.008, 0.546)
    """
    if n < LEAST_FOR_LAG:
        raise StatisticsError(
            f"autocorrelation: {n} readings, at least {LEAST_FOR_LAG} are needed for an interval"
        )
    if not -1.0 <= lag_1 <= 1.0:
        raise StatisticsError(f"autocorrelation: lag-1 coefficient is {lag_1}, must lie between -1 and 1")
    # (lag_1 + 1/n - (1 - 4/n) rho)^2 = z^2 (1 - rho^2) / n, a quadratic in rho
    shrink, seen, spread = 1.0 - 4.0 / n, lag_1 + 1.0 / n, NORMAL_95**2 / n
    a, half_b, c = shrink**2 + spread, shrink * seen, seen**2 - spread
    root = math.sqrt(max(half_b**2 - a * c, 0.0))
    # what lies beyond the mean of an endless likeness is met by nothing short of it
    low = -1.0 if lag_1 <= 3.0 / n - 1.0 else (half_b - root) / a
    return max(-1.0, low), 1.0 if lag_1 >= 1.0 - 5.0 / n else min(1.0, (half_b + root) / a)


def corrected_p_values(p_values: Sequence[float]) -> list[float]:
    """P-values corrected for looking at several things at once, however they depend on one another.

    Parameters
    ----------
    p_values : sequence of float, each 0..1
        As each check gives it on its own.

    Returns
    -------
    list of float
        In the same order, each at most 1: below 0.05 it would be so by chance in any of the checks at most
        once in twenty times.

    Raises
    ------
    StatisticsError
        A p-value outside 0..1.

    References
    ----------
    .. [1] Holm, "A simple sequentially rejective multiple test procedure", Scandinavian J. of Statistics 6
       (1979), 65-70.

    Examples
    --------
    >>> [round(p, 3) for p in corrected_p_values([0.01, 0.04, 0.03])]
    [0.03, 0.06, 0.06]
    """
    given = np.asarray(p_values, dtype=np.float64)
    if given.size == 0:
        return []
    if not ((given >= 0) & (given <= 1)).all():
        raise StatisticsError(f"p-values {list(p_values)}: each must lie between 0 and 1")
    order = np.argsort(given, kind="stable")
    stepped = np.maximum.accumulate(given[order] * (given.size - np.arange(given.size)))
    out = np.empty_like(given)
    out[order] = np.minimum(stepped, 1.0)
    return [float(p) for p in out]


def _check(statistic: float, n: int, least: int = 3) -> None:
    """Refuse what is no statistic, or comes from too few readings."""
    if math.isnan(statistic) or statistic < 0:
        raise StatisticsError(f"p-value: the statistic is {statistic}, must be a number from 0 up")
    if n < least:
        raise StatisticsError(f"p-value: {n} readings, at least {least} are needed")


@lru_cache(maxsize=1024)
def _angles_between_splits(n: int) -> Floats:
    """Angle between the contrasts of neighbouring splits after k and k + 1 of n readings."""
    k = np.arange(1.0, n - 1)
    return np.asarray(np.arccos(np.sqrt(k * (n - k - 1) / ((k + 1) * (n - k)))))


@lru_cache(maxsize=1024)
def _angles_from_the_end(n: int) -> Floats:
    """Angle between the sums of the last k and the last k + 1 readings."""
    k = np.arange(1.0, n)
    return np.asarray(np.arccos(np.sqrt(k / (k + 1))))


def _union(share: float, angles: Floats, dimensions: int) -> float:
    """Chance at most that a random direction lies within reach of one of a chain of axes.

    An axis is reached where the squared cosine of the angle to it is above `share`.
    """
    if share <= 0.0:
        return 1.0
    reach = math.sqrt(max(0.0, 1.0 - share))  # sine of the widest angle within reach
    if reach == 0.0:
        return 0.0

    def below(angle: Floats) -> Floats:
        end = np.arcsin(np.minimum(1.0, np.sin(angle) / reach))
        turn = end[:, None] * _nodes()[0]
        sine, cosine = reach * np.sin(turn), reach * np.cos(turn)
        # the square root at the end of the reach is gone after the turn, so few nodes are exact
        inside = (cosine / np.sqrt(1.0 - sine * sine)) ** (dimensions - 1)
        return np.asarray(end * (inside @ _nodes()[1]))

    return _chain(below, angles)


def _normal_union(squared: float, angles: Floats) -> float:
    """Take the same in endless dimensions: a standard normal point beyond `squared` along an axis."""

    def below(angle: Floats) -> Floats:
        turn = angle[:, None] * _nodes()[0]
        with np.errstate(over="ignore", divide="ignore"):
            inside = np.exp(-0.5 * squared / np.cos(turn) ** 2)
        return np.asarray(angle * (inside @ _nodes()[1]))

    return _chain(below, angles)


def _chain(below: Callable[[Floats], Floats], angles: Floats) -> float:
    """Sum over the axes less the sum over neighbours; `below` integrates the tail up to an angle."""
    quarter = float(below(np.array([math.pi / 2]))[0])
    both_ways = quarter - below((math.pi - angles) / 2)
    total = quarter + float((below(angles / 2) - both_ways).sum()) if angles.size else quarter
    return min(1.0, max(0.0, 2.0 / math.pi * total))


@lru_cache(maxsize=1)
def _nodes() -> tuple[Floats, Floats]:
    """Nodes and weights of the quadrature from 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    return (nodes + 1.0) / 2.0, weights / 2.0

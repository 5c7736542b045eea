"""Confidence bounds of capability figures.

Every bound is one-sided: `level` is the chance that the true figure lies below it, so 0.05 gives the lower
95 % bound and 0.975 the upper end of a two-sided 95 % interval. All functions take scalars or arrays and
follow numpy's broadcasting, so one call serves one series or ten thousand; a figure that is missing (NaN) has
no bound (NaN).
"""

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import GREATEST, Floats

LEAST_LEVEL = 1e-12  # the noncentral t has no digits left far beyond it
_LARGE_DF = 1e6  # above, the noncentral t is a shifted normal to more than eight digits of the bound
_FAR = 1000.0  # beyond, the first order in the inverse of a statistic gives chances to 1e-8


def cp_bound(cp: ArrayLike, level: ArrayLike, df: ArrayLike) -> Floats:
    """Bound of the true Cp or Pp: exact, from the chi-square distribution of the variance. [1].

    Parameters
    ----------
    cp : array_like, any shape
        Estimate, tolerance over six standard deviations. [1]
    level : array_like, 0..1
        Chance that the true value is below the bound.
    df : array_like, > 0
        Degrees of freedom of the standard deviation (n - 1 for a sample).

    Raises
    ------
    StatisticsError
        A level outside 0..1 or degrees of freedom not above 0.

    References
    ----------
    .. [1] Montgomery, "Introduction to Statistical Quality Control", example 8.4 (from memory; exact by
       definition, recomputed in the tests).

    Examples
    --------
    >>> [round(float(cp_bound(24 / (6 * 1.75), level, 19)), 2) for level in (0.025, 0.975)]
    [1.56, 3.01]
    """
    level, df = _checked(level, df)
    cp = _figures(cp, "Cp")
    quantile = np.where(np.isinf(df), 1.0, special.chdtri(np.where(np.isinf(df), 1.0, df), 1.0 - level) / df)
    return np.asarray(cp * np.sqrt(quantile))


def one_sided_bound(index: ArrayLike, level: ArrayLike, n: ArrayLike, df: ArrayLike) -> Floats:
    """Bound of a one-sided figure (distance of the mean to one limit over three sd): exact, noncentral t.

    Parameters
    ----------
    index : array_like, any shape
        Estimate of Cpu, Cpl, or Ppk with one limit. [1]
    n : array_like, >= 2
        Pieces behind the mean.
    level, df
        As `cp_bound`, answer and errors too; `df` is infinite when the sd is known.

    Notes
    -----
    3 sqrt(n) index is noncentral t with noncentrality 3 sqrt(n) times the true value.

    References
    ----------
    .. [1] Chou, Owen and Borrego, "Lower confidence limits on process capability indices", Journal of
       Quality Technology 22, 1990 (method).

    Examples
    --------
    >>> round(float(one_sided_bound(1.0, 0.05, 20, 19)), 6)
    0.701351
    """
    level, df = _checked(level, df)
    scale = 3.0 * np.sqrt(_figures(n, "number of pieces", above=0.0))
    statistic = scale * _figures(index, "index")
    large = df > _LARGE_DF
    spread = np.sqrt(1.0 + np.where(np.isinf(df), 0.0, statistic**2 / (2.0 * df)))
    shifted = statistic + special.ndtri(level) * spread
    exact = _noncentrality(statistic, 1.0 - level, np.where(large, 10.0, df))
    return np.asarray(np.where(large, shifted, exact) / scale)


def two_sided_bound(index: ArrayLike, level: ArrayLike, n: ArrayLike, df: ArrayLike) -> Floats:
    """Bound of Cpk or Ppk with two limits, by the normal approximation of Bissell.

    Parameters
    ----------
    index, level, n, df
        As `one_sided_bound`, answer and errors too; the index is Cpk or Ppk.

    References
    ----------
    .. [1] Bissell, "How reliable is your capability index?", Applied Statistics 39, 1990 (formula from
       memory; 1.15 from 45 pieces gives 0.89 to 1.41, read in a quality trade column).

    Examples
    --------
    >>> [round(float(two_sided_bound(1.15, level, 45, 44)), 2) for level in (0.025, 0.975)]
    [0.89, 1.41]
    """
    level, df = _checked(level, df)
    index = _figures(index, "index")
    variance = 1.0 / (9.0 * _figures(n, "number of pieces", above=0.0)) + index**2 / (2.0 * df)
    return np.asarray(index + special.ndtri(level) * np.sqrt(variance))


def cpm_bound(cpm: ArrayLike, level: ArrayLike, n: ArrayLike, off_target: ArrayLike) -> Floats:
    """Bound of Cpm by the chi-square approximation of Boyles.

    Parameters
    ----------
    cpm : array_like, any shape
        Estimate, tolerance over six root mean squares about the target. [1]
    level, n
        As `one_sided_bound`, answer and errors too.
    off_target : array_like
        (mean - target) / sd. [1]

    References
    ----------
    .. [1] Boyles, "The Taguchi capability index", Journal of Quality Technology 23, 1991 (formula from
       memory; recomputed in the tests).

    Examples
    --------
    >>> round(float(cpm_bound(1.2, 0.05, 50, 0.5)), 6)
    1.004661
    """
    ratio = _figures(off_target, "distance from the target") ** 2
    freedom = _figures(n, "number of pieces", above=0.0) * (1.0 + ratio) ** 2 / (1.0 + 2.0 * ratio)
    level, freedom = _checked(level, freedom)
    return np.asarray(_figures(cpm, "Cpm") * np.sqrt(special.chdtri(freedom, 1.0 - level) / freedom))


def _noncentrality(statistic: Floats, probability: Floats, df: Floats) -> Floats:
    """Noncentrality at which P(T <= statistic) is `probability`, by secant steps on normal scores.

    The score of that chance is almost a straight line, of slope -1 over `spread`, in the noncentrality,
    so the steps arrive in three or four; what does not arrive is left to scipy's own, slower search. Far out
    scipy's chance is wrong or never comes back; there the error of the mean hardly counts.
    """
    statistic, probability, df = np.broadcast_arrays(statistic, probability, df)
    far = np.abs(statistic) > _FAR * np.maximum(1.0, np.sqrt(df / 200.0))  # 50 sds of t W, or more
    if np.any(far):
        with np.errstate(all="ignore"):
            beyond = _far_noncentrality(statistic, probability, df)
        return np.where(far, beyond, _noncentrality(np.where(far, 1.0, statistic), probability, df))
    wanted = special.ndtri(probability)
    spread = np.sqrt(1.0 + statistic**2 / (2.0 * df))
    here = statistic - wanted * spread
    with np.errstate(all="ignore"):  # far tails give infinities, which count as not arrived
        gap = special.ndtri(special.nctdtr(df, here, statistic)) - wanted
        step = gap * spread
        for _ in range(8):
            before, here = gap, here + step
            gap = special.ndtri(special.nctdtr(df, here, statistic)) - wanted
            arrived = (np.abs(gap) < 1e-12) | (gap == before)
            step = np.where(arrived, 0.0, step * gap / (before - gap))
            if np.all(arrived):
                break
        lost = ~(np.abs(gap) < 1e-9)
    if np.any(lost):
        here = np.where(lost, special.nctdtrinc(df, probability, statistic), here)
    return np.asarray(here)


def _far_noncentrality(statistic: Floats, probability: Floats, df: Floats) -> Floats:
    """Noncentrality of a far statistic t: a quantile of t W - Z, W the sd over the true one.

    Z, the error of the mean, moves the quantile x of t W by -f'(x) / 2 f(x) to first order, f the density of
    t W; what is left out is of the order of t^-3.
    """
    upper = np.where(statistic > 0.0, probability, 1.0 - probability)
    sd = np.sqrt(special.chdtri(df, upper) / df)
    moved = -((df - 1.0) / sd - df * sd) / (2.0 * np.abs(statistic))
    return np.asarray(np.sign(statistic) * (np.abs(statistic) * sd + moved))


def _checked(level: ArrayLike, df: ArrayLike) -> tuple[Floats, Floats]:
    """Return both as arrays, or say what is wrong with them."""
    level, df = np.asarray(level, dtype=np.float64), np.asarray(df, dtype=np.float64)
    if not np.all((level >= LEAST_LEVEL) & (level < 1)):
        raise StatisticsError(f"capability bound: level is {level}, must lie between 0 and 1")
    if not np.all(df > 0):
        raise StatisticsError(f"capability bound: degrees of freedom are {df}, must be above 0")
    return level, df


def _figures(values: ArrayLike, name: str, above: float = -math.inf) -> Floats:
    """Take figures; a missing one (NaN) stays missing, one that cannot be computed with is refused."""
    figures = np.asarray(values, dtype=np.float64)
    wrong = ~(np.isnan(figures) | ((figures > above) & (np.abs(figures) <= GREATEST)))
    if np.any(wrong):
        need = "a finite number" if above < 0.0 else f"above {above:g} and finite"
        raise StatisticsError(f"capability bound: {name} is {figures[wrong].flat[0]:g}, must be {need}")
    return figures

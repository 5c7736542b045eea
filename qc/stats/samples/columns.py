"""Normality and lag-1 correlation of thousands of series in one pass over their readings."""

from __future__ import annotations

import numpy as np
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, Places

# p-value of the adjusted Anderson-Darling statistic a, from each limit on: D'Agostino and Stephens 1986,
# table 4.9; p = exp(q(a)) from 0.34 on, 1 - exp(q(a)) below
_P_FROM = np.array([0.0, 0.2, 0.34, 0.6])
_P_TERMS = np.array(
    [
        [-13.436, 101.14, -223.73],
        [-8.318, 42.796, -59.938],
        [0.9177, -4.279, -1.38],
        [1.2937, -5.709, 0.0186],
    ]
)
_P_END = 100.0  # the last quadratic turns upwards past its least point near 153, where p has long been 0


def anderson_darling_many(values: Floats, sizes: Places) -> tuple[Floats, Floats]:
    """Test every series for normal readings, mean and sd estimated: statistics adjusted for n, and p-values.

    Parameters
    ----------
    values : ndarray, length sum of `sizes`
        Finite readings, series after series. [any unit]
    sizes : ndarray, each >= 8
        Readings of each series; none may be constant.

    Raises
    ------
    StatisticsError
        Sizes that do not add up to the readings, fewer than 8 in a series, or all equal in one.

    References
    ----------
    .. [1] D'Agostino and Stephens, "Goodness-of-fit Techniques", 1986, table 4.9 (formula from memory; its
       5 % point 0.752 as in NIST/SEMATECH e-Handbook 1.3.5.14).

    Examples
    --------
    >>> readings = np.array([9.8, 10.1, 10.0, 9.9, 10.3, 9.7, 10.2, 10.0, 10.1, 9.9])
    >>> statistic, p_value = anderson_darling_many(np.tile(readings, 2), np.array([10, 10]))
    >>> statistic.round(4).tolist(), p_value.round(3).tolist()
    ([0.1631, 0.1631], [0.945, 0.945])
    """
    starts, ends = _stretches(values, sizes, 8, "normality")
    scores = _standardised(values, starts, sizes, "normality")
    if sizes.size and np.all(sizes == sizes[0]):
        scores = np.sort(scores.reshape(sizes.size, -1), axis=1).ravel()
    else:
        scores = scores[np.lexsort((scores, np.repeat(np.arange(sizes.size), sizes)))]
    place = np.arange(values.size)
    rank = place - np.repeat(starts, sizes) + 1.0
    mirrored = np.repeat(starts + ends - 1, sizes) - place
    terms = (2.0 * rank - 1.0) * (special.log_ndtr(scores) + special.log_ndtr(-scores[mirrored]))
    n = sizes.astype(np.float64)
    raw = -n - np.add.reduceat(terms, starts) / n if sizes.size else np.zeros(0)
    adjusted = raw * (1.0 + 0.75 / n + 2.25 / n**2)
    return adjusted, anderson_darling_p(adjusted)


def anderson_darling_p(adjusted: Floats) -> Floats:
    """P-values of adjusted statistics, four pieces.

    Examples
    --------
    >>> anderson_darling_p(np.array([0.1, 0.3, 0.752, 500.0])).round(4).tolist()
    [0.9961, 0.5826, 0.0503, 0.0]
    """
    a = np.minimum(adjusted, _P_END)
    piece = np.searchsorted(_P_FROM, a, side="right") - 1
    constant, linear, square = _P_TERMS[np.maximum(piece, 0)].T
    tail = np.exp(constant + linear * a + square * a**2)
    return np.asarray(np.where(a >= _P_END, 0.0, np.where(piece >= 2, tail, 1.0 - tail)))


def lag_1_many(values: Floats, sizes: Places) -> Floats:
    """Lag-1 autocorrelation (-1..1) of every series.

    Parameters
    ----------
    values : ndarray, length sum of `sizes`
        Finite readings in order of making, series after series. [any unit]
    sizes : ndarray, each >= 3
        Readings of each series; none may be constant.

    Raises
    ------
    StatisticsError
        Sizes that do not add up to the readings, fewer than 3 in a series, or all equal in one.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook 1.3.5.12.

    Examples
    --------
    >>> lag_1_many(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 1.0, 0.0, 1.0]), np.array([5, 3])).round(3).tolist()
    [0.4, -0.667]
    """
    starts, _ = _stretches(values, sizes, 3, "autocorrelation")
    away = _standardised(values, starts, sizes, "autocorrelation")
    products = np.zeros(away.size)
    products[1:] = away[1:] * away[:-1]
    products[starts] = 0.0
    return np.asarray(np.add.reduceat(products, starts) / (sizes - 1.0)) if sizes.size else np.zeros(0)


def _stretches(values: Floats, sizes: Places, least: int, what: str) -> tuple[Places, Places]:
    """First place of every series and the place after its last."""
    if int(sizes.sum()) != values.size:
        raise StatisticsError(f"{what}: {values.size} readings given for series of {int(sizes.sum())}")
    if sizes.size and int(sizes.min()) < least:
        raise StatisticsError(
            f"{what}: a series has {int(sizes.min())} readings: at least {least} are needed"
        )
    ends = np.cumsum(sizes)
    return ends - sizes, ends


def _standardised(values: Floats, starts: Places, sizes: Places, what: str) -> Floats:
    """Take the mean of its series off every reading and divide by the series' sample sd."""
    if not sizes.size:
        return values
    away = values - np.repeat(values[starts], sizes)  # a large common offset then costs no digits
    away -= np.repeat(np.add.reduceat(away, starts) / sizes, sizes)
    if np.any(np.maximum.reduceat(values, starts) == np.minimum.reduceat(values, starts)):
        where = "" if sizes.size == 1 else " of a series"
        raise StatisticsError(f"{what}: all readings{where} are equal, the spread is unknown")
    sd = np.sqrt(np.add.reduceat(away * away, starts) / (sizes - 1.0))
    return np.asarray(away / np.repeat(sd, sizes))

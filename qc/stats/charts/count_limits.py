"""Exact limits for counts: quantiles of the Poisson and the binomial distribution."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import bdtr, bdtrik, pdtr, pdtrik

from qc.stats.errors import StatisticsError
from qc.stats.numbers import THREE_SIGMA_RATE, Floats, as_floats

# beyond the one, counts no longer fit a computer's whole numbers; below the other 1 - rate has no digits left
GREATEST_COUNT, LEAST_RATE = 1e9, 1e-12


def poisson_limits(mean: ArrayLike, rate: float = THREE_SIGMA_RATE) -> tuple[Floats, Floats]:
    """Exact limits of a Poisson count: the smallest and largest count that is no signal.

    Parameters
    ----------
    mean : array-like of float >= 0
        Expected count.
    rate : float
        Two-sided false-alarm rate; each tail holds at most half of it.

    Returns
    -------
    tuple of ndarray
        Lower and upper limit; a count on a limit is inside.

    Raises
    ------
    StatisticsError
        A figure that is negative, missing or too large, a size that is not whole, a rate outside 0..1.

    References
    ----------
    .. [1] Quantile of the Poisson distribution.

    Examples
    --------
    >>> low, high = poisson_limits([2.4, 16.0])
    >>> low.tolist(), high.tolist()
    ([0.0, 5.0], [8.0, 29.0])
    """
    mean = _checked(mean, "expected count", GREATEST_COUNT)
    _check_rate(rate)
    return _quantile(rate / 2, mean), _quantile(1 - rate / 2, mean)


def binomial_limits(
    size: ArrayLike, share: ArrayLike, rate: float = THREE_SIGMA_RATE
) -> tuple[Floats, Floats]:
    """Exact limits of a binomial count: the smallest and largest count that is no signal.

    Parameters
    ----------
    size : array-like of whole numbers > 0
        Pieces inspected.
    share : array-like of float, 0..1
        Expected share of defective pieces.
    rate
        As for `poisson_limits`, and so are limits and errors; quantiles are those of the binomial.

    Examples
    --------
    >>> low, high = binomial_limits([50], [0.05])
    >>> low.tolist(), high.tolist()
    ([0.0], [8.0])
    """
    size, share = np.broadcast_arrays(
        _checked(size, "size", GREATEST_COUNT), _checked(share, "expected share", 1.0)
    )
    if np.any((size < 1) | (size != np.round(size))):
        raise StatisticsError("sizes must be whole numbers of pieces, from 1 up")
    _check_rate(rate)
    return _quantile(rate / 2, share, size), _quantile(1 - rate / 2, share, size)


def _checked(values: ArrayLike, name: str, most: float) -> Floats:
    """Take figures from 0 to `most`, or name the first that is not."""
    figures = as_floats(values, name)
    wrong = ~((figures >= 0) & (figures <= most))
    if np.any(wrong):
        raise StatisticsError(f"{name} is {figures[wrong].flat[0]:g}: it must lie between 0 and {most:g}")
    return figures


def _check_rate(rate: float) -> None:
    if not LEAST_RATE <= rate < 1:
        raise StatisticsError(f"false-alarm rate is {rate}: it must lie between {LEAST_RATE:g} and 1")


def _quantile(level: float, first: Floats, size: Floats | None = None) -> Floats:
    """Smallest whole number whose distribution function reaches the level, put right after rounding."""
    if size is None:
        inside, guess = first > 0, pdtrik(level, np.maximum(first, 1e-300))
    else:
        inside, guess = (first > 0) & (first < 1), bdtrik(level, size, np.clip(first, 1e-300, 1 - 1e-16))
    edge = np.zeros_like(first) if size is None else np.where(first >= 1, size, 0.0)
    # the inverse is a real number whose rounding may put it one count off either way: two steps settle it
    k = np.maximum(np.ceil(np.nan_to_num(guess)), 0.0)
    for _ in range(2):
        k = np.where((k > 0) & (_cdf(k - 1, first, size) >= level), k - 1, k)
    for _ in range(2):
        k = np.where(_cdf(k, first, size) < level, k + 1, k)
    return np.where(inside, k, edge)


def _cdf(k: Floats, first: Floats, size: Floats | None) -> Floats:
    at = np.maximum(k, 0.0)
    found = pdtr(at, first) if size is None else bdtr(np.minimum(at, size), size.astype(int), first)
    return np.where(k < 0, 0.0, found)

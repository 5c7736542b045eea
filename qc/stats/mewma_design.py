"""Run length of a multivariate EWMA while nothing changes, and the limit for a wanted run length."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri, chndtr

from qc.stats.errors import StatisticsError
from qc.stats.points import GREATEST

# within these the run length is good to 0.1 % at 200 points and 3 % at 10,000 (finer chains, in the tests)
MOST_FIGURES, LEAST_WEIGHT = 20, 0.02
STATES = 60  # rings of the Markov chain; doubling them moves a limit by less than 1 in 1,000


@lru_cache(maxsize=256)
def mewma_run_length(figures: int, weight: float, limit: float, states: int = STATES) -> float:
    """In-control average run length of a multivariate EWMA with a fixed limit.

    Parameters
    ----------
    figures : int
        Number of figures.
    weight : float
        Weight of the newest point, above 0 and at most 1.
    limit : float
        Limit on the squared distance, above 0.
    states : int
        Rings of the chain; the answer is extrapolated from these and half as many.

    Returns
    -------
    float
        Mean number of points to a false signal, zero start. [points]

    Raises
    ------
    StatisticsError
        Figures, weight or limit out of range.

    References
    ----------
    .. [1] Runger & Prabhu, "A Markov chain model for the multivariate exponentially weighted moving averages
       control chart", J. American Statistical Association 91 (1996).

    Examples
    --------
    >>> round(mewma_run_length(1, 1.0, 9.0), 1)  # a plain three-sigma chart
    370.4
    """
    if not 1 <= figures <= MOST_FIGURES or not LEAST_WEIGHT <= weight <= 1 or not 0 < limit <= GREATEST:
        raise StatisticsError(
            f"{figures} figures, weight {weight} and limit {limit}: 1 to {MOST_FIGURES} figures, a weight of "
            f"{LEAST_WEIGHT:g} to 1 and a finite limit above 0 are needed"
        )
    fine, coarse = _chain(figures, weight, limit, states), _chain(figures, weight, limit, states // 2)
    return (4 * fine - coarse) / 3  # the error of the chain falls with the square of the ring width


def mewma_limit(figures: int, weight: float, run_length: float) -> float:
    """Limit on the squared distance for a wanted in-control run length.

    Parameters
    ----------
    figures : int
        Number of figures.
    weight : float
        Weight of the newest point, above 0 and at most 1.
    run_length : float
        Wanted mean number of points to a false signal, above 1.

    Returns
    -------
    float
        Limit.

    Raises
    ------
    StatisticsError
        An argument out of range.

    References
    ----------
    .. [1] As for `mewma_run_length`; Prabhu & Runger, J. Quality Technology 29 (1997) print 8.64 for two
       figures, weight 0.1 and 200 points (from memory, recomputed).

    Examples
    --------
    >>> round(mewma_limit(2, 0.1, 200.0), 2)
    8.63
    """
    if not 1 < run_length < 1e7:
        raise StatisticsError(f"run length is {run_length}: it must be above 1 (and below ten million)")
    if not 1 <= figures <= MOST_FIGURES:
        raise StatisticsError(f"{figures} figures: 1 to {MOST_FIGURES} can be charted together")
    # memory only lowers the limit: that of a chart without any is the exact chi-square point
    highest = 1.01 * float(chdtri(figures, 1 / run_length))
    return float(
        brentq(
            lambda h: np.log(mewma_run_length(figures, weight, float(h)) / run_length),
            1e-3,
            highest,
            xtol=1e-6,
        )
    )


def _chain(figures: int, weight: float, limit: float, states: int) -> float:
    """Mean run length of the chain on the length of the smoothed vector."""
    # the smoothed vector has covariance weight / (2 - weight): its length signals at this radius
    radius = np.sqrt(limit * weight / (2 - weight))
    width = 2 * radius / (2 * states + 1)  # the innermost ring is a disc of half the width
    middle = width * np.arange(states + 1)
    outer = ((middle + width / 2) / weight) ** 2
    drift = ((1 - weight) * middle / weight) ** 2
    below = chndtr(outer[None, :], float(figures), drift[:, None])
    step = np.diff(below, axis=1, prepend=0.0)
    mean = np.linalg.solve(np.eye(states + 1) - step, np.ones(states + 1))
    return float(mean[0])

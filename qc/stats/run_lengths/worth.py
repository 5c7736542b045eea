"""How many degrees of freedom a chart's sigma is worth: ranges say less than the same number of readings."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import LARGEST, factors
from qc.stats.run_lengths.nodes import legendre
from qc.stats.run_lengths.sigma import sigma_estimate

_NODES, _WEIGHTS = legendre(40)  # 10 already give every digit (tried)
_MIDDLE = float(special.ndtri(0.75))  # median of the absolute value of a standard normal


@lru_cache(maxsize=4096)
def moving_range_df(points: int, *, robust: bool = False) -> float:
    """Degrees of freedom of a sigma from moving ranges of two.

    Parameters
    ----------
    points : int, >= 2
        Readings in the baseline.
    robust : bool
        The median of the moving ranges instead of their mean.

    Returns
    -------
    float
        About 0.6 a reading for the mean, 0.3 for the median.

    Raises
    ------
    StatisticsError
        Fewer than two readings.

    Notes
    -----
    Mean: the chi with the same mean and variance (Patnaik), neighbouring ranges sharing a reading. Median:
    1 / (2 v) with its large-sample squared coefficient of variation v, from the density of a range at its
    median and the chance that two neighbouring ranges both lie below it.

    References
    ----------
    .. [1] Patnaik, Biometrika 37, 1950 (matching, from memory); variance of a sample median of dependent
       readings from first principles. Both simulated in the tests.

    Examples
    --------
    >>> round(moving_range_df(50), 1), round(moving_range_df(50, robust=True), 1)
    (30.1, 14.9)
    """
    if points < 2:
        raise StatisticsError(f"sigma from moving ranges: {points} readings given, at least 2 are needed")
    if not robust:
        return sigma_estimate(points, estimator="moving-range").df
    ranges = points - 1
    x = _MIDDLE * _NODES
    root = math.sqrt(0.75)  # neighbouring differences correlate by -1/2
    inside = special.ndtr((_MIDDLE + 0.5 * x) / root) - special.ndtr((-_MIDDLE + 0.5 * x) / root)
    density = np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi)
    # chance that two neighbouring ranges both lie below their median: the first difference is x, the second,
    # given x, is normal about -x / 2
    both = float(_WEIGHTS @ (density * inside)) * _MIDDLE
    indicator = 0.25 + 2.0 * (both - 0.25) * (ranges - 1) / ranges
    at_median = 2.0 * math.exp(-0.5 * _MIDDLE**2) / math.sqrt(2.0 * math.pi)
    variation = indicator / (ranges * at_median**2 * _MIDDLE**2)
    return 1.0 / (2.0 * variation)


def subgroup_df(df: float, size: float, spread: str) -> float:
    """Degrees of freedom of a sigma from subgroup ranges or sds.

    Parameters
    ----------
    df : float, > 0
        Readings less subgroups: what a pooled sd would have.
    size : float, 2..100
        Readings a subgroup, typically; a mean over unequal ones need not be whole.
    spread : {"range", "sd"}
        What the sigma is the mean of.

    Returns
    -------
    float
        `df` times the efficiency of that mean in many subgroups.

    Raises
    ------
    StatisticsError
        A subgroup of fewer than two readings, or of more than the chart constants reach, or degrees of
        freedom that are none.

    References
    ----------
    .. [1] Patnaik, Biometrika 37, 1950 (from memory): 1 / (2 v) with v the squared coefficient of variation,
       (d3 / d2)^2 or (c5 / c4)^2 over the number of subgroups.

    Examples
    --------
    >>> round(subgroup_df(80, 5, "range"), 1), round(subgroup_df(80, 5, "sd"), 1)
    (72.5, 75.9)
    """
    if not (0 < df < math.inf and 2 <= size <= LARGEST):
        raise StatisticsError(
            f"sigma of subgroups: {df:g} degrees of freedom and {size:g} readings a subgroup; degrees of "
            f"freedom above 0 and 2 to {LARGEST} readings are needed"
        )
    n = round(size)  # a mean over unequal subgroups need not be whole
    one = factors(n)
    variation = (one.d3 / one.d2 if spread == "range" else one.c5 / one.c4) ** 2
    return df / (2.0 * variation * (n - 1))

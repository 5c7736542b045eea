"""Distribution of the sigma that a baseline gives, the true sigma being 1."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy import optimize, special

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers import LARGEST, Floats, factors
from qc.stats.run_lengths.ranges import moving_range_variation, range_estimate
from qc.stats.tabled import Tabled

ESTIMATORS = ("sd", "sd-unbiased", "moving-range", "range")
# From here on ranges are as good as a chi: the matched one changes no chance by more than 3e-4.
_MANY_RANGES = 20_000
_MOST_POINTS = 1e12  # more make limits that are as good as known


class SigmaDistribution(Protocol):
    """What the run lengths of estimated limits need to know of an estimate of sigma."""

    @property
    def tail(self) -> float:
        """Give t where the density falls like exp(-t w^2 / 2)."""

    def log_density(self, w: Floats) -> Floats:
        """Log density at w > 0."""

    def beyond(self, w: Floats) -> Floats:
        """Chance above w."""


@dataclass(frozen=True, slots=True)
class SigmaEstimate(Tabled):
    """Distribution of a sigma estimate: `scale` times the root of a mean chi-square.

    Attributes
    ----------
    df : float
        Degrees of freedom, a fraction where the distribution is matched by mean and variance.
    scale : float
        Factor on the root of chi-square over df, so that the estimate of a true sigma 1 results.
    """

    df: float
    scale: float

    @property
    def tail(self) -> float:
        """Give t where the density falls like exp(-t w^2 / 2)."""
        return self.df / self.scale**2

    def log_density(self, w: Floats) -> Floats:
        """Log density of the estimate at w > 0."""
        half, u = self.df / 2.0, w / self.scale
        log = math.log(2.0) + half * math.log(half) - special.gammaln(half) - math.log(self.scale)
        return np.asarray(log + (self.df - 1.0) * np.log(u) - half * u * u)

    def beyond(self, w: Floats) -> Floats:
        """Chance that the estimate is above w."""
        return np.asarray(special.chdtrc(self.df, self.df * (w / self.scale) ** 2))


def sigma_distribution(points: int, *, n: int = 1, estimator: str = "sd") -> SigmaDistribution:
    """Exact distribution of the sigma estimated from a baseline.

    Parameters
    ----------
    points, n, estimator
        As for `sigma_estimate`, and so are the errors.

    Returns
    -------
    SigmaDistribution
        A chi for the two sds, a `RangeEstimate` for the two ranges (matched to a chi from 20,000 on).

    Examples
    --------
    >>> round(sigma_distribution(50, estimator="moving-range").tail, 2)
    15.76
    """
    matched = sigma_estimate(points, n=n, estimator=estimator)
    if estimator in ("moving-range", "range") and points <= _MANY_RANGES:
        return range_estimate(points, n)
    return matched


def sigma_estimate(points: int, *, n: int = 1, estimator: str = "sd") -> SigmaEstimate:
    """Degrees of freedom that a sigma estimated from a baseline is worth.

    Parameters
    ----------
    points, n, estimator
        As `estimated_limits`.

    Returns
    -------
    SigmaEstimate
        Degrees of freedom and scale: exact for the two sds, matched by mean and variance for the ranges.

    Raises
    ------
    StatisticsError
        Fewer than two points.
    StatisticsUsageError
        An estimator that does not exist or does not go with `n`.

    References
    ----------
    .. [1] Patnaik, "The use of mean range as an estimator of variance in statistical tests", Biometrika 37,
       1950 (matching, from memory); variance of the mean moving range from the bivariate normal.

    Examples
    --------
    >>> sigma_estimate(10, n=5)
    SigmaEstimate(df=40.0, scale=1.0)
    >>> round(sigma_estimate(100, estimator="moving-range").df, 1)
    60.3
    """
    if not 2 <= points <= _MOST_POINTS:
        raise StatisticsError(
            f"estimated limits: {points} points given, at least 2 (and at most {_MOST_POINTS:g}) are needed"
        )
    if not 1 <= n <= _MOST_POINTS:
        raise StatisticsError(f"estimated limits: points of {n} readings, at least 1 is needed")
    if estimator not in ESTIMATORS:
        raise StatisticsUsageError(
            f"estimated limits: estimator {estimator!r} is not known; there are {', '.join(ESTIMATORS)}"
        )
    if (estimator == "moving-range" and n != 1) or (estimator == "range" and not 2 <= n <= LARGEST):
        raise StatisticsUsageError(
            f"estimated limits: estimator {estimator!r} does not go with points of {n}"
        )
    if estimator == "moving-range":
        return _matched(moving_range_variation(points))
    if estimator == "range":
        return _matched((factors(n).d3 / factors(n).d2) ** 2 / points)
    df = float(points - 1 if n == 1 else points * (n - 1))
    return SigmaEstimate(df, 1.0 if estimator == "sd" else 1.0 / _mean_chi(df))


def _matched(variation: float) -> SigmaEstimate:
    """Chi with mean 1 and this squared coefficient of variation."""

    def gap(log_df: float) -> float:
        """Squared variation of the chi with this df, less the wanted one, in logs."""
        # 1 - c^2 loses digits for many df, where it is 1 / 2 df
        df = math.exp(log_df)
        mean = _mean_chi(df)
        own = (1.0 - mean**2) / mean**2 if df < 1e4 else 1.0 / (2.0 * df) + 1.0 / (8.0 * df * df)
        return math.log(own) - math.log(variation)

    df = math.exp(float(optimize.brentq(gap, math.log(0.3), math.log(1e16), xtol=1e-12)))
    return SigmaEstimate(df, 1.0 / _mean_chi(df))


def _mean_chi(df: float) -> float:
    """Mean of the root of chi-square over df: c4 of df + 1."""
    if df > 1e7:  # the difference of two log gammas has lost its digits; the series has them all
        return 1.0 - 1.0 / (4.0 * df) + 1.0 / (32.0 * df * df)
    return math.exp(special.gammaln((df + 1.0) / 2.0) - special.gammaln(df / 2.0)) * math.sqrt(2.0 / df)

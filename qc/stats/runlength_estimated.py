"""What estimated limits do to a chart without memory: the run length becomes a lottery, with known odds."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from qc.stats.constants import LARGEST, factors
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.tolerance import tolerance_confidence

Floats = NDArray[np.float64]

ESTIMATORS = ("sd", "sd-unbiased", "moving-range", "range")
_Z_NODES, _Z_WEIGHTS = np.polynomial.legendre.leggauss(240)
_W_NODES, _W_WEIGHTS = np.polynomial.legendre.leggauss(240)
_TAIL = 1e-15


@dataclass(frozen=True, slots=True)
class SigmaEstimate:
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


@dataclass(frozen=True, slots=True)
class EstimatedLimits:
    """Run length of a chart over all sets of limits that such a baseline could have given.

    Attributes
    ----------
    points : int
        Plotted points of the baseline.
    factor : float
        Limit factor on the estimated sigma.
    shift : float
        Shift, in standard deviations of a plotted point.
    average_run_length : float
        Mean over baselines of the average run length; infinite when the baseline is too small for it.
    sd_between_baselines : float
        Standard deviation of the average run length from baseline to baseline; infinite likewise.
    sd_run_length : float
        Standard deviation of the run length, baseline unknown; infinite likewise.
    signal_rate : float
        Mean chance of a signal per point, 0..1.
    sigma : SigmaEstimate
        Distribution of the sigma estimate.
    """

    points: int
    factor: float
    shift: float
    average_run_length: float
    sd_between_baselines: float
    sd_run_length: float
    signal_rate: float
    sigma: SigmaEstimate

    def chance_under(self, run_length: float) -> float:
        """Return the chance that the limits drawn have a true in-control run length under this one."""
        if not run_length > 1:
            raise StatisticsError(f"estimated limits: run length is {run_length}, must be above 1")
        k = self.factor * self.sigma.scale
        return 1.0 - tolerance_confidence(self.points, k, 1.0 - 1.0 / run_length, df=self.sigma.df)

    def run_length_quantile(self, share: float) -> float:
        """Return the in-control run length that this share of baselines stays under."""
        if not 0.0 < share < 1.0:
            raise StatisticsError(f"estimated limits: quantile {share} asked for, must lie between 0 and 1")
        log = optimize.brentq(lambda x: self.chance_under(1.0 + math.exp(x)) - share, -12.0, 34.0, xtol=1e-11)
        return 1.0 + math.exp(float(log))

    def to_dict(self) -> dict[str, object]:
        """Return plain values; an infinite one is None."""
        return {
            "points": self.points,
            "factor": self.factor,
            "shift": self.shift,
            "average_run_length": _finite(self.average_run_length),
            "sd_between_baselines": _finite(self.sd_between_baselines),
            "sd_run_length": _finite(self.sd_run_length),
            "signal_rate": self.signal_rate,
        }


def estimated_limits(
    points: int, *, n: int = 1, factor: float = 3.0, shift: float = 0.0, estimator: str = "sd"
) -> EstimatedLimits:
    """Effect of limits estimated from a baseline, centre and sigma both unknown.

    Parameters
    ----------
    points : int, >= 2
        Plotted points of the baseline: pieces, or subgroups.
    n : int, >= 1
        Readings in a plotted point.
    factor : float, > 0
        Limits at this many estimated standard deviations.
    shift : float
        Shift of the process afterwards, in standard deviations of a plotted point.
    estimator : {"sd", "sd-unbiased", "moving-range", "range"}
        Sample or pooled sd; the same over c4; mean moving range over d2 (n = 1); mean range over d2 (n > 1).

    Returns
    -------
    EstimatedLimits
        Averages over baselines, with the odds of any run length.

    Raises
    ------
    StatisticsError
        Too few points, or a size or factor out of range.
    StatisticsUsageError
        An estimator that does not exist or does not go with `n`.

    Notes
    -----
    Exact double quadrature for the two sd estimators. The mean (moving) range is not a chi; it is matched by
    mean and variance (Patnaik), good to about 0.01 in a chance (simulated in the tests); its average run
    length rests on the far tail and is right only from some 200 points on (10 % low at 50).

    References
    ----------
    .. [1] Quesenberry, "The effect of sample size on estimated limits for X-bar and X control charts",
       Journal of Quality Technology 25, 1993; Jensen et al., ibid. 38, 2006 (method).

    Examples
    --------
    >>> few = estimated_limits(30, estimator="sd")
    >>> round(few.average_run_length, 1), round(few.signal_rate, 5), round(few.chance_under(100), 2)
    (885.8, 0.00621, 0.18)
    """
    if not (points >= 2 and n >= 1 and factor > 0 and math.isfinite(shift)):
        raise StatisticsError(
            f"estimated limits: {points} points of {n}, factor {factor}, shift {shift}; at least 2 points, "
            "1 reading each, a factor above 0 and a number are needed"
        )
    sigma = sigma_estimate(points, n=n, estimator=estimator)
    reach = factor * sigma.scale
    average = square = math.inf
    if sigma.df > reach**2:
        average = _expectation(points, reach, shift, sigma.df, 1)
    if sigma.df > 2.0 * reach**2:
        square = _expectation(points, reach, shift, sigma.df, 2)
    finite = math.isfinite(square)
    return EstimatedLimits(
        points=points,
        factor=factor,
        shift=shift,
        average_run_length=average,
        sd_between_baselines=math.sqrt(max(square - average**2, 0.0)) if finite else math.inf,
        sd_run_length=math.sqrt(2.0 * square - average - average**2) if finite else math.inf,
        signal_rate=_expectation(points, reach, shift, sigma.df, -1),
        sigma=sigma,
    )


def sigma_estimate(points: int, *, n: int = 1, estimator: str = "sd") -> SigmaEstimate:
    """Distribution of the sigma estimated from a baseline.

    Parameters
    ----------
    points : int, >= 2
        Plotted points.
    n : int, >= 1
        Readings in a point.
    estimator : {"sd", "sd-unbiased", "moving-range", "range"}
        As `estimated_limits`.

    Returns
    -------
    SigmaEstimate
        Degrees of freedom and scale.

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
    if points < 2:
        raise StatisticsError(f"estimated limits: {points} points given, at least 2 are needed")
    if estimator not in ESTIMATORS:
        raise StatisticsUsageError(
            f"estimated limits: estimator {estimator!r} is not known; there are {', '.join(ESTIMATORS)}"
        )
    if (estimator == "moving-range" and n != 1) or (estimator == "range" and not 2 <= n <= LARGEST):
        raise StatisticsUsageError(
            f"estimated limits: estimator {estimator!r} does not go with points of {n}"
        )
    if estimator == "moving-range":
        return _matched(_moving_range_variation(points))
    if estimator == "range":
        return _matched((factors(n).d3 / factors(n).d2) ** 2 / points)
    df = float(points - 1 if n == 1 else points * (n - 1))
    return SigmaEstimate(df, 1.0 if estimator == "sd" else 1.0 / _mean_chi(df))


def _expectation(points: int, reach: float, shift: float, df: float, power: int) -> float:
    """Mean over baselines of (average run length) ** power, by quadrature over the mean and sigma errors.

    Far out in sigma the run length grows like exp(reach^2 w^2 / 2); the range of w follows that growth.
    """
    grown = df - max(power, 0) * reach**2
    low = special.gammaincinv(df / 2.0, _TAIL) * 2.0 / df
    high = special.gammainccinv(df / 2.0 + 1.0, _TAIL) * 2.0 / grown
    ends = math.sqrt(low), math.sqrt(high)
    w = ends[0] + (ends[1] - ends[0]) * (_W_NODES + 1.0) / 2.0
    log_density = math.log(2.0) + (df / 2.0) * math.log(df / 2.0) - special.gammaln(df / 2.0)
    log_density = log_density + (df - 1.0) * np.log(w) - df * w * w / 2.0
    z = 9.0 * _Z_NODES
    off = z / math.sqrt(points) - shift
    signal = special.ndtr(-reach * w[:, None] - off) + special.ndtr(-reach * w[:, None] + off)
    log_weight = log_density[:, None] - 0.5 * z * z - 0.5 * math.log(2.0 * math.pi)
    mass = np.exp(log_weight - power * np.log(signal))
    half = (ends[1] - ends[0]) / 2.0
    return float(_W_WEIGHTS @ mass @ _Z_WEIGHTS) * 9.0 * half


def _matched(variation: float) -> SigmaEstimate:
    """Chi with mean 1 and this squared coefficient of variation."""

    def gap(log_df: float) -> float:
        """Squared variation of the chi with this df, less the wanted one, in logs."""
        mean = _mean_chi(math.exp(log_df))
        return math.log((1.0 - mean**2) / mean**2) - math.log(variation)

    df = math.exp(float(optimize.brentq(gap, math.log(0.3), math.log(1e6), xtol=1e-12)))
    return SigmaEstimate(df, 1.0 / _mean_chi(df))


def _mean_chi(df: float) -> float:
    """Mean of the root of chi-square over df: c4 of df + 1."""
    return math.exp(special.gammaln((df + 1.0) / 2.0) - special.gammaln(df / 2.0)) * math.sqrt(2.0 / df)


def _moving_range_variation(points: int) -> float:
    """Variance of the mean moving range over its squared mean, neighbours sharing a point."""
    ranges = points - 1
    mean = 2.0 / math.sqrt(math.pi)
    variance = 2.0 - mean**2
    # neighbouring differences correlate by -1/2: E|XY| = (2/pi) var (sqrt(1 - rho^2) + rho asin rho)
    product = (4.0 / math.pi) * (math.sqrt(0.75) + 0.5 * math.asin(0.5))
    covariance = product - mean**2
    total = variance / ranges + 2.0 * (ranges - 1) * covariance / ranges**2
    return total / mean**2


def _finite(value: float) -> float | None:
    """Turn infinity into what strict JSON holds."""
    return value if math.isfinite(value) else None

"""Control-chart constants from their definitions, for normal samples of 2 to 100 readings.

Nothing here is a typed table: `d2` and `d3` are the mean and the standard deviation of the range of a
standard normal sample, `c4` is the mean of its sample standard deviation, and every other factor follows.
Printed tables carry last-digit errors in D2, D3 and D4 because they were built from rounded `d2` and `d3`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import gammaln, ndtr

from qc.stats.errors import StatisticsError
from qc.stats.numbers.arrays import Floats
from qc.stats.tabled import Tabled

SMALLEST, LARGEST = 2, 100  # chosen; the reach of the integrals below is made for it
_HALF_WIDTH = 9.5  # standard normal mass beyond this is 2e-21
_STEP = 0.05  # the trapezium rule is exact to rounding for these smooth integrands at this step
_LONGEST_RANGE = 17.0  # P(range > 17) < 1e-27 at n = 100


def d2(n: int) -> float:
    """Mean range of a standard normal sample: E(range) / sigma, exact to about 1e-13. [no unit].

    Parameters
    ----------
    n : int
        Sample size, 2 to 100.

    Raises
    ------
    StatisticsError
        `n` is outside 2..100.

    References
    ----------
    .. [1] Tippett, "On the extreme individuals and the range of samples", Biometrika 17 (1925), eq. for E(w).

    Examples
    --------
    >>> round(d2(2), 6), round(d2(4), 4)  # 2 / sqrt(pi), and the tabled 2.059
    (1.128379, 2.0588)
    """
    return _range_moments(_checked(n))[0]


def d3(n: int) -> float:
    """Give sd(range) / sigma of a standard normal sample, exact to about 1e-12; sizes and errors as `d2`.

    References
    ----------
    .. [1] David & Nagaraja, "Order Statistics", 3rd ed. 2003, section 3.2 (distribution of the range).

    Examples
    --------
    >>> round(d3(5), 4)  # tabled 0.864
    0.8641
    """
    return _range_moments(_checked(n))[1]


def c4(n: int) -> float:
    """Mean of the sample sd of a standard normal sample, over sigma; sizes and errors as `d2`.

    E(s) / sigma = sqrt(2 / (n - 1)) Gamma(n / 2) / Gamma((n - 1) / 2). [no unit]

    References
    ----------
    .. [1] ISO 7870-2:2013, table of factors (c4); the closed form is in any text on the chi distribution.

    Examples
    --------
    >>> round(c4(3), 4)
    0.8862
    """
    n = _checked(n)
    return math.sqrt(2.0 / (n - 1)) * math.exp(float(gammaln(n / 2) - gammaln((n - 1) / 2)))


def median_range(n: int) -> float:
    """Median of the range of a standard normal sample, over sigma: the divisor of a median range.

    Exact to about 1e-10; sizes and errors as `d2`. [no unit]

    References
    ----------
    .. [1] Ferrell, "Control charts using midranges and medians", Industrial Quality
       Control 9 (1953): the factor.

    Examples
    --------
    >>> round(median_range(2), 4)  # sqrt(2) times the upper quartile of the normal
    0.9539
    """
    return _median_range(_checked(n))


@dataclass(frozen=True, slots=True)
class Factors(Tabled):
    """All factors for one sample size; names are those of the usual printed tables."""

    n: int
    d2: float
    d3: float
    c4: float
    c5: float
    A: float
    A2: float
    A3: float
    B3: float
    B4: float
    B5: float
    B6: float
    D1: float
    D2: float
    D3: float
    D4: float
    E2: float
    E3: float
    median_range: float


@cache
def factors(n: int) -> Factors:
    """Every three-sigma chart factor for samples of `n` readings; sizes and errors as `d2`.

    Lower factors are floored at 0. [no unit]

    References
    ----------
    .. [1] ISO 7870-2:2013, table of factors for the lines of variables control charts.

    Examples
    --------
    >>> f = factors(5)
    >>> round(f.A2, 3), round(f.D4, 3), round(f.B4, 3), f.D3
    (0.577, 2.114, 2.089, 0.0)
    """
    mean_range, sd_range, mean_sd = d2(n), d3(n), c4(n)
    sd_sd = math.sqrt(1.0 - mean_sd**2)
    root = math.sqrt(n)
    return Factors(
        n=n,
        d2=mean_range,
        d3=sd_range,
        c4=mean_sd,
        c5=sd_sd,
        A=3 / root,
        A2=3 / (mean_range * root),
        A3=3 / (mean_sd * root),
        B3=max(0.0, 1 - 3 * sd_sd / mean_sd),
        B4=1 + 3 * sd_sd / mean_sd,
        B5=max(0.0, mean_sd - 3 * sd_sd),
        B6=mean_sd + 3 * sd_sd,
        D1=max(0.0, mean_range - 3 * sd_range),
        D2=mean_range + 3 * sd_range,
        D3=max(0.0, 1 - 3 * sd_range / mean_range),
        D4=1 + 3 * sd_range / mean_range,
        E2=3 / mean_range,
        E3=3 / mean_sd,
        median_range=median_range(n),
    )


def _checked(n: int) -> int:
    if isinstance(n, bool) or not SMALLEST <= n <= LARGEST or int(n) != n:
        raise StatisticsError(
            f"sample size is {n}: chart constants need {SMALLEST} to {LARGEST} readings a sample"
        )
    return int(n)


@cache
def _range_moments(n: int) -> tuple[float, float]:
    """Mean and sd of the range: E(R^k) = integral of k r^(k-1) P(R > r)."""
    nodes, weights = np.polynomial.legendre.leggauss(160)
    r = (nodes + 1) * _LONGEST_RANGE / 2
    beyond = _range_survival(n)(r)
    first = float(np.sum(weights * beyond)) * _LONGEST_RANGE / 2
    second = float(np.sum(weights * 2 * r * beyond)) * _LONGEST_RANGE / 2
    return first, math.sqrt(second - first**2)


@cache
def _median_range(n: int) -> float:
    survival = _range_survival(n)
    from scipy.optimize import brentq  # half of what scipy costs to load, for a figure seldom asked for

    return float(brentq(lambda r: float(survival(np.array([r]))[0]) - 0.5, 1e-6, _LONGEST_RANGE, xtol=1e-13))


def _range_survival(n: int) -> Callable[[Floats], Floats]:
    """P(R > r) = 1 - n * integral of phi(x) [Phi(x + r) - Phi(x)]^(n-1) dx."""
    x = np.arange(-_HALF_WIDTH - _LONGEST_RANGE, _HALF_WIDTH + _STEP / 2, _STEP)
    density = np.exp(-0.5 * x**2) / math.sqrt(2 * math.pi)
    below = ndtr(x)

    def survival(r: Floats) -> Floats:
        inside = (ndtr(x[None, :] + r[:, None]) - below[None, :]) ** (n - 1)
        return np.asarray(1.0 - n * _STEP * np.sum(density[None, :] * inside, axis=1))

    return survival

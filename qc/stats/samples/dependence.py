"""Checks of order: do neighbouring readings hang together, and what that does to limits."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, as_readings, check_between
from qc.stats.samples.distribution import SignificanceTest
from qc.stats.tabled import Tabled

NORMAL_95 = 1.959963984540054  # what a standard normal figure stays within 95 times in 100
BOUND = round(NORMAL_95, 2)  # as the handbook writes it
LEAST_FOR_LAG = 10  # from fewer points a coefficient is too rough to say that neighbours hang together


@dataclass(frozen=True, slots=True)
class Autocorrelation(Tabled):
    """How much each reading resembles the one before.

    Attributes
    ----------
    lag_1 : float
        Lag-1 autocorrelation, -1..1.
    bound : float
        1.96 over the root of n: beyond it, neighbours hang together more than chance would have it.
    clear : bool
        Whether `lag_1` is beyond the bound on either side.
    n : int
        Readings.
    """

    lag_1: float
    bound: float
    clear: bool
    n: int

    @classmethod
    def of(cls, lag_1: float, n: int) -> Autocorrelation:
        """Hold a coefficient against what random order would keep 95 times in 100."""
        bound = lag_bound(n)
        return cls(lag_1, bound, abs(lag_1) > bound, n)


def runs_test(values: ArrayLike) -> SignificanceTest:
    """Test whether readings fall above and below their median in random order.

    Parameters
    ----------
    values : array_like of float, length n >= 2
        Readings in order of making. [any unit]

    Returns
    -------
    SignificanceTest
        Normal score of the number of runs (readings equal to the median count as above), two-sided p-value.

    Raises
    ------
    StatisticsError
        Fewer than two readings, or all on one side of the median.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook 1.3.5.13.

    Examples
    --------
    >>> result = runs_test([1, 9, 2, 8, 3, 7, 2, 9, 1, 8])
    >>> round(result.statistic, 3), round(result.p_value, 4)
    (2.683, 0.0073)
    """
    readings = as_readings(values, "runs test: value", least=2)
    above = readings >= np.median(readings)
    n1, n2 = int(above.sum()), int((~above).sum())
    if n2 == 0:
        raise StatisticsError("runs test: no reading lies below the median; readings that vary are needed")
    n = n1 + n2
    runs = 1 + int(np.count_nonzero(above[1:] != above[:-1]))
    expected = 2.0 * n1 * n2 / n + 1.0
    variance = 2.0 * n1 * n2 * (2.0 * n1 * n2 - n) / (n * n * (n - 1.0))
    if variance <= 0.0:
        raise StatisticsError(f"runs test: {n} readings are too few, at least 3 are needed")
    z = (runs - expected) / math.sqrt(variance)
    return SignificanceTest("runs", z, float(2.0 * special.ndtr(-abs(z))), n)


def lag_1_autocorrelation(values: ArrayLike) -> Autocorrelation:
    """Lag-1 autocorrelation, and whether it is beyond what random order would keep 95 times in 100.

    Parameters
    ----------
    values : array_like of float, length n >= 3
        Readings in order of making. [any unit]

    Raises
    ------
    StatisticsError
        Fewer than three readings, or all equal.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook 1.3.5.12; NIST StRD univariate sets (certified coefficients).

    Examples
    --------
    >>> round(lag_1_autocorrelation([1.0, 2.0, 3.0, 4.0, 5.0]).lag_1, 3)
    0.4
    """
    readings = as_readings(values, "autocorrelation: value", least=3)
    if np.ptp(readings) == 0.0:
        raise StatisticsError("autocorrelation: all readings are equal; readings that vary are needed")
    away = readings - readings.mean()
    return Autocorrelation.of(float(away[1:] @ away[:-1] / (away @ away)), int(readings.size))


def pooled_autocorrelation(series: list[Floats]) -> Autocorrelation:
    """Lag-1 autocorrelation over many short series together: twenty points alone cannot show it.

    Parameters
    ----------
    series : list of ndarray, each of length >= 3
        Readings of each series in order of making; each is taken about its own mean. [any unit]

    Returns
    -------
    Autocorrelation
        Pooled coefficient, corrected for the -1 / n that the estimated means add; `n` counts all readings.

    Raises
    ------
    StatisticsError
        No series, one of fewer than three readings, or none that varies.

    References
    ----------
    .. [1] The bias of about -1 / n of each series: Kendall, "Time-Series" (from memory; checked by
       simulation in the tests).

    Examples
    --------
    >>> two = [np.array([1.0, 2.0, 3.0, 2.0]), np.array([5.0, 4.0, 4.0, 6.0])]
    >>> round(pooled_autocorrelation(two).lag_1, 3)
    0.148
    """
    if not series:
        raise StatisticsError("pooled autocorrelation: no series given, at least 1 is needed")
    shared, total, count, varying = 0.0, 0.0, 0, 0
    for i, values in enumerate(series):
        readings = as_readings(values, f"pooled autocorrelation, series {i + 1}", least=3)
        if np.ptp(readings) == 0.0:
            continue
        away = (readings - readings.mean()) / readings.std()
        shared += float(away[1:] @ away[:-1])
        total += float(away @ away)
        count, varying = count + int(readings.size), varying + 1
    if varying == 0:
        raise StatisticsError("pooled autocorrelation: no series varies; a finer gauge is needed")
    # each series' own mean pulls its coefficient down by about 1 / n
    return Autocorrelation.of(shared / total + varying / count, count)


def lag_bound(n: int) -> float:
    """Bound that the lag-1 autocorrelation of `n` readings in random order keeps 95 times in 100.

    Examples
    --------
    >>> round(lag_bound(49), 2)
    0.28
    """
    return BOUND / math.sqrt(n)


def moving_range_inflation(lag_1: float) -> float:
    """Factor by which a moving-range sigma must be multiplied when neighbours hang together.

    Parameters
    ----------
    lag_1 : float, -1 < lag_1 < 1
        Lag-1 autocorrelation. [1]

    Returns
    -------
    float
        1 / sqrt(1 - lag_1): the moving range sees only the change from piece to piece. [1]

    Raises
    ------
    StatisticsError
        A coefficient outside -1..1.

    References
    ----------
    .. [1] Variance of a difference, 2 sigma^2 (1 - rho); ISO 7870-9 covers charts for such processes (title).

    Examples
    --------
    >>> round(moving_range_inflation(0.5), 4)
    1.4142
    """
    check_between(lag_1, "autocorrelation: lag-1 coefficient", -1.0)
    return 1.0 / math.sqrt(1.0 - lag_1)


def false_alarm_rate(lag_1: float, factor: float = 3.0) -> float:
    """Long-run fraction of points outside moving-range limits when neighbours hang together unallowed for.

    Parameters
    ----------
    lag_1
        As `moving_range_inflation`, source and errors too; the readings are normal.
    factor : float, > 0
        Limit factor on the moving-range sigma; another is refused. [1]

    Examples
    --------
    >>> round(false_alarm_rate(0.2) / false_alarm_rate(0.0), 2)
    2.7
    """
    if not factor > 0:
        raise StatisticsError(f"autocorrelation: limit factor is {factor}, must be above 0")
    return float(2.0 * special.ndtr(-factor / moving_range_inflation(lag_1)))

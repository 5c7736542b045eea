"""A mean and a standard deviation with intervals, and held against expected values."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, Interval, as_number, as_readings, check_between
from qc.stats.samples.dependence import LEAST_FOR_LAG, lag_1_autocorrelation
from qc.stats.samples.distribution import SignificanceTest
from qc.stats.tabled import Tabled


@dataclass(frozen=True, slots=True)
class MeanAndSd(Tabled):
    """The mean and the sd of a sample.

    Attributes
    ----------
    n : int
        Readings.
    lots : int or None
        Lots they were made in, None where none are recorded.
    mean : float
        Mean; with lots the mean of the lot means. [unit of the readings]
    mean_error : float
        Standard error of the mean. [same unit]
    mean_df : float
        Degrees of freedom of that error. [1]
    mean_interval : (float, float)
        By Student's t. [same unit]
    sd : float
        Spread of a single reading; with lots that within and between them together. [same unit]
    sd_df : float
        Degrees of freedom of `sd`; with lots those of Satterthwaite. [1]
    sd_interval : (float, float)
        By chi-square. [same unit]
    counts_as : float
        Independent readings whose mean would be as sure. [count]
    confidence : float
        Of each interval.
    mean_test, sd_test : SignificanceTest or None
        Two-sided tests against the expected mean and sd; None where none was given.
    warnings : tuple of str
        What to know before believing it.
    """

    n: int
    lots: int | None
    mean: float
    mean_error: float
    mean_df: float
    mean_interval: Interval
    sd: float
    sd_df: float
    sd_interval: Interval
    counts_as: float
    confidence: float
    mean_test: SignificanceTest | None = None
    sd_test: SignificanceTest | None = None
    warnings: tuple[str, ...] = ()


def mean_and_sd(
    values: ArrayLike,
    lots: Sequence[object] | None = None,
    *,
    expected_mean: float | None = None,
    expected_sd: float | None = None,
    confidence: float = 0.95,
) -> MeanAndSd:
    """Estimate a mean and a standard deviation with intervals, and test them against expected values.

    Parameters
    ----------
    values : array_like of float, length n >= 2
        Readings in order of making. [any unit]
    lots : sequence, length n, optional
        What readings share (a lot, a piece read several times): such readings are not independent.
    expected_mean, expected_sd : float, optional
        Values to test against, both sides. [same unit]
    confidence : float, 0..1
        Confidence of each interval.

    Returns
    -------
    MeanAndSd

    Raises
    ------
    StatisticsError
        Fewer than two readings or two lots, a reading that is no finite number, readings that do not vary, or
        an expected sd not above 0.

    Notes
    -----
    Alone, readings count as independent and normal. With lots the mean is that of the lot means, whose spread
    gives its error; the sd is the root of the within and the between component, its degrees of freedom by
    Satterthwaite. For unequal lots both are approximate (coverage simulated in the tests).

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2 (mean) and 1.3.5.8 (sd; example: 100 gear
       diameters against 0.1, statistic 0.3903); Satterthwaite, Biometrics 2, 1946.

    Examples
    --------
    >>> found = mean_and_sd([10.0, 12.0, 11.0, 13.0], expected_mean=10.0)
    >>> found.mean, [round(end, 2) for end in found.mean_interval], round(found.mean_test.p_value, 3)
    (11.5, [9.45, 13.55], 0.103)
    >>> [round(end, 2) for end in found.sd_interval]
    [0.73, 4.81]
    """
    check_between(confidence, "mean and sd: confidence")
    readings = as_readings(values, "mean and sd: value", least=2)
    if np.ptp(readings) == 0.0:
        raise StatisticsError("mean and sd: all readings are equal, so nothing says how sure the mean is")
    names = None if lots is None else [str(lot) for lot in lots]
    mean, error, mean_df, sd, sd_df = _alone(readings) if names is None else _by_lots(readings, names)
    reach = float(special.stdtrit(mean_df, 0.5 + confidence / 2.0)) * error
    return MeanAndSd(
        n=readings.size,
        lots=None if names is None else len(set(names)),
        mean=mean,
        mean_error=error,
        mean_df=mean_df,
        mean_interval=(mean - reach, mean + reach),
        sd=sd,
        sd_df=sd_df,
        sd_interval=_sd_interval(sd, sd_df, confidence),
        counts_as=sd * sd / (error * error),
        confidence=confidence,
        mean_test=None
        if expected_mean is None
        else _mean_test(readings.size, mean, error, mean_df, expected_mean),
        sd_test=None if expected_sd is None else _sd_test(readings.size, sd, sd_df, expected_sd),
        warnings=_warnings(readings, names),
    )


def _alone(readings: Floats) -> tuple[float, float, float, float, float]:
    """Mean, its error and df, sd and its df of independent readings."""
    sd, df = float(readings.std(ddof=1)), float(readings.size - 1)
    return float(readings.mean()), sd / math.sqrt(readings.size), df, sd, df


def _by_lots(readings: Floats, names: list[str]) -> tuple[float, float, float, float, float]:
    """Give the same of readings that share lots: lots are the unit of the mean."""
    if len(names) != readings.size:
        raise StatisticsError(f"mean and sd: {readings.size} readings and {len(names)} lots")
    _, lot = np.unique(names, return_inverse=True)
    sizes = np.bincount(lot)
    if sizes.size < 2:
        raise StatisticsError(
            "mean and sd: all readings are of one lot: how much lots differ cannot be seen; add a second lot "
            "or leave the lots out"
        )
    means = np.bincount(lot, readings) / sizes
    among = float(means.var(ddof=1))
    error, between_df = math.sqrt(among / sizes.size), float(sizes.size - 1)
    within_df = float(readings.size - sizes.size)
    if among == 0.0:
        raise StatisticsError("mean and sd: all lots have the same mean, so nothing says how sure it is")
    if within_df == 0.0:
        return float(means.mean()), error, between_df, math.sqrt(among), between_df
    within = float(np.sum((readings - means[lot]) ** 2)) / within_df
    # a lot mean holds the between component and, of the within one, 1 / size: what is lacking is added
    lacking = 1.0 - float(np.mean(1.0 / sizes))
    variance = among + lacking * within
    sd_df = variance**2 / (among**2 / between_df + (lacking * within) ** 2 / within_df)
    if among < within * (1.0 - lacking):  # lots differ less than chance has it: no between component
        variance, sd_df = within, within_df
    return float(means.mean()), error, between_df, math.sqrt(variance), sd_df


def _sd_interval(sd: float, df: float, confidence: float) -> Interval:
    """Interval of an sd by chi-square."""
    half = (1.0 - confidence) / 2.0
    low, high = (sd * math.sqrt(df / float(special.chdtri(df, tail))) for tail in (half, 1.0 - half))
    return low, high


def _mean_test(n: int, mean: float, error: float, df: float, expected: float) -> SignificanceTest:
    """Test a mean by Student's t, both sides."""
    statistic = (mean - as_number(expected, "mean and sd: expected mean")) / error
    return SignificanceTest("t", statistic, 2.0 * float(special.stdtr(df, -abs(statistic))), n)


def _sd_test(n: int, sd: float, df: float, expected: float) -> SignificanceTest:
    """Test an sd by chi-square, both sides."""
    statistic = df * (sd / as_number(expected, "mean and sd: expected sd", above=0.0)) ** 2
    above = float(special.chdtrc(df, statistic))
    return SignificanceTest("chi-square", statistic, min(1.0, 2.0 * min(above, 1.0 - above)), n)


def _warnings(readings: Floats, names: list[str] | None) -> tuple[str, ...]:
    """Say where neighbours hang together; recorded lots already allow for theirs."""
    if names is not None or readings.size < LEAST_FOR_LAG:
        return ()
    found = lag_1_autocorrelation(readings)
    if not found.clear or found.lag_1 < 0.0:
        return ()
    return (
        f"neighbours hang together (correlation {found.lag_1:.2f}): they count as fewer readings, so the "
        "intervals are too narrow; name what they share (a lot, a piece)",
    )

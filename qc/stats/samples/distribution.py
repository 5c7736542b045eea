"""Checks of a sample's distribution: normal or not, outliers."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers import Floats, as_readings
from qc.stats.samples.columns import anderson_darling_many
from qc.stats.tabled import Tabled

LEAST_ALPHA = 1e-12  # Student's t has no digits left in double precision far beyond it
LEAST_NORMALITY = (
    8  # below, the p-value of D'Agostino and Stephens is not supported (their table starts at 8)
)


@dataclass(frozen=True, slots=True)
class SignificanceTest(Tabled):
    """One significance test.

    Attributes
    ----------
    test : str
        Name of the test.
    statistic : float
        Its statistic. [1]
    p_value : float
        Chance of a statistic at least as extreme if nothing were wrong, 0..1.
    n : int
        Readings.
    """

    test: str
    statistic: float
    p_value: float
    n: int


@dataclass(frozen=True, slots=True)
class Outlier(Tabled):
    """One suspected outlier, in the order in which the test takes them.

    Attributes
    ----------
    point : int
        1-based place in the readings.
    value : float
        The reading. [unit of the readings]
    statistic, critical : float
        Distance from the mean in sds, and the value it must exceed. [1]
    outlier : bool
        Whether the test calls it one.
    """

    point: int
    value: float
    statistic: float
    critical: float
    outlier: bool


def anderson_darling(values: ArrayLike) -> SignificanceTest:
    """Test for normal readings, mean and sd estimated (case 3); source as for `anderson_darling_many`.

    Parameters
    ----------
    values : array_like of float, length n >= 8
        Readings; fewer, or all equal ones, are refused. [any unit]

    Returns
    -------
    SignificanceTest
        The statistic adjusted for n, A2 (1 + 0.75 / n + 2.25 / n^2), with its p-value.

    Examples
    --------
    >>> result = anderson_darling([9.8, 10.1, 10.0, 9.9, 10.3, 9.7, 10.2, 10.0, 10.1, 9.9])
    >>> round(result.statistic, 4), round(result.p_value, 3)
    (0.1631, 0.945)
    """
    readings = as_readings(values, "normality: value", least=LEAST_NORMALITY)
    n = int(readings.size)
    statistic, p_value = anderson_darling_many(readings, np.array([n]))
    return SignificanceTest("anderson-darling", float(statistic[0]), float(p_value[0]), n)


def grubbs(values: ArrayLike, *, side: str = "both", alpha: float = 0.05) -> Outlier:
    """Test the most extreme reading as a single outlier, with its statistic and critical value.

    Parameters
    ----------
    values : array_like of float, length n >= 3
        Readings. [any unit]
    side : {"both", "above", "below"}
        Where an outlier is looked for.
    alpha : float, 0..1
        Chance of calling an outlier where there is none.

    Raises
    ------
    StatisticsError
        Fewer than three readings, all equal, or alpha outside 0..1.
    StatisticsUsageError
        A side that does not exist.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook 1.3.5.17.1 (Grubbs).

    Examples
    --------
    >>> found = grubbs([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57], side="above")
    >>> round(found.statistic, 4), round(found.critical, 4), found.outlier
    (2.4688, 2.0317, True)
    """
    readings = as_readings(values, "outlier test: value", least=3)
    _check_alpha(alpha)
    if side not in ("both", "above", "below"):
        raise StatisticsUsageError(f"outlier test: side {side!r} is not known; there are both, above, below")
    scores = _standardised(readings, "outlier test")
    extent = {"both": np.abs(scores), "above": scores, "below": -scores}[side]
    place = int(np.argmax(extent))
    critical = _outlier_critical(int(readings.size), alpha if side != "both" else alpha / 2.0)
    statistic = float(extent[place])
    return Outlier(place + 1, float(readings[place]), statistic, critical, statistic > critical)


def generalised_esd(values: ArrayLike, most: int, *, alpha: float = 0.05) -> tuple[Outlier, ...]:
    """Test for up to `most` outliers that may hide one another.

    Parameters
    ----------
    values : array_like of float, length n >= most + 3
        Readings. [any unit]
    most : int, >= 1
        Outliers looked for.
    alpha : float, 0..1
        Chance of calling an outlier where there is none.

    Returns
    -------
    tuple of Outlier, length `most`
        Suspects in order of removal; those up to the last that exceeds its critical value are outliers.

    Raises
    ------
    StatisticsError
        Too few readings, all equal, `most` under 1, or alpha outside 0..1.

    References
    ----------
    .. [1] Rosner, "Percentage points for a generalized ESD many-outlier procedure", Technometrics 25, 1983;
       NIST/SEMATECH e-Handbook 1.3.5.17.3.

    Examples
    --------
    >>> found = generalised_esd([5.0, 5.1, 4.9, 5.0, 5.2, 4.8, 5.1, 4.9, 5.0, 9.0, 9.1], 3)
    >>> [(o.point, o.outlier) for o in found]
    [(11, True), (10, True), (5, False)]
    """
    if not most >= 1:
        raise StatisticsError(f"outlier test: {most} outliers looked for, at least 1 is needed")
    readings = as_readings(values, "outlier test: value", least=most + 3)
    _check_alpha(alpha)
    places = np.arange(readings.size)
    steps: list[tuple[int, float, float]] = []
    for _ in range(most):
        left = readings[places]
        if np.ptp(left) == 0.0:
            break
        extent = np.abs(_standardised(left, "outlier test"))
        worst = int(np.argmax(extent))
        steps.append((int(places[worst]), float(extent[worst]), _outlier_critical(left.size, alpha / 2.0)))
        places = np.delete(places, worst)
    if not steps:
        raise StatisticsError("outlier test: all readings are equal, the spread is unknown")
    # all up to the last that exceeds: an outlier can hide behind another that falls short of its own value
    last = max((i for i, (_, statistic, critical) in enumerate(steps) if statistic > critical), default=-1)
    return tuple(
        Outlier(place + 1, float(readings[place]), statistic, critical, i <= last)
        for i, (place, statistic, critical) in enumerate(steps)
    )


def _outlier_critical(n: int, one_sided: float) -> float:
    """Critical distance from the mean for the most extreme of n at a one-sided level."""
    t = float(special.stdtrit(n - 2, 1.0 - one_sided / n))
    return (n - 1.0) / math.sqrt(n) * math.sqrt(t * t / (n - 2.0 + t * t))


def _standardised(readings: Floats, what: str) -> Floats:
    """Take the mean off the readings and divide by their sample sd."""
    if np.ptp(readings) == 0.0:
        raise StatisticsError(f"{what}: all readings are equal, the spread is unknown")
    return np.asarray((readings - readings.mean()) / readings.std(ddof=1))


def _check_alpha(alpha: float) -> None:
    """Refuse a level outside 0..1."""
    if not LEAST_ALPHA <= alpha < 1.0:
        raise StatisticsError(f"outlier test: alpha is {alpha}, must lie between {LEAST_ALPHA:g} and 1")

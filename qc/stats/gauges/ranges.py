"""Gauge figures from averages and ranges, for checking a study by hand."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qc.stats.errors import StatisticsError
from qc.stats.gauges.told_apart import parts_told_apart
from qc.stats.numbers import LARGEST, Floats, as_floats, check_magnitude, factors
from qc.stats.tabled import Tabled

_FORM_DIGITS = 4  # printed forms round their factors to so many decimals; a hand check must agree with them


@dataclass(frozen=True, slots=True)
class AverageRange(Tabled):
    """Average-and-range figures of a crossed study.

    Attributes
    ----------
    person_means, person_ranges : tuple of float
        Mean and mean range of each person. [unit of the readings]
    mean_range : float
        Mean of all ranges. [unit]
    person_difference, part_range : float
        Range of the person means, range of the part means. [unit]
    repeatability, person, gauge, part, total : float
        Standard deviations. [unit]
    shares : dict of str to float
        Each sd over the total sd.
    categories : int or None
        Groups of parts told apart; None without any range.
    range_limit : float
        Upper limit of the ranges. [unit]
    """

    person_means: tuple[float, ...]
    person_ranges: tuple[float, ...]
    mean_range: float
    person_difference: float
    part_range: float
    repeatability: float
    person: float
    gauge: float
    part: float
    total: float
    shares: dict[str, float]
    categories: int | None
    range_limit: float

    def to_dict(self) -> dict[str, object]:
        """Return plain values."""
        out: dict[str, object] = {}
        sds: dict[str, object] = {}
        for name, value in Tabled.to_dict(self).items():
            if name in (*self.shares, "total"):
                out["sd"] = sds
                sds[name] = value
            else:
                out[name] = value
        return out


@dataclass(frozen=True, slots=True)
class OnePersonRanges(Tabled):
    """One person measured every part several times: figures from the ranges.

    Attributes
    ----------
    mean, mean_range : float
        Of all readings. [unit of the readings]
    gauge_sd, total_sd : float
        Spread of the gauge, from the ranges; of all readings. [unit]
    part_variance : float
        What is left for the parts, not below 0. [square of the unit]
    limits : (float, float)
        Of the part means, from the ranges: the more parts lie outside, the better the gauge tells them apart.
    outside : int
        Parts outside.
    """

    mean: float
    mean_range: float
    gauge_sd: float
    total_sd: float
    part_variance: float
    limits: tuple[float, float]
    outside: int


def average_range(readings: ArrayLike) -> AverageRange:
    """Average-and-range sds, shares and categories of a crossed study, with the factors of a printed form.

    Parameters
    ----------
    readings : array_like, shape (parts, persons, repeats), parts and repeats >= 2, persons >= 1
        Readings. [any unit]

    Raises
    ------
    StatisticsError
        A layout that is too small or not full.

    Notes
    -----
    Repeatability: mean range over d2. Persons and parts: their range over the d2 of a single range,
    sqrt(d2^2 + d3^2); the persons' less the share of repeatability in it. Factors rounded to four decimals.

    References
    ----------
    .. [1] The form of the automotive trade's measurement manual (data and averages read in a public copy,
       factors from memory, recomputed from their definitions).

    Examples
    --------
    >>> found = average_range([[[2.0, 2.1], [2.2, 2.2]], [[3.0, 2.9], [3.1, 3.2]], [[4.1, 4.0], [4.2, 4.1]]])
    >>> round(found.repeatability, 4), round(found.part, 4), found.categories
    (0.0739, 1.0331, 11)
    """
    y = _full(readings, 3)
    parts, persons, repeats = y.shape
    ranges = np.ptp(y, axis=2)
    mean_range = float(ranges.mean())
    means = y.mean(axis=(0, 2))
    difference, part_range = float(np.ptp(means)), float(np.ptp(y.mean(axis=(1, 2))))
    repeatability = mean_range * round(1.0 / factors(repeats).d2, _FORM_DIGITS)
    person = 0.0
    if persons > 1:
        spread = (difference * _single_range(persons)) ** 2 - repeatability**2 / (parts * repeats)
        person = math.sqrt(max(spread, 0.0))
    gauge = math.hypot(repeatability, person)
    part = part_range * _single_range(parts)
    total = math.hypot(gauge, part)
    sds = {"repeatability": repeatability, "person": person, "gauge": gauge, "part": part}
    return AverageRange(
        person_means=tuple(float(mean) for mean in means),
        person_ranges=tuple(float(mean) for mean in ranges.mean(axis=0)),
        mean_range=mean_range,
        person_difference=difference,
        part_range=part_range,
        **sds,
        total=total,
        shares={name: sd / total if total > 0 else 0.0 for name, sd in sds.items()},
        categories=parts_told_apart(part, gauge),
        range_limit=factors(repeats).D4 * mean_range,
    )


def one_person_ranges(readings: ArrayLike) -> OnePersonRanges:
    """Figures of a study by one person, from ranges.

    Parameters
    ----------
    readings : array_like, shape (parts, repeats), each >= 2
        Readings. [any unit]

    Raises
    ------
    StatisticsError
        A layout that is too small or not full.

    References
    ----------
    .. [1] Montgomery, "Introduction to Statistical Quality Control", table 8.6 (from memory).

    Examples
    --------
    >>> found = one_person_ranges([[21.0, 20.0], [24.0, 23.0], [20.0, 21.0]])
    >>> round(found.gauge_sd, 4)
    0.8862
    """
    y = _full(readings, 2)
    pair = factors(y.shape[1])
    mean, mean_range = float(y.mean()), float(np.ptp(y, axis=1).mean())
    gauge, total = mean_range / pair.d2, float(y.std(ddof=1))
    low, high = mean - pair.A2 * mean_range, mean + pair.A2 * mean_range
    means = y.mean(axis=1)
    return OnePersonRanges(
        mean=mean,
        mean_range=mean_range,
        gauge_sd=gauge,
        total_sd=total,
        part_variance=max(total**2 - gauge**2, 0.0),
        limits=(low, high),
        outside=int(np.count_nonzero((means < low) | (means > high))),
    )


def _single_range(count: int) -> float:
    """Sd behind the range of one sample of this size, as a factor rounded like a printed form's."""
    if count > LARGEST:
        raise StatisticsError(f"average and range: {count} groups given, at most {LARGEST} can be compared")
    constants = factors(count)
    return round(1.0 / math.hypot(constants.d2, constants.d3), _FORM_DIGITS)


def _full(readings: ArrayLike, dimensions: int) -> Floats:
    """Take readings as a full array of finite numbers, big enough."""
    try:
        y = as_floats(readings, "average and range")
    except StatisticsError:
        raise StatisticsError(
            "average and range: the layout has holes or text; every part needs the same repeats"
        ) from None
    if y.ndim != dimensions or y.shape[0] < 2 or y.shape[-1] < 2 or not np.isfinite(y).all():
        raise StatisticsError(
            f"average and range: the layout is {' x '.join(map(str, y.shape))}; two parts and two repeats or "
            "more are needed, all finite numbers"
        )
    check_magnitude(float(np.abs(y).max()), "average and range")
    return y

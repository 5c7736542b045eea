"""Levels and spreads of groups of one series, on arrays: thousands of series with many small groups each.

The tests hold them against scipy and against `one_way_anova`, which takes a group at a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers import Floats, Integers, Places, as_readings
from qc.stats.samples.anova import AnovaRow, one_way_table
from qc.stats.samples.distribution import SignificanceTest
from qc.words import count_words


@dataclass(frozen=True, slots=True)
class Grouped:
    """Readings of one series, sorted by group: `sizes` says how many belong to each."""

    values: Floats
    sizes: Integers

    @classmethod
    def of(cls, values: Floats, labels: Integers) -> Grouped:
        """Sort readings by their labels, in order of making within each."""
        order = np.argsort(labels, kind="stable")
        edges = np.flatnonzero(np.diff(labels[order])) + 1
        sizes = np.diff(np.concatenate([[0], edges, [labels.size]]))
        return cls(values[order], sizes)

    @property
    def starts(self) -> Integers:
        """Place of the first reading of each group."""
        return np.asarray(np.cumsum(self.sizes) - self.sizes)

    def repeated(self) -> Grouped:
        """Leave out groups of a single reading, which show no spread."""
        if self.sizes.min(initial=2) >= 2:
            return self
        kept = np.repeat(self.sizes >= 2, self.sizes)
        return Grouped(self.values[kept], self.sizes[self.sizes >= 2])

    def sums(self, values: Floats) -> Floats:
        """Sum by group of something that stands beside the readings."""
        return np.asarray(np.add.reduceat(values, self.starts))

    def about_means(self) -> Floats:
        """Deviation of each reading from the mean of its group."""
        # from the first reading, so that a large common offset costs no digits
        values = self.values - self.values[0]
        return np.asarray(values - np.repeat(self.sums(values) / self.sizes, self.sizes))

    def flat(self) -> Places:
        """Find the groups without any spread, counted from 0."""
        most, least = (end.reduceat(self.values, self.starts) for end in (np.maximum, np.minimum))
        return np.flatnonzero(most == least)

    def distances(self, *, from_means: bool) -> Grouped:
        """Distances of the readings from the mean, or the median, of their group."""
        return Grouped(np.abs(self.about_means() if from_means else self.about_medians()), self.sizes)

    def about_medians(self) -> Floats:
        """Deviation of each reading from the median of its group."""
        sorted_values = self.values[
            np.lexsort((self.values, np.repeat(np.arange(self.sizes.size), self.sizes)))
        ]
        low = self.starts + (self.sizes - 1) // 2
        medians = (sorted_values[low] + sorted_values[self.starts + self.sizes // 2]) / 2.0
        return np.asarray(self.values - np.repeat(medians, self.sizes))


def equal_spreads(groups: Sequence[ArrayLike], *, center: str = "median") -> SignificanceTest:
    """Test whether groups have the same spread.

    Parameters
    ----------
    groups : sequence of array_like, two or more, each of length >= 2
        Readings by group. [any unit]
    center : {"median", "mean"}
        Distances from the group's median (Brown and Forsythe) or mean (Levene).

    Returns
    -------
    SignificanceTest
        F statistic and p-value; `n` counts all readings.

    Raises
    ------
    StatisticsError
        Fewer than two groups, a group of fewer than two, or no group with any spread.
    StatisticsUsageError
        A centre that does not exist.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook 1.3.5.10 (Levene test).

    Examples
    --------
    >>> result = equal_spreads([[1.0, 2.0, 3.0, 4.0], [1.0, 5.0, 9.0, 13.0]])
    >>> round(result.statistic, 3), round(result.p_value, 3)
    (6.353, 0.045)
    """
    names = {"median": "brown-forsythe", "mean": "levene"}
    if center not in names:
        raise StatisticsUsageError(f"equal spreads: center {center!r} is not known; there are median, mean")
    found = _as_groups(groups)
    if found.flat().size == found.sizes.size:
        raise StatisticsError("equal spreads: no group has any spread; a finer gauge is needed")
    away = found.distances(from_means=center == "mean")
    (row, error, _), _ = levels_table(away)
    if _rounding_only(error, away) or row.f is None or row.p_value is None:
        raise StatisticsError(
            "equal spreads: within every group all distances are equal; more readings are needed"
        )
    return SignificanceTest(names[center], row.f, row.p_value, found.values.size)


def bartlett(groups: Sequence[ArrayLike], *, least_sd: float = 0.0) -> SignificanceTest:
    """Test whether groups of normal readings have the same spread; sharper than Levene's where they are.

    Asked as `equal_spreads`, but each group must have some spread, unless `least_sd` (step / sqrt 12 of the
    gauge) says what no spread is taken below; the statistic is a chi-square.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook 1.3.5.7.

    Examples
    --------
    >>> round(bartlett([[1.0, 2.0, 3.0, 4.0], [1.0, 5.0, 9.0, 13.0]]).p_value, 4)
    0.049
    """
    found = _as_groups(groups)
    flat = found.flat()
    if flat.size and not least_sd > 0.0:
        raise StatisticsError(f"equal spreads: group {flat[0] + 1} has no spread; use Levene's test")
    return _bartlett(found, least_sd)


def levels_table(groups: Grouped) -> tuple[tuple[AnovaRow, ...], float]:
    """One-way table of variance, and the variance between groups.

    Parameters
    ----------
    groups : Grouped
        Two groups or more, one of them of two readings or more; others are refused.

    Returns
    -------
    tuple of rows and float
        Those of `one_way_anova` (source there); the component between groups [square of the unit].

    Examples
    --------
    >>> rows, _ = levels_table(Grouped(np.array([1.0, 2.0, 3.0, 2.0, 3.0, 4.0]), np.array([3, 3])))
    >>> round(rows[0].f, 3)
    1.5
    """
    total, k = groups.values.size, groups.sizes.size
    if k < 2:
        raise StatisticsError(f"{k} group: at least 2 are needed to compare levels")
    if total == k:
        raise StatisticsError("no group holds two readings: repeats are needed to compare levels")
    values = groups.values - groups.values[0]
    means = groups.sums(values) / groups.sizes
    within = values - np.repeat(means, groups.sizes)
    found = one_way_table(groups.sizes.astype(np.float64), means, float(within @ within))
    return found.rows, found.between_variance


def spread_test(groups: Grouped, name: str) -> SignificanceTest:
    """Test whether groups scatter alike.

    Parameters
    ----------
    groups : Grouped
        Two groups or more, each of two readings or more; fewer, or no spread to compare, are refused.
    name : {"bartlett", "levene", "brown_forsythe"}
        For normal readings, by distances from the means, or from the medians (sources as for `bartlett` and
        `equal_spreads`, which give the same).

    Examples
    --------
    >>> two = Grouped(np.array([1.0, 2.0, 3.0, 4.0, 1.0, 5.0, 9.0, 13.0]), np.array([4, 4]))
    >>> [round(spread_test(two, name).p_value, 3) for name in ("bartlett", "brown_forsythe")]
    [0.049, 0.045]
    """
    if groups.sizes.size < 2:
        held = count_words(groups.sizes.size, "group")
        raise StatisticsError(f"{held} of two readings or more: at least 2 such are needed")
    if name == "bartlett":
        return _bartlett(groups)
    away = groups.distances(from_means=name == "levene")
    if not away.values.any():
        raise StatisticsError("no group has any spread: a finer gauge is needed")
    (row, error, _), _ = levels_table(away)
    if _rounding_only(error, away) or row.f is None or row.p_value is None:
        raise StatisticsError("within every group all distances are equal: more readings are needed")
    return SignificanceTest(name, row.f, row.p_value, groups.values.size)


def _rounding_only(error: AnovaRow, away: Grouped) -> bool:
    """Tell whether distances within groups differ by rounding only, which would make an F of any size."""
    return error.ss <= 1e-24 * float(away.values @ away.values)


def _as_groups(groups: Sequence[ArrayLike]) -> Grouped:
    """Take groups of readings, two or more of two or more."""
    if len(groups) < 2:
        raise StatisticsError(f"equal spreads: {len(groups)} groups given, at least 2 are needed")
    parts = [as_readings(group, f"equal spreads, group {i + 1}", least=2) for i, group in enumerate(groups)]
    return Grouped(np.concatenate(parts), np.array([part.size for part in parts]))


def _bartlett(groups: Grouped, least_sd: float = 0.0) -> SignificanceTest:
    """Bartlett's test: pooled against single variances."""
    away = groups.about_means()
    df = groups.sizes - 1.0
    squares = np.maximum(groups.sums(away**2), df * least_sd**2)
    flat = groups.flat()
    if flat.size and not least_sd > 0.0:
        raise StatisticsError(f"group {int(flat[0]) + 1} has no spread: see Levene's test")
    total, k = float(df.sum()), df.size
    unlike = total * np.log(squares.sum() / total) - float(df @ np.log(squares / df))
    correction = 1.0 + (float((1.0 / df).sum()) - 1.0 / total) / (3.0 * (k - 1))
    statistic = max(float(unlike / correction), 0.0)
    p_value = float(special.chdtrc(k - 1, statistic))
    return SignificanceTest("bartlett", statistic, p_value, groups.values.size)

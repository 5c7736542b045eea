"""Levels and spreads of groups of one series, on arrays: thousands of series with many small groups each.

The same tests as `one_way_anova`, `bartlett` and `equal_spreads` (the tests hold them against each other and
against scipy), without a call for every group.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, Integers
from qc.stats.samples.anova import AnovaRow, anova_row
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

    def about_medians(self) -> Floats:
        """Deviation of each reading from the median of its group."""
        sorted_values = self.values[
            np.lexsort((self.values, np.repeat(np.arange(self.sizes.size), self.sizes)))
        ]
        low = self.starts + (self.sizes - 1) // 2
        medians = (sorted_values[low] + sorted_values[self.starts + self.sizes // 2]) / 2.0
        return np.asarray(self.values - np.repeat(medians, self.sizes))


def levels_table(groups: Grouped) -> tuple[tuple[AnovaRow, ...], float]:
    """One-way table of variance, and the variance between groups.

    Parameters
    ----------
    groups : Grouped
        Two groups or more, one of them of two readings or more.

    Returns
    -------
    tuple of rows and float
        between, within, total; the component between groups [square of the unit].

    Raises
    ------
    StatisticsError
        Fewer than two groups, or nothing repeated.

    References
    ----------
    .. [1] As for `one_way_anova`.

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
    away = means - float(groups.sizes @ means) / total
    ss_between = float(groups.sizes @ away**2)
    within = values - np.repeat(means, groups.sizes)
    ss_within = float(within @ within)
    row = anova_row("between", k - 1, ss_between, ss_within / (total - k), total - k)
    error = AnovaRow("within", total - k, ss_within, ss_within / (total - k))
    both = ss_between + ss_within
    size = (total - float(groups.sizes @ groups.sizes) / total) / (k - 1)
    return (row, error, AnovaRow("total", total - 1, both, both / (total - 1))), (row.ms - error.ms) / size


def spread_test(groups: Grouped, name: str) -> SignificanceTest:
    """Test whether groups scatter alike.

    Parameters
    ----------
    groups : Grouped
        Two groups or more, each of two readings or more.
    name : {"bartlett", "levene", "brown_forsythe"}
        For normal readings, by distances from the means, or from the medians.

    Returns
    -------
    SignificanceTest
        As `bartlett` and `equal_spreads` give it.

    Raises
    ------
    StatisticsError
        Fewer than two groups, or no spread to compare.

    References
    ----------
    .. [1] As for `bartlett` and `equal_spreads`.

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
    away = np.abs(groups.about_means() if name == "levene" else groups.about_medians())
    if not away.any():
        raise StatisticsError("no group has any spread: a finer gauge is needed")
    rows, _ = levels_table(Grouped(away, groups.sizes))
    within = rows[1].ss
    # distances that differ by rounding only would make an F of any size
    if within <= 1e-24 * float(away @ away) or rows[0].f is None or rows[0].p_value is None:
        raise StatisticsError("within every group all distances are equal: more readings are needed")
    return SignificanceTest(name, rows[0].f, rows[0].p_value, groups.values.size)


def _bartlett(groups: Grouped) -> SignificanceTest:
    """Bartlett's test: pooled against single variances."""
    away = groups.about_means()
    df = groups.sizes - 1.0
    squares = groups.sums(away**2)
    flat = np.flatnonzero(
        np.maximum.reduceat(groups.values, groups.starts) == np.minimum.reduceat(groups.values, groups.starts)
    )
    if flat.size:
        raise StatisticsError(f"group {int(flat[0]) + 1} has no spread: see Levene's test")
    total, k = float(df.sum()), df.size
    unlike = total * np.log(squares.sum() / total) - float(df @ np.log(squares / df))
    correction = 1.0 + (float((1.0 / df).sum()) - 1.0 / total) / (3.0 * (k - 1))
    statistic = max(float(unlike / correction), 0.0)
    p_value = float(special.chdtrc(k - 1, statistic))
    return SignificanceTest("bartlett", statistic, p_value, groups.values.size)

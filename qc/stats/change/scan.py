"""The detector's three scans over every place where a stretch of readings could have changed.

A *stretch* is the run of readings judged together. Each scan asks, at every possible split, how badly
"nothing changed" fits: a step of the level (largest two-sample t), a change of the spread (largest
corrected likelihood ratio) and a steady climb that begins at the split (largest t of a hinge). The arrays
hold one stretch a row, all of one length, so that thousands of series cost one pass; a single series is
simply one row.

References
----------
.. [1] Hawkins, Qiu & Kang, "The changepoint model for statistical process control", Journal of Quality
   Technology 35 (2003), 355-366: the level scan, level and spread unknown.
.. [2] Hawkins & Zamba, "A change-point model for a shift in variance", J. Quality Technology 37 (2005),
   21-31: the spread scan with Bartlett's correction.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from scipy import special

from qc.stats.numbers import Floats, Integers

# three leave the spread a single degree of freedom
SHORTEST = 4  # readings a stretch needs before it can be judged
LEVEL, SPREAD, TREND = 0, 1, 2
SPREAD_SIDE = 4  # readings wanted on each side of a change of spread: fewer give a spread of no worth
TREND_SIDE = 5  # readings wanted on a climb before it can be told from a step
# about a thousand roundings
RELATIVE_GUARD = 1e-13  # share of the total sum of squares below which rounding error rules
Z_LARGEST = 37.0  # the normal score of the smallest probability a double can hold


class Scan(NamedTuple):
    """Largest statistic of each kind and the split where it stands, for each row.

    `statistic` has three columns: squared two-sample t, corrected likelihood ratio of the spreads, squared
    t of the hinge. `split` counts the readings before the change. A kind not yet possible at this length
    holds 0.
    """

    statistic: Floats
    split: Integers


@dataclass(slots=True)
class Sums:
    """Running sums of stretches, one row each; column j is after reading j + 1."""

    total: Floats
    square: Floats
    running: Floats

    @classmethod
    def of(cls, values: Floats) -> Sums:
        """Sum whole stretches `values`, shape (rows, n), measured from each row's first value."""
        centred = values - values[:, :1]
        total = np.cumsum(centred, axis=1)
        return cls(total, np.cumsum(centred * centred, axis=1), np.cumsum(total, axis=1))

    @classmethod
    def empty(cls, rows: int, capacity: int) -> Sums:
        """Room for `rows` stretches of up to `capacity` readings."""
        return cls(np.empty((rows, capacity)), np.empty((rows, capacity)), np.empty((rows, capacity)))

    def write(self, column: int, rows: Integers, centred: Floats) -> None:
        """Put the reading `centred` (measured from the row's first) into `column` of `rows`."""
        square = centred * centred
        if column == 0:
            self.total[rows, 0], self.square[rows, 0], self.running[rows, 0] = centred, square, centred
            return
        total = self.total[rows, column - 1] + centred
        self.total[rows, column] = total
        self.square[rows, column] = self.square[rows, column - 1] + square
        self.running[rows, column] = self.running[rows, column - 1] + total

    def take(self, rows: Integers | slice, length: int) -> Sums:
        """Take the first `length` columns of `rows`."""
        return Sums(self.total[rows, :length], self.square[rows, :length], self.running[rows, :length])


class Splits(NamedTuple):
    """Sums of squares at each split k = 1..n-1, shape (rows, n - 1); of the whole, (rows, 1)."""

    before: Floats
    after: Floats
    between: Floats
    whole: Floats


def scan(sums: Sums, floor: Floats, *, level_side: int = 1) -> Scan:
    """Scan stretches of one length for a step, a change of spread and a climb: shape (rows, 3).

    Parameters
    ----------
    sums : Sums
        Running sums, shape (rows, n), n >= 4.
    floor : ndarray, shape (rows,)
        Least variance of readings within a part of a stretch: resolution squared / 12, or 0. [square of the
        unit]
    level_side : int
        Fewest readings on each side of a step.
    """
    parts = split_squares(sums)
    return scan_of(level_profile(parts, floor, level_side), sums, parts, floor, level_side)


def scan_of(level: Floats, sums: Sums, parts: Splits, floor: Floats, level_side: int) -> Scan:
    """Find the largest of each kind, given the squared t of a step at each split with enough readings."""
    n = sums.total.shape[1]
    statistic = np.zeros((sums.total.shape[0], 3))
    split = np.zeros(statistic.shape, dtype=np.int64)
    statistic[:, LEVEL], split[:, LEVEL] = largest(level, level_side)
    if n >= 2 * SPREAD_SIDE:
        statistic[:, SPREAD], split[:, SPREAD] = largest(spread_profile(parts, floor), SPREAD_SIDE)
    if n > TREND_SIDE:
        statistic[:, TREND], split[:, TREND] = largest(trend_profile(sums, parts.whole, floor), 1)
    return Scan(statistic, split)


def split_squares(sums: Sums) -> Splits:
    """Split the sum of squares at every place: within the part before, the part after, and between."""
    n = sums.total.shape[1]
    weight = _coefficients(n)
    before = sums.square - sums.total * sums.total * weight.reciprocal
    np.maximum(before, 0.0, out=before)
    whole = before[:, -1:]
    offset = sums.total[:, :-1] - sums.total[:, -1:] * weight.share
    between = offset * offset * weight.between
    after = whole - before[:, :-1] - between
    np.maximum(after, 0.0, out=after)
    return Splits(before[:, :-1], after, between, whole)


def level_profile(parts: Splits, floor: Floats | None, side: int = 1) -> Floats:
    """Squared two-sample t at each split with `side` readings or more on both sides; a floor of 0 is none."""
    n = parts.before.shape[1] + 1
    between = parts.between[:, side - 1 : n - side]
    # the textbook pooled variance, had from the whole: one subtraction for all splits at once
    profile = ratio(between, parts.whole - between, parts.whole) * (n - 2)
    if floor is None or not (floor > 0).any():
        return np.asarray(profile)
    floored = np.flatnonzero(floor > 0)
    few = Splits(*(part[floored] for part in parts))
    before, after = sides(few, floor[floored], side)
    profile[floored] = ratio(between[floored], before + after, few.whole) * (n - 2)
    return np.asarray(profile)


def sides(parts: Splits, floor: Floats, side: int) -> tuple[Floats, Floats]:
    """Add up the squares within the parts before and after each split, no less than the floor allows."""
    n = parts.before.shape[1] + 1
    inner = slice(side - 1, n - side)
    weight = _coefficients(n)
    least = floor[:, None]
    # each side by itself: a few equal readings hide the step's variance however much the other side scatters
    return (
        np.maximum(parts.before[:, inner], least * weight.degrees_before[inner]),
        np.maximum(parts.after[:, inner], least * weight.degrees_after[inner]),
    )


def shortage(parts: Splits, floor: Floats, side: int) -> Floats:
    """By how much the sums of squares within the two parts fall short of the floor, at each split."""
    n = parts.before.shape[1] + 1
    inner = slice(side - 1, n - side)
    before, after = sides(parts, floor, side)
    return np.asarray(before - parts.before[:, inner] + (after - parts.after[:, inner]))


def spread_profile(parts: Splits, floor: Floats) -> Floats:
    """Bartlett-corrected likelihood ratio of the spreads, `SPREAD_SIDE` readings or more on both sides."""
    n = parts.before.shape[1] + 1
    weight = _coefficients(n)
    inner = slice(SPREAD_SIDE - 1, n - SPREAD_SIDE)
    # a side of equal readings has spread 0, whose logarithm is not finite
    guard = np.maximum(parts.whole * RELATIVE_GUARD, np.finfo(float).tiny)
    degrees = weight.degrees_before[inner], weight.degrees_after[inner]
    least = floor[:, None]
    before = np.maximum(np.maximum(parts.before[:, inner] / degrees[0], least), guard)
    after = np.maximum(np.maximum(parts.after[:, inner] / degrees[1], least), guard)
    pooled = (before * degrees[0] + after * degrees[1]) / (n - 2)
    ratio = (n - 2) * np.log(pooled) - degrees[0] * np.log(before) - degrees[1] * np.log(after)
    return np.asarray(ratio * weight.bartlett[inner])


def trend_profile(sums: Sums, whole: Floats, floor: Floats) -> Floats:
    """Squared t of a climb that begins after reading k, for k = 1..n-TREND_SIDE, against a steady level."""
    n = sums.total.shape[1]
    weight = _coefficients(n)
    last = n - TREND_SIDE
    # sum over i > k of (i - k) x_i, from the running sum of the running sum
    moment = weight.left[:last] * sums.total[:, -1:] - (sums.running[:, -2:-1] - sums.running[:, :last])
    moment = moment - sums.total[:, :last]
    moment = moment - weight.hinge_mean[:last] * sums.total[:, -1:]
    explained = moment * moment * weight.hinge[:last]
    within = np.maximum(whole - explained, floor[:, None] * (n - 2))
    return np.asarray(ratio(explained, within, whole) * (n - 2))


def normal_score(statistic: Floats, length: int) -> Floats:
    """Put the statistics of `scan` on one scale: the normal score of the same probability at one split.

    Parameters
    ----------
    statistic : ndarray, shape (rows, 3)
        As given by `scan`.
    length : int
        Readings in the stretch.

    Returns
    -------
    ndarray, shape (rows, 3)
        Scores >= 0: 3.29 means a probability of 0.001 at that one split.
    """
    score = np.empty(statistic.shape)
    # the lower tail: 1 - P would have no digits left where scores matter most
    tail = special.stdtr(length - 2, -np.sqrt(statistic[:, [LEVEL, TREND]]))
    score[:, [LEVEL, TREND]] = np.minimum(-special.ndtri(np.maximum(tail, 1e-300)), Z_LARGEST)
    # the corrected ratio is about chi-square with one degree, so its root is a normal score
    score[:, SPREAD] = np.minimum(np.sqrt(np.maximum(statistic[:, SPREAD], 0.0)), Z_LARGEST)
    return score


def statistic_limit(score: Floats, length: int) -> Floats:
    """Turn thresholds on the score scale, shape (3,), into those of `scan`: undoes `normal_score`."""
    limit = np.empty(3)
    tail = special.ndtr(-np.minimum(score[[LEVEL, TREND]], Z_LARGEST))
    limit[[LEVEL, TREND]] = special.stdtrit(length - 2, np.maximum(tail, 1e-300)) ** 2
    limit[SPREAD] = score[SPREAD] ** 2
    return np.where(np.isfinite(score), limit, np.inf)


class _Coefficients(NamedTuple):
    reciprocal: Floats  # 1 / k, k = 1..n
    share: Floats  # k / n, k = 1..n-1, as are all below
    between: Floats
    degrees_before: Floats
    degrees_after: Floats
    left: Floats
    bartlett: Floats
    hinge_mean: Floats
    hinge: Floats


@lru_cache(maxsize=2048)
def _coefficients(n: int) -> _Coefficients:
    """Everything that depends on the length alone."""
    k = np.arange(1.0, n)
    left = n - k
    before, after = k - 1, left - 1
    correction = 1 + (1 / np.maximum(before, 1) + 1 / np.maximum(after, 1) - 1 / max(n - 2, 1)) / 3
    total = left * (left + 1) / 2
    square = left * (left + 1) * (2 * left + 1) / 6 - total * total / n
    return _Coefficients(
        1 / np.arange(1.0, n + 1),
        k / n,
        n / (k * left),
        before,
        after,
        left,
        1 / correction,
        total / n,
        1 / square,
    )


def ratio(part: Floats, within: Floats, whole: Floats) -> Floats:
    """`part / within`, finite when rounding leaves nothing within, 0 for a constant stretch."""
    guard = np.maximum(whole * RELATIVE_GUARD, np.finfo(float).tiny)
    return np.asarray(part / np.maximum(within, guard))


def largest(profile: Floats, first: int) -> tuple[Floats, Integers]:
    """Largest value of each row and its split, where column 0 stands for split `first`."""
    where = profile.argmax(axis=1)
    return np.take_along_axis(profile, where[:, None], axis=1)[:, 0], where + first

"""Stretches of many series side by side, all of one length, and their judgement at that length."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from qc.stats.change.ranks import extend_ranks, rank_scores
from qc.stats.change.result import Shape
from qc.stats.change.scan import Sums, normal_score, scan, statistic_limit
from qc.stats.change.thresholds import LEVEL_SIDE, Judged, threshold_scores
from qc.stats.numbers import Flags, Floats, Integers

# chosen: above the rounding of a difference of decimals, below any real difference of steps
SAME_STEP = 1e-6  # two gaps this close, relatively, are the same step
NO_STEP = 1e-9  # a gap below this share of the reading is rounding of the arithmetic, not of the gauge
# chosen: below it one step is a third of the reading and more, and no one floor serves the whole log scale
FEWEST_STEPS = 3.0  # a positive characteristic whose middle is under so many steps is judged by ranks


@dataclass(frozen=True, slots=True)
class ShapeAndStep:
    """How readings are judged: shape and, where known, the step of the gauge."""

    shape: Shape = "normal"
    resolution: float | None = None


class Judgement(NamedTuple):
    """Statistics of `scan` for some rows, what they had to exceed, and which rows were judged by ranks."""

    statistic: Floats
    split: Integers
    limit: Floats
    ranked: Flags


class Block:
    """Stretches of one length, one a row; row 0 alone serves a single series.

    Attributes
    ----------
    values : ndarray, shape (rows, capacity)
        Readings as given.
    gap, coarse : ndarray, shape (rows,)
        Smallest gap between readings of a stretch seen so far in the series, and whether it recurred.
    """

    def __init__(self, setting: ShapeAndStep, rows: int, capacity: int) -> None:
        self.setting = setting
        self.values = np.empty((rows, capacity))
        self.dither = np.empty((rows, capacity))
        self.ranks = np.zeros((rows, 0), dtype=np.int64)
        self.sums = Sums.empty(rows, capacity)
        self.first = np.zeros(rows)
        self.zero = np.zeros(rows, dtype=np.bool_)
        self.gap = np.full(rows, np.inf)
        self.coarse = np.zeros(rows, dtype=np.bool_)

    def keep(self, rows: Integers, length: int) -> None:
        """Drop all but `rows`, whose stretches hold `length` readings."""
        capacity = self.values.shape[1]
        for name in ("values", "dither"):
            kept = np.empty((rows.size, capacity))
            kept[:, :length] = getattr(self, name)[rows, :length]
            setattr(self, name, kept)
        old, self.sums = self.sums.take(rows, length), Sums.empty(rows.size, capacity)
        self.sums.total[:, :length] = old.total
        self.sums.square[:, :length] = old.square
        self.sums.running[:, :length] = old.running
        for name in ("ranks", "first", "zero", "gap", "coarse"):
            setattr(self, name, getattr(self, name)[rows])

    def place(self, column: int, rows: Integers, values: Floats, dither: Floats) -> None:
        """Add the next reading of `rows`, whose stretches held `column` readings."""
        if self.setting.resolution is None and self.setting.shape != "any" and column:
            self._notice_step(column, rows, values)
        self.values[rows, column] = values
        self.dither[rows, column] = dither
        if self.setting.shape == "any":
            self._place_rank(column, rows)
            return
        if column == 0:
            self.zero[rows] = False
        judged = values
        if self.setting.shape == "positive":
            self.zero[rows] |= values == 0
            judged = np.log(np.where(values > 0, values, 1.0))
        if column == 0:
            self.first[rows] = judged
        self.sums.write(column, rows, judged - self.first[rows])

    def refill(self, values: Floats, dither: Floats) -> None:
        """Give the only row a whole stretch, bit for bit as if `place` had been told of one after the other.

        The step seen so far is left as it is.
        """
        length = values.size
        self.values[0, :length], self.dither[0, :length] = values, dither
        if not length:
            return
        if self.setting.shape == "any":
            self.ranks = np.argsort(np.lexsort((dither, values)))[None, :]
            return
        judged = values
        if self.setting.shape == "positive":
            self.zero[0] = bool((values == 0).any())
            # one by one, as they came: a logarithm worked out in bulk may differ in its last bit
            judged = np.array([np.log(np.where(v > 0, v, 1.0))[0] for v in values[:, None]])
        self.first[0] = judged[0]
        sums = Sums.of(judged[None, :])
        self.sums.total[:, :length], self.sums.square[:, :length] = sums.total, sums.square
        self.sums.running[:, :length] = sums.running

    def judge(self, rows: Integers, length: int, false_alarm_rate: float) -> Judgement:
        """Scan the stretches of `rows`, `length` readings each."""
        if self.setting.shape == "any":
            ranks = self.ranks if rows.size == self.ranks.shape[0] else self.ranks[rows]
            return _judge_ranks(ranks, length, false_alarm_rate)
        whole = rows.size == self.values.shape[0]
        sums = self.sums.take(slice(None) if whole else rows, length)
        floor, ranked = self.floor(rows, length)
        found = scan(sums, floor)
        limit = np.broadcast_to(_limit(false_alarm_rate, length, "normal"), found.statistic.shape)
        judgement = Judgement(found.statistic, found.split, limit, ranked)
        if ranked.any():
            few = np.flatnonzero(ranked)
            order = np.lexsort((self.dither[rows[few], :length], self.values[rows[few], :length]), axis=1)
            by_rank = _judge_ranks(np.argsort(order, axis=1), length, false_alarm_rate)
            limit = limit.copy()
            judgement.statistic[few], judgement.split[few] = by_rank.statistic, by_rank.split
            limit[few] = by_rank.limit
            judgement = judgement._replace(limit=limit)
        return judgement

    def resolution(self, row: int) -> float | None:
        """Step allowed for in `row`: the given one, or the one seen so far."""
        if self.setting.resolution is not None:
            return self.setting.resolution
        return float(self.gap[row]) if self.coarse[row] and np.isfinite(self.gap[row]) else None

    def floor(self, rows: Integers, length: int) -> tuple[Floats, Flags]:
        """Least variance within a part on the judged scale, and which rows must be judged by ranks."""
        ranked = np.zeros(rows.size, dtype=np.bool_)
        if self.setting.resolution is None:
            known = self.coarse[rows] & np.isfinite(self.gap[rows])
            step = np.where(known, self.gap[rows], 0.0)
        else:
            step = np.full(rows.size, self.setting.resolution)
        if self.setting.shape == "positive":
            # on the log scale the middle reading is the median of the readings
            middle = np.exp(self.first[rows] + self.sums.total[rows, length - 1] / length)
            ranked = self.zero[rows] | (middle < FEWEST_STEPS * step)
            step = step / middle
        return step * step / 12, ranked

    def scale(self, row: int, length: int, ranked: bool) -> Floats:
        """Give the stretch of `row` as it was judged."""
        values = self.values[row, :length]
        if self.setting.shape == "any" or ranked:
            order = np.lexsort((self.dither[row, :length], values))
            return rank_scores(length)[np.argsort(order)]
        return np.log(values) if self.setting.shape == "positive" else values.copy()

    def _notice_step(self, column: int, rows: Integers, values: Floats) -> None:
        """Learn the step of the gauge from readings that recur or stand the same small gap apart."""
        whole = rows.size == self.values.shape[0]
        seen = self.values[:, :column] if whole else self.values[rows, :column]
        away = np.abs(seen - values[:, None])
        apart = away > NO_STEP * np.abs(values)[:, None]
        nearest = np.where(apart, away, np.inf).min(axis=1)
        gap = self.gap[rows]
        low, high = gap * (1 - SAME_STEP), gap * (1 + SAME_STEP)
        recurs = np.isfinite(gap) & (low <= nearest) & (nearest <= high)
        self.coarse[rows] |= recurs | ~apart.all(axis=1)
        self.gap[rows] = np.minimum(gap, nearest)

    def _place_rank(self, column: int, rows: Integers) -> None:
        """Extend the ranks; every row of the block is given its reading at once."""
        seen, dither = self.values[:, : column + 1], self.dither[:, : column + 1]
        if column == 0:
            self.ranks = np.zeros((self.values.shape[0], 1), dtype=np.int64)
        else:
            self.ranks = extend_ranks(self.ranks, seen, dither)


def _judge_ranks(ranks: Integers, length: int, false_alarm_rate: float) -> Judgement:
    """Judge stretches by the normal scores of their ranks."""
    sums = Sums.of(rank_scores(length)[ranks])
    found = scan(sums, np.zeros(ranks.shape[0]), level_side=LEVEL_SIDE["any"])
    limit = np.broadcast_to(_limit(false_alarm_rate, length, "any"), found.statistic.shape)
    return Judgement(found.statistic, found.split, limit, np.ones(ranks.shape[0], dtype=np.bool_))


def excess(statistic: Floats, length: int, false_alarm_rate: float, ranked: bool) -> tuple[Floats, Floats]:
    """Scores and thresholds of the three kinds, shape (3,), for one row of a judgement."""
    shape: Judged = "any" if ranked else "normal"
    return normal_score(statistic[None, :], length)[0], threshold_scores(false_alarm_rate, length, shape)


@lru_cache(maxsize=8192)
def _limit(false_alarm_rate: float, length: int, shape: Judged) -> Floats:
    """Thresholds on the scale of `scan`."""
    return statistic_limit(threshold_scores(false_alarm_rate, length, shape), length)

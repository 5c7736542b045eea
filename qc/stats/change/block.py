"""Stretches of many series side by side, all of one length, and their judgement at that length."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from qc.stats.change.dependent import ROW, Dependence, Echo, LotPlaces, dependent_scan
from qc.stats.change.evidence import AsLearned
from qc.stats.change.learned_shape import Back, Lean, fit_further, scores_of, slope_of
from qc.stats.change.ranks import extend_ranks, rank_scores
from qc.stats.change.result import Shape
from qc.stats.change.scan import LEVEL, SHORTEST, Sums, largest, normal_score, scan, statistic_limit
from qc.stats.change.thresholds import LEVEL_SIDE, Judged, threshold_scores
from qc.stats.change.whitening import Whitening
from qc.stats.noise import NORMAL, Noise
from qc.stats.numbers import Flags, Floats, Integers

# chosen: above the rounding of a difference of decimals, below any real difference of steps
SAME_STEP = 1e-6  # two gaps this close, relatively, are the same step
NO_STEP = 1e-9  # a gap below this share of the reading is rounding of the arithmetic, not of the gauge
# chosen: below it one step is a third of the reading and more, and no one floor serves the whole log scale
FAR = 3.0  # spreads from the level beyond which a piece counts as odd
SHARE_OF_SINGLES = 0.1  # of the rate, chosen by trial: what is left to odd pieces of the usual kind
FEWEST_STEPS = 3.0  # a positive characteristic whose middle is under so many steps is judged by ranks


@dataclass(frozen=True, slots=True)
class ShapeAndStep:
    """How readings are judged: shape and, where known, the step of the gauge."""

    shape: Shape = "normal"
    resolution: float | None = None


class Judgement(NamedTuple):
    """Statistics of `scan` for some rows, what they had to exceed, and which rows were judged by ranks.

    `single` is the score that a row's newest reading must reach to stand apart alone; 0 where the threshold
    of the level alone decides.
    """

    statistic: Floats
    split: Integers
    limit: Floats
    ranked: Flags
    single: Floats | None = None

    def excess(self, place: int, length: int, false_alarm_rate: float) -> tuple[Floats, Floats]:
        """Scores and thresholds of the three kinds, shape (3,), for one row."""
        shape: Judged = "any" if self.ranked[place] else "normal"
        scores = normal_score(self.statistic[place][None, :], length)[0]
        limits = threshold_scores(false_alarm_rate, length, shape)
        if self.single is not None and self.split[place, LEVEL] == length - 1:
            limits = limits.copy()
            limits[LEVEL] = max(limits[LEVEL], self.single[place])
        return scores, limits


class Block:
    """Stretches of one length, one a row; row 0 alone serves a single series.

    Attributes
    ----------
    values : ndarray, shape (rows, capacity)
        Readings as given.
    gap, coarse : ndarray, shape (rows,)
        Smallest gap between readings of a stretch seen so far in the series, and whether it recurred.
    fits : ndarray, shape (rows, capacity, 2)
        Level and spread under the learned shape, where it is learned; column j is after reading j + 1.
    """

    def __init__(
        self, setting: ShapeAndStep, rows: int, capacity: int, noises: Sequence[Noise] | None = None
    ) -> None:
        self.setting = setting
        self.values = np.empty((rows, capacity))
        self.dither = np.empty((rows, capacity))
        self.ranks = np.zeros((rows, 0), dtype=np.int64)
        self.sums = Sums.empty(rows, capacity)
        self.first = np.zeros(rows)
        self.zero = np.zeros(rows, dtype=np.bool_)
        self.gap = np.full(rows, np.inf)
        self.coarse = np.zeros(rows, dtype=np.bool_)
        self.fits = np.zeros((rows, capacity if self.learned else 0, 2))
        self.lots = LotPlaces(rows, capacity)
        self.learn(noises or [NORMAL] * rows)

    @property
    def learned(self) -> bool:
        """Whether the shape is learned."""
        return self.setting.shape == "auto"

    def learn(self, noises: Sequence[Noise]) -> None:
        """Take what has been learned of each row's noise; it holds from here on."""
        self.noises = list(noises)
        self.lean = Lean.of(self.noises)
        self.odd = np.array([(noise.odd_share, noise.odd_reach) for noise in self.noises])
        self.dependence = Dependence.of(self.noises)
        self.by_lots, self.by_neighbours = self.dependence.by_lots, self.dependence.by_neighbours
        self.echo: Echo | None = None

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
        for name in ("ranks", "first", "zero", "gap", "coarse", "fits", "odd"):
            setattr(self, name, getattr(self, name)[rows])
        self.noises = [self.noises[row] for row in rows]
        self.lean, self.dependence = self.lean.of_rows(rows), self.dependence.of_rows(rows)
        if self.echo is not None:
            self.echo.keep(rows)
        if self.by_lots:
            self.lots.keep(rows)

    def place(
        self, column: int, rows: Integers, values: Floats, dither: Floats, lots: Integers | None = None
    ) -> None:
        """Add the next reading of `rows`, whose stretches held `column` readings; `lots` number its lot."""
        if self.setting.resolution is None and self.setting.shape != "any" and column:
            self._notice_step(column, rows, values)
        self.values[rows, column] = values
        self.dither[rows, column] = dither
        if lots is not None:
            self.lots.place(column, rows, lots)
        if column == 0:
            self.first[rows] = values
        if self.learned:
            self._fit(column, rows)
            return
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

    def refill(
        self, values: Floats, dither: Floats, lots: Integers, fit: Floats | Sequence[float] = (0.0, 0.0)
    ) -> None:
        """Give the only row a whole stretch, bit for bit as if `place` had been told of one after the other.

        `lots` number the lot of each reading, `fit` is that of the learned shape. The step seen so far is
        left as it is.
        """
        length = values.size
        self.values[0, :length], self.dither[0, :length] = values, dither
        if not length:
            return
        for column, number in enumerate(lots):
            self.lots.place(column, ROW, np.array([number]))
        if self.learned:
            self.first[0] = values[0]
            self.fits[0, length - 1] = fit
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
        if self.learned or self.by_lots or self.by_neighbours:
            return self._judge_learned(rows, length, false_alarm_rate)
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
        step = self._steps(rows)
        if self.learned:
            spread = self.fits[rows, length - 1, 1]
            slope = slope_of(self.lean.of_rows(rows))[:, 0]
            step = step * slope / np.where(spread > 0, spread, 1.0)
        if self.setting.shape == "positive":
            # on the log scale the middle reading is the median of the readings
            middle = np.exp(self.first[rows] + self.sums.total[rows, length - 1] / length)
            ranked = self.zero[rows] | (middle < FEWEST_STEPS * step)
            step = step / middle
        return step * step / 12, ranked

    def scale(self, row: int, length: int, ranked: bool) -> Floats:
        """Give the stretch of `row` as it was judged."""
        values = self.values[row, :length]
        if self.learned:
            return np.asarray(self._scores(np.array([row]), length)[0])
        if self.setting.shape == "any" or ranked:
            order = np.lexsort((self.dither[row, :length], values))
            return rank_scores(length)[np.argsort(order)]
        return np.log(values) if self.setting.shape == "positive" else values.copy()

    def learned_of(self, row: int, length: int) -> AsLearned:
        """Give what bears on the evidence beside the readings: shape, and how pieces hang together."""
        rows = np.array([row])
        whitening = back = None
        if self.by_lots or self.by_neighbours:
            lots = self.lots.take(rows, length) if self.by_lots else None
            whitening = Whitening(self.dependence.of_rows(rows), lots, length)
        if self.learned:
            back = Back(float(self.first[row]), self.fits[rows, length - 1], self.lean.of_rows(rows))
        return AsLearned(back, whitening)

    def _steps(self, rows: Integers) -> Floats:
        """Step of the gauge in each row, 0 where none is known."""
        if self.setting.resolution is not None:
            return np.full(rows.size, self.setting.resolution)
        known = self.coarse[rows] & np.isfinite(self.gap[rows])
        return np.where(known, self.gap[rows], 0.0)

    def _fit(self, column: int, rows: Integers) -> None:
        """Fit level and spread under the learned shape, from those of one reading less."""
        if column + 1 < SHORTEST:
            self.fits[rows, column] = 0.0
            return
        centred = self._centred(rows, column + 1)
        step = self._steps(rows)
        last = self.fits[rows, column - 1]
        self.fits[rows, column] = fit_further(centred, last, self.lean.of_rows(rows), step * step / 12)

    def _centred(self, rows: Integers, length: int) -> Floats:
        """Measure readings from the first of their stretch."""
        return np.asarray(self.values[rows, :length] - self.first[rows, None])

    def _scores(self, rows: Integers, length: int) -> Floats:
        """Give the normal scores of readings under the learned shape."""
        return scores_of(self._centred(rows, length), self.fits[rows, length - 1], self.lean.of_rows(rows))

    def _judge_learned(self, rows: Integers, length: int, false_alarm_rate: float) -> Judgement:
        """Judge stretches whose shape is learned or whose pieces hang together."""
        if self.setting.shape == "any":
            scale, floor = rank_scores(length)[self.ranks[rows]], np.zeros(rows.size)
            return self._judge_scale(rows, scale, floor, false_alarm_rate, by_rank=True)
        floor, ranked = self.floor(rows, length)
        if self.learned:
            scale = self._scores(rows, length)
        else:
            scale = self.values[rows, :length]
            if self.setting.shape == "positive":
                scale = np.log(np.where(scale > 0, scale, 1.0))
        found = self._judge_scale(rows, scale, floor, false_alarm_rate, by_rank=False)
        if not ranked.any():
            return found
        few = np.flatnonzero(ranked)
        scale = np.array([self.scale(int(row), length, True) for row in rows[few]])
        by_rank = self._judge_scale(rows[few], scale, np.zeros(few.size), false_alarm_rate, by_rank=True)
        limit = found.limit.copy()
        found.statistic[few], found.split[few], limit[few] = by_rank[:3]
        return found._replace(limit=limit, ranked=ranked)

    def _judge_scale(
        self, rows: Integers, judged: Floats, floor: Floats, false_alarm_rate: float, *, by_rank: bool
    ) -> Judgement:
        """Judge readings on the scale on which they scatter normally, allowing for how they hang together."""
        length = judged.shape[1]
        lots = self.lots.take(rows, length) if self.by_lots else None
        if self.by_neighbours and (self.echo is None or self.echo.capacity < length):
            self.echo = Echo(self.dependence, self.values.shape[1])
        shape: Judged = "any" if by_rank else "normal"
        found, profile = dependent_scan(
            judged,
            floor,
            rows,
            self.dependence.of_rows(rows),
            lots,
            self.echo if self.by_neighbours else None,
            LEVEL_SIDE[shape],
        )
        limit = np.broadcast_to(_limit(false_alarm_rate, length, shape), found.statistic.shape)
        ranked = np.full(rows.size, by_rank)
        if not self.learned:
            return Judgement(found.statistic, found.split, limit, ranked)
        single = self._single_scores(rows, false_alarm_rate)
        # a newest piece that stands apart, but not far enough for how often pieces here do so, raises
        # nothing; the other splits then speak for the level
        alone = (found.split[:, LEVEL] == length - 1) & (found.statistic[:, LEVEL] > limit[:, LEVEL])
        for row in np.flatnonzero(alone & (single > 0)):
            if normal_score(found.statistic[row : row + 1], length)[0, LEVEL] < single[row]:
                rest, split = largest(profile[row : row + 1, :-1], 1)
                found.statistic[row, LEVEL], found.split[row, LEVEL] = rest[0], split[0]
        return Judgement(found.statistic, found.split, limit, ranked, single)

    def _single_scores(self, rows: Integers, false_alarm_rate: float) -> Floats:
        """Scores that a newest reading must reach to stand apart alone; 0 where thresholds alone decide.

        A share p of settled pieces lies beyond three spreads, by theta on average, as if the distances beyond
        were exponential: the score is where a tenth of the rate is left of them.
        """
        share, reach = self.odd[rows].T
        far = FAR + reach * np.log(np.where(share > 0, share, 1.0) / (SHARE_OF_SINGLES * false_alarm_rate))
        return np.asarray(np.where(share > 0, np.maximum(far, 0.0), 0.0))

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


@lru_cache(maxsize=8192)
def _limit(false_alarm_rate: float, length: int, shape: Judged) -> Floats:
    """Thresholds on the scale of `scan`."""
    return statistic_limit(threshold_scores(false_alarm_rate, length, shape), length)

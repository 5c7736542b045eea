"""Courses that a series might take, drawn from its own settled figures, and how soon a change is told.

A course is a settled front, then pieces after a change of level. Both are made of runs of neighbours out of
the settled figures, so that what hangs together there (lots, neighbours) hangs together here; a little
smoothing, by which the spread stays, keeps a figure drawn twice from looking like the step of a gauge. The
detector that judges the series then judges the course, with the same shape, noise, step and rate.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple, cast
from zlib import crc32

import numpy as np

from qc.stats import Floats, Integers, Noise, counts_told_after, told_after
from qc.stats.change import Shape
from qc.watch.results import Point, Scatter, SeriesKey
from qc.watch.worth.results import Delay

SEED = 20_260_101  # stated with every answer; each series adds its own name, so none hangs on its neighbours
COURSES, COUNTED_COURSES = 400, 60
"""Courses of a measured figure, and of a counted one, whose exact chances take longer; the answer states what
error that leaves."""

FRONT, COUNTED_FRONT = (
    50,
    40,
)  # settled pieces before the change; chosen: more changes delays by under a piece
LENGTH, COUNTED_LENGTH = 60, 40  # pieces followed after it; what is told later still is told too late
RUN = 10  # neighbours drawn together; chosen: longer than what hangs together in most series of the sample
LARGEST = 8.0  # sd; the largest change asked about when the least one seen is looked for
NEAR = 0.02  # sd, to which that is told
HALF = 0.5
NORMAL_95 = 1.96  # standard errors on either side that hold 95 % of a normal figure
KEPT = 512  # answers kept in memory: after an upload only the series that it touched are simulated anew


class JudgedBy(NamedTuple):
    """How a measured series is judged: its shape, what was learned of its noise, step of its gauge, rate."""

    shape: Shape
    noise: Noise
    step: float | None
    rate: float

    @classmethod
    def of(cls, scatter: Scatter, rate: float) -> JudgedBy:
        """Return how a series that scatters so is judged at a rate."""
        return cls(cast("Shape", scatter.shape), Noise.from_dict(scatter.noise), scatter.step, rate)


@dataclass(frozen=True, slots=True)
class Courses:
    """Simulated courses of a measured series.

    Attributes
    ----------
    front, after : float array, shape (courses, pieces)
        The pieces before the change and after it, without the change. [unit]
    front_lots, after_lots : int array of the same shapes, or None
        Lots by number, where the series is judged by them.
    mean : float
        Level of the settled figures. [unit]
    judged : JudgedBy
        How the series is judged.
    """

    front: Floats
    after: Floats
    front_lots: Integers | None
    after_lots: Integers | None
    mean: float
    judged: JudgedBy

    def told(self, change: float, *, scatter: float = 1.0, within: int = LENGTH) -> Integers:
        """Return after how many pieces each course is told, 0 where it is not.

        `change` is that of the level [unit]; `scatter` what is left of the spread about it.
        """
        followed = self.after[:, :within] + change / scatter
        laid = self.mean + scatter * (np.hstack([self.front, followed]) - self.mean)
        if self.judged.shape == "positive":
            laid = np.maximum(laid, 0.0)
        lots = None
        if self.front_lots is not None and self.after_lots is not None:
            lots = np.hstack([self.front_lots, self.after_lots[:, :within]])
        return told_after(
            laid,
            self.front.shape[1],
            false_alarm_rate=self.judged.rate,
            shape=self.judged.shape,
            resolution=self.judged.step,
            noise=self.judged.noise,
            lots=lots,
        )

    def least_seen(self, sd: float, within: int, share: float = HALF) -> float | None:
        """Return the least upward change that one course in two tells within so many pieces, in sd.

        `share` is another part of the courses than one in two.
        """
        if self._share(LARGEST * sd, within) < share:
            return None
        low, high = 0.0, LARGEST
        while high - low > NEAR:
            middle = (low + high) / 2
            if self._share(middle * sd, within) < share:
                low = middle
            else:
                high = middle
        return high

    def least_seen_between(self, sd: float, within: int) -> tuple[float | None, float | None]:
        """Return where `least_seen` of endless courses lies, 95 % sure; None beyond the largest change.

        Of so many courses the share that tells a change seen by one in two is out by a standard error of
        sqrt(1/4 / courses).
        """
        reach = NORMAL_95 * HALF / math.sqrt(self.after.shape[0])
        low, high = (self.least_seen(sd, within, share) for share in (HALF - reach, HALF + reach))
        return low, high

    def _share(self, change: float, within: int) -> float:
        return float((self.told(change, within=within) > 0).mean())


@lru_cache(maxsize=KEPT)
def told_courses(
    key: SeriesKey, settled: tuple[Point, ...], judged: JudgedBy, change: float, left: tuple[float, ...]
) -> tuple[Integers, ...]:
    """Return after how many pieces each course is told, for each share that is left of the scatter."""
    courses = courses_of(key, settled, judged)
    # where nothing is known of the gauge the shares are the same, and so are the answers
    found = {share: courses.told(change, scatter=share) for share in dict.fromkeys(left)}
    return tuple(found[share] for share in left)


@lru_cache(maxsize=KEPT)
def told_unchanged(key: SeriesKey, settled: tuple[Point, ...], judged: JudgedBy, within: int) -> float:
    """Return the share of courses told within so many pieces although nothing changes in them."""
    return float((courses_of(key, settled, judged).told(0.0, within=within) > 0).mean())


def courses_of(key: SeriesKey, settled: Sequence[Point], judged: JudgedBy) -> Courses:
    """Draw courses from the settled figures of a measured series."""
    drawn = np.random.default_rng([SEED, crc32(str(key).encode())])
    values = np.array([p.value for p in settled])
    front = min(values.size, FRONT)
    which, runs = _runs(drawn, values.size, COURSES, front + LENGTH)
    laid = _smoothed(drawn, values, which, logs=judged.shape == "positive" and bool((values > 0).all()))
    numbers = None
    if any(p.lot for p in settled):
        names = [p.lot or p.serial for p in settled]
        codes = {name: code for code, name in enumerate(dict.fromkeys(names))}
        own = np.array([codes[name] for name in names], dtype=np.int64)
        numbers = own[which] + runs * len(codes)  # a lot drawn twice is two lots
    return Courses(
        laid[:, :front],
        laid[:, front:],
        None if numbers is None else numbers[:, :front],
        None if numbers is None else numbers[:, front:],
        float(values.mean()),
        judged,
    )


@lru_cache(maxsize=KEPT)
def counted_told(
    key: SeriesKey, kind: str, settled: tuple[Point, ...], rate: float, before: float, after: float
) -> Integers:
    """Return after how many pieces each course of a counted figure is told, 0 where it is not.

    `before` and `after` are faults a unit of size, or the share of failed pieces.
    """
    drawn = np.random.default_rng([SEED, crc32(str(key).encode())])
    sizes = np.array([p.size or 1.0 for p in settled])
    front = min(len(settled), COUNTED_FRONT)
    which, _ = _runs(drawn, len(settled), COUNTED_COURSES, front + COUNTED_LENGTH)
    on = sizes[which]
    level = np.where(np.arange(on.shape[1]) < front, before, after)
    if kind == "pass-fail":
        counts = drawn.binomial(np.rint(on).astype(np.int64), np.minimum(level, 1.0))
    else:
        counts = drawn.poisson(level * on)
    found = []
    for row, size in zip(counts, on, strict=True):
        found.append(counts_told_after(row, size, front, rate, pass_fail=kind == "pass-fail"))
    return np.array(found, dtype=np.int64)


def delay_of(told: Integers, length: int, every: int = 1) -> Delay:
    """Return the median delay of simulated courses with the error that their number leaves.

    Parameters
    ----------
    told : int array
        As `Courses.told` gives it.
    length : int
        Pieces that each course was followed for.
    every : int
        Only each so many-th piece is measured; the change comes before any of them alike.

    References
    ----------
    .. [1] Interval of a median by order statistics, their ranks by the normal approximation: H. A. David & H.
       N. Nagaraja, "Order Statistics", section 7.1; from memory. Its coverage is counted in the tests.

    Examples
    --------
    >>> delay_of(np.array([1, 2, 2, 3, 0] * 20), 60)
    Delay(pieces=2, low=2, high=3, courses=100, length=60)
    """
    n = told.size
    measured = np.where(told > 0, told, length + 1)
    # a change as often comes just before a piece that is measured as just after one
    made = every * measured - np.arange(n) % every
    ordered = np.sort(np.where(told > 0, made, every * length + 1))
    half = 1.96 * math.sqrt(n) / 2
    ranks = (n / 2 - half, n / 2, n / 2 + 1 + half)
    places = [min(max(math.ceil(rank), 1), n) - 1 for rank in ranks]
    low, middle, high = (int(ordered[place]) for place in places)
    last = every * length
    return Delay(
        middle if middle <= last else None,
        low if low <= last else None,
        high if high <= last else None,
        n,
        last,
    )


def _runs(drawn: np.random.Generator, settled: int, courses: int, pieces: int) -> tuple[Integers, Integers]:
    """Draw runs of neighbours round the ring of the settled pieces; say of each piece which run it is of."""
    many = math.ceil(pieces / RUN)
    begins = drawn.integers(0, settled, size=(courses, many))
    which = (begins[:, :, None] + np.arange(RUN)) % settled
    runs = np.broadcast_to(np.arange(many)[None, :, None], which.shape)
    return which.reshape(courses, -1)[:, :pieces], runs.reshape(courses, -1)[:, :pieces]


def _smoothed(drawn: np.random.Generator, values: Floats, which: Integers, *, logs: bool) -> Floats:
    """Take the pieces drawn, each moved a little, and draw all together so that their spread stays.

    The smoothed bootstrap with its variance kept: B. W. Silverman & G. A. Young, Biometrika 74 (1987),
    469-479, from memory; width of the movement by Silverman's rule, 0.9 sd n^(-1/5).
    """
    scale = np.log(values) if logs else values
    mean, sd = float(scale.mean()), float(scale.std(ddof=1))
    width = 0.9 * values.size**-0.2
    moved = scale[which] - mean + width * sd * drawn.standard_normal(which.shape)
    laid = mean + moved / math.sqrt(1 + width**2)
    return np.exp(laid) if logs else np.asarray(laid)

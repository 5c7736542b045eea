"""The detector's scans where pieces hang together: pieces of one lot, and neighbours.

Both make the mean of a few pieces wander further than independent pieces would let it, so that a step is seen
where none is. What is learned of it (`qc.stats.noise`) is allowed for in two ways:

- *Lots* (pieces of one batch, bath or set-up): a share rho of the variance lies between lots. Generalised
  least squares gives the two-sample t of a step in readings so related; with g = rho / (1 + (m - 1) rho)
  for a lot of m pieces so far, x' V^-1 y = (sum x y - sum over lots of g (sum x)(sum y)) / (1 - rho).
- *Neighbours*: pieces k apart have the correlation a phi^k. The variance of a sum of j of them is V(j) = j +
  2 a phi / (1 - phi) (j - (1 - phi^j) / (1 - phi)). The squared t of a step is divided by how much wider the
  difference of two means then scatters, and by how much narrower the two sides scatter within.

A change of the spread and a climb are looked for in the innovations: what each piece adds to a forecast from
the pieces before it, in standard deviations. Where both are at work the innovations of the lots go on to
those of the neighbours.

References
----------
.. [1] Searle, Casella & McCulloch, "Variance Components", 1992: inverse of the covariance of lots (from
   memory).
.. [2] Harvey, "Forecasting, Structural Time Series Models and the Kalman Filter", 1989, ch. 3: innovations of
   a first-order process under white noise (from memory).
.. [3] Bayley & Hammersley, "The 'effective' number of independent observations in an autocorrelated time
   series", J. Royal Statistical Society Suppl. 8 (1946), 184-197: the variance of a mean (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from qc.stats.change.scan import Scan, Sums, level_profile, ratio, scan_of, shortage, split_squares
from qc.stats.noise import Noise
from qc.stats.numbers import Floats, Integers

# chosen: nearer to 1 all pieces are one, and nothing could be said of a change
LARGEST_SHARE = 0.95
# house rule by trial: however much the pieces hang together, this share of the degrees of freedom stays
LEAST_WITHIN = 0.3
ROW = np.zeros(1, dtype=np.int64)  # of a single series


@dataclass(frozen=True, slots=True)
class Dependence:
    """How the pieces of each row hang together, shape (rows, 1): rho, and a and phi of the neighbours."""

    lots: Floats
    echo: Floats
    fade: Floats

    @classmethod
    def of(cls, noises: list[Noise]) -> Dependence:
        """Take them from what was learned of each row."""
        taken = [
            [min(noise.lots, LARGEST_SHARE), min(noise.echo, LARGEST_SHARE), min(noise.fade, LARGEST_SHARE)]
            for noise in noises
        ]
        lots, echo, fade = np.array(taken).T[:, :, None]
        return cls(lots, np.where(fade > 0, echo, 0.0), np.where(echo > 0, fade, 0.0))

    def of_rows(self, rows: Integers) -> Dependence:
        """Take some rows."""
        return Dependence(self.lots[rows], self.echo[rows], self.fade[rows])

    @property
    def by_lots(self) -> bool:
        """Whether lots are at work in any row."""
        return bool((self.lots > 0).any())

    @property
    def by_neighbours(self) -> bool:
        """Whether neighbours hang together in any row."""
        return bool((self.echo > 0).any())


class Lots:
    """Which pieces of each row share a lot, shape (rows, n).

    Attributes
    ----------
    first : ndarray of int
        Column of the first piece of the same lot.
    place : ndarray of int
        1 for the first piece of a lot, 2 for the second ...
    """

    def __init__(self, first: Integers, place: Integers) -> None:
        self.first, self.place = first, place
        rows, n = first.shape
        self._bins = (first + n * np.arange(rows)[:, None]).ravel()
        self.size = self._gathered(np.ones(first.shape))

    def totals(self, values: Floats) -> Floats:
        """Give for each piece the sum of its whole lot."""
        return self._gathered(values)

    def before(self, values: Floats) -> Floats:
        """Give for each piece the sum of the pieces of its lot that were made before it."""
        n = self.first.shape[1]
        # pieces of one lot side by side, each lot in order of making
        order = np.argsort(self.first, axis=1, kind="stable")
        sorted_values = np.take_along_axis(values, order, axis=1)
        place = np.take_along_axis(self.place, order, axis=1)
        running = np.cumsum(sorted_values, axis=1) - sorted_values
        begins = np.maximum.accumulate(np.where(place == 1, np.arange(n), 0), axis=1)
        earlier = running - np.take_along_axis(running, begins, axis=1)
        out = np.empty(values.shape)
        np.put_along_axis(out, order, np.where(place == 1, 0.0, earlier), axis=1)
        return out

    def _gathered(self, values: Floats) -> Floats:
        rows, n = self.first.shape
        sums = np.bincount(self._bins, weights=values.ravel(), minlength=rows * n)
        return np.asarray(sums[self._bins].reshape(rows, n))


def lot_numbers(lots: Sequence[str | None] | None, size: int) -> Integers:
    """Give each piece the number of its lot; a piece without one is a lot of its own."""
    if lots is None:
        return np.arange(size)
    known: dict[str, int] = {}
    return np.array(
        [point if lot is None else known.setdefault(lot, point) for point, lot in enumerate(lots)],
        dtype=np.int64,
    )


class LotPlaces:
    """The lots of stretches that grow, one a row.

    Parameters
    ----------
    rows, capacity : int
        Stretches, and readings there is room for.
    """

    def __init__(self, rows: int, capacity: int) -> None:
        self.numbers = np.zeros((rows, capacity), dtype=np.int64)
        self.firsts = np.zeros((rows, capacity), dtype=np.int64)
        self.places = np.zeros((rows, capacity), dtype=np.int64)

    def place(self, column: int, rows: Integers, numbers: Integers) -> None:
        """Take the lot of the next reading of `rows`, which held `column` readings."""
        self.numbers[rows, column] = numbers
        same = self.numbers[rows, : column + 1] == np.asarray(numbers)[:, None]
        self.firsts[rows, column] = same.argmax(axis=1)
        self.places[rows, column] = same.sum(axis=1)

    def take(self, rows: Integers, length: int) -> Lots:
        """Lots of the first `length` readings of `rows`."""
        return Lots(self.firsts[rows, :length], self.places[rows, :length])

    def keep(self, rows: Integers) -> None:
        """Drop all but some rows."""
        self.numbers, self.firsts, self.places = self.numbers[rows], self.firsts[rows], self.places[rows]


class Echo:
    """What neighbours that hang together do to the statistics, for stretches of up to `capacity` readings.

    Parameters
    ----------
    dependence : Dependence
        a and phi of each row.
    capacity : int
        Longest stretch.
    """

    def __init__(self, dependence: Dependence, capacity: int) -> None:
        a, phi = dependence.echo, dependence.fade
        self.capacity = capacity
        j = np.arange(1.0, capacity + 1)
        self._variance = j + 2 * a * phi / (1 - phi) * (j - (1 - phi**j) / (1 - phi))
        self._fade = phi[:, 0]
        if a.shape[0] == 1:
            self._gain, self._width = _forecasts_of_one(float(a[0, 0]), float(phi[0, 0]), capacity)
            return
        self._gain = np.empty((capacity, a.shape[0]))
        self._width = np.empty((capacity, a.shape[0]))
        share, fade = a[:, 0], phi[:, 0]
        doubt = share  # variance of the process, forecast from the pieces before
        for column in range(capacity):
            whole = doubt + (1 - share)
            self._gain[column], self._width[column] = doubt / whole, np.sqrt(whole)
            doubt = fade * fade * doubt * (1 - doubt / whole) + share * (1 - fade * fade)

    def keep(self, rows: Integers) -> None:
        """Drop all but some rows."""
        self._variance, self._fade = self._variance[rows], self._fade[rows]
        self._gain, self._width = self._gain[:, rows], self._width[:, rows]

    def factor(self, rows: Integers, length: int) -> Floats:
        """Factor of the squared t of independent readings at each split, shape (rows, n - 1)."""
        n = length
        variance = self._variance[rows, :n]
        before, after, whole = variance[:, :-1], variance[:, -2::-1], variance[:, -1:]
        k = np.arange(1.0, n)
        left = n - k
        within = np.maximum(n - before / k - after / left, LEAST_WITHIN * (n - 2))
        apart = before / (k * k) + after / (left * left) - (whole - before - after) / (k * left)
        return np.asarray((1 / k + 1 / left) * within / (n - 2) / apart)

    def innovations(self, centred: Floats, rows: Integers) -> Floats:
        """Take from each reading its forecast, shape (rows, n); `centred` are measured from the level."""
        n = centred.shape[1]
        if centred.shape[0] == 1:
            return self._innovations_of_one(centred, int(rows[0]))
        out = np.empty((n, centred.shape[0]))
        gain, fade, columns = self._gain[:n, rows], self._fade[rows], np.ascontiguousarray(centred.T)
        forecast = np.zeros(centred.shape[0])
        for column in range(n):
            missed = columns[column] - forecast
            out[column] = missed
            forecast = fade * (forecast + gain[column] * missed)
        return np.ascontiguousarray((out / self._width[:n, rows]).T)

    def _innovations_of_one(self, centred: Floats, row: int) -> Floats:
        """Do the same for one row, without the cost of an array a reading."""
        n = centred.shape[1]
        fade, forecast = float(self._fade[row]), 0.0
        out = []
        for value, gain in zip(centred[0].tolist(), self._gain[:n, row].tolist(), strict=True):
            missed = value - forecast
            out.append(missed)
            forecast = fade * (forecast + gain * missed)
        return np.array([out]) / self._width[:n, row]


@lru_cache(maxsize=64)
def _forecasts_of_one(share: float, fade: float, capacity: int) -> tuple[Floats, Floats]:
    """Return gain and width of the forecasts of one row: the same for each stretch of a series."""
    gain, width, doubt = [], [], share
    for _ in range(capacity):
        whole = doubt + (1 - share)
        gain.append([doubt / whole])
        width.append([math.sqrt(whole)])
        doubt = fade * fade * doubt * (1 - doubt / whole) + share * (1 - fade * fade)
    return np.array(gain), np.array(width)


class LotsStep(NamedTuple):
    """Generalised least squares of a step in readings that come in lots; splits as in `Splits`.

    `between` and `within` are sums of squares as of independent readings, `level` is the mean without a step,
    `weight` what a step's own sum of squares is, all shape (rows, n - 1) or (rows, 1).
    """

    between: Floats
    whole: Floats
    level: Floats
    weight: Floats


def step_by_lots(centred: Floats, rho: Floats, lots: Lots) -> LotsStep:
    """Fit a step at every split to readings that come in lots.

    Parameters
    ----------
    centred : ndarray, shape (rows, n)
        Readings, measured from anywhere near their level.
    rho : ndarray, shape (rows, 1)
        Share of the variance between lots.
    lots : Lots
        Of the same rows.
    """
    g = rho / (1 + (lots.size - 1) * rho)
    total = lots.totals(centred)
    # what each piece adds to 1'V^-1 1, 1'V^-1 y and, counted from the last piece of its lot, s'V^-1 s
    ones, ys = 1 - g * lots.size, centred - g * total
    from_end = lots.size - lots.place + 1
    own = 1 - g * (2 * from_end - 1)
    ones, ys, own = np.cumsum(ones, axis=1), np.cumsum(ys, axis=1), np.cumsum(own, axis=1)
    all_ones, all_ys = ones[:, -1:], ys[:, -1:]
    after, cross = all_ones - ones[:, :-1], all_ys - ys[:, :-1]
    weight = own[:, -1:] - own[:, :-1] - after * after / all_ones
    effect = cross - after * (all_ys / all_ones)
    squares = (centred * (centred - g * total)).sum(axis=1, keepdims=True)
    whole = np.maximum(squares - all_ys * all_ys / all_ones, 0.0)
    scale = 1 - rho
    return LotsStep(effect * effect / weight / scale, whole / scale, all_ys / all_ones, weight / scale)


def lots_innovations(centred: Floats, rho: Floats, lots: Lots) -> Floats:
    """Take from each piece its forecast by the earlier ones of its lot; the rest is as wide as all pieces.

    `centred` are readings measured from the level, shape (rows, n).
    """
    place = lots.place
    c = rho / (1 + (place - 2) * rho)
    return np.asarray((centred - c * lots.before(centred)) / np.sqrt(1 - (place - 1) * rho * c))


def dependent_scan(
    judged: Floats,
    floor: Floats,
    rows: Integers,
    dependence: Dependence,
    lots: Lots | None,
    echo: Echo | None,
    side: int,
) -> tuple[Scan, Floats]:
    """Scan stretches whose pieces hang together, as `scan` does those of independent ones.

    Parameters
    ----------
    judged : ndarray, shape (rows, n)
        Readings as they are judged.
    floor : ndarray, shape (rows,)
        Least variance of readings within a part of a stretch.
    rows : ndarray of int
        Rows of `echo` that these are.
    dependence : Dependence
        What was learned of these rows.
    lots, echo : Lots, Echo or None
        None: they are not at work in any row.
    side : int
        Fewest readings on each side of a step.

    Returns
    -------
    Scan
        Statistics and splits.
    ndarray, shape (rows, n + 1 - 2 side)
        Squared t of a step at each split.
    """
    n = judged.shape[1]
    sums = Sums.of(judged)
    parts = split_squares(sums)
    profile = level_profile(parts, floor, side)
    centred = judged - judged[:, :1]
    level = centred.sum(axis=1, keepdims=True) / n
    innovations = centred - level
    if lots is not None:
        step = step_by_lots(innovations, dependence.lots, lots)
        inner = slice(side - 1, n - side)
        between = step.between[:, inner]
        within = step.whole - between + shortage(parts, floor, side)
        profile = ratio(between, within, step.whole) * (n - 2)
        innovations = lots_innovations(innovations - step.level, dependence.lots, lots)
    if echo is not None:
        profile = profile * echo.factor(rows, n)[:, side - 1 : n - side]
        innovations = echo.innovations(innovations, rows)
    if lots is not None or echo is not None:
        sums = Sums.of(innovations)
        parts = split_squares(sums)
    return scan_of(profile, sums, parts, floor, side), profile

"""Settled stretches of many series laid end to end, so that a pool is worked through in a few passes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.noise.scatter import Settled
from qc.stats.numbers import Flags, Floats, Integers, as_readings, dither_of

SHORTEST = 4  # the fourth L-moment needs four readings
SAME = 1e-9  # a gap below this share of the reading is rounding of the arithmetic, not of the gauge
# chosen: from there on ties bend the fourth L-moment ratio by more than the margin put upon it
COARSE = 0.5  # step of the gauge in standard deviations from which tied readings are spread


@dataclass(frozen=True, slots=True)
class Laid:
    """Stretches end to end.

    Attributes
    ----------
    values, dither : ndarray, shape (pieces,)
        Readings in order of making, and what decides between equal ones of a stretch.
    lot : ndarray of int, shape (pieces,)
        Number of the lot, another one in every stretch; a piece without one has a number of its own.
    stretch : ndarray of int, shape (pieces,)
        Stretch of each piece.
    series, sizes, first : ndarray of int, shape (stretches,)
        Series of each stretch, its pieces and the place of its first piece.
    recorded : ndarray of bool, shape (stretches,)
        Whether its lots are recorded.
    step : ndarray, shape (stretches,)
        Step of the gauge as given, nan where it was not.
    count : int
        Series in the pool, those without a stretch too.
    """

    values: Floats
    dither: Floats
    lot: Integers
    stretch: Integers
    series: Integers
    sizes: Integers
    first: Integers
    recorded: Flags
    step: Floats
    count: int

    def over_series(self, of_stretch: Floats) -> Floats:
        """Sum figures of the stretches over each series."""
        # without any stretch the count is of whole numbers
        return np.bincount(self.series, of_stretch, self.count).astype(np.float64)

    def over_stretches(self, of_piece: Floats) -> Floats:
        """Sum figures of the pieces over each stretch."""
        return np.bincount(self.stretch, of_piece, self.sizes.size).astype(np.float64)

    def without_newest(self, pieces: int) -> Laid:
        """Leave out the last so many pieces of every series."""
        of_piece = self.series[self.stretch]
        ends = np.searchsorted(of_piece, np.arange(self.count), side="right")
        return _kept(self, np.arange(of_piece.size) < ends[of_piece] - pieces)


def lay(pool: Sequence[tuple[str, Sequence[Settled]]]) -> Laid:
    """Lay the stretches of series end to end; those that teach nothing are left out.

    Parameters
    ----------
    pool : sequence of (name, stretches)
        Series and their settled stretches in order of making.

    Raises
    ------
    StatisticsError
        A reading that is not a finite number, a step that is not above 0, or labels or lots that are not as
        many as the readings.
    """
    parts, lots, series, recorded, step = [], [], [], [], []
    labels: list[object] = []
    for i, (name, stretches) in enumerate(pool):
        for number, settled in enumerate(stretches, start=1):
            values, given = _checked(settled, f"noise of {name}, stretch {number}"), settled.lots
            parts.append(values)
            labels.extend(settled.labels)
            lots.append(_numbered(given, values.size))
            series.append(i)
            recorded.append(given is not None)
            step.append(np.nan if settled.step is None else float(settled.step))
    sizes = np.array([part.size for part in parts], dtype=np.int64)
    stretch = np.repeat(np.arange(sizes.size), sizes)
    values = _as_equal(np.concatenate([*parts, np.empty(0)]), stretch)
    first = np.cumsum(sizes) - sizes
    laid = Laid(
        values,
        _dither(values, stretch, labels),
        np.concatenate([*lots, np.empty(0, dtype=np.int64)]) + first[stretch],
        stretch,
        np.array(series, dtype=np.int64),
        sizes,
        first,
        np.array(recorded, dtype=np.bool_),
        np.array(step, dtype=np.float64),
        len(pool),
    )
    return _kept(laid, np.ones(values.size, dtype=np.bool_))


def blom_scores(laid: Laid) -> Floats:
    """Return the normal scores of the readings within each stretch, in order of making.

    References
    ----------
    .. [1] Blom, "Statistical Estimates and Transformed Beta-Variables", 1958: plotting position
       (rank - 3/8) / (n + 1/4).
    """
    order = np.lexsort((laid.dither, laid.values, laid.stretch))
    rank = np.empty(order.size)
    rank[order] = np.arange(order.size) - laid.first[laid.stretch] + 1
    return np.asarray(special.ndtri((rank - 0.375) / (laid.sizes[laid.stretch] + 0.25)))


def spread_ties(laid: Laid) -> Floats:
    """Put the readings of each stretch in order; those of a coarse gauge are spread evenly over its step.

    Evenly, not at random, as the order among them says nothing about the shape. At a step of 1.5 standard
    deviations normal readings have an L-kurtosis of 0.19 as they are read, 0.14 spread, and 0.12 unrounded
    (by simulation): what is left passes for slightly longer tails.
    """
    order = np.lexsort((laid.values, laid.stretch))
    ordered = laid.values[order]
    if not ordered.size:
        return ordered
    apart = _apart(ordered, laid.stretch)
    step = _steps(laid, ordered, apart)
    mean = laid.over_stretches(ordered) / laid.sizes
    variance = laid.over_stretches((ordered - mean[laid.stretch]) ** 2) / (laid.sizes - 1)
    step[~(step > COARSE * np.sqrt(variance))] = 0.0
    group = np.cumsum(apart) - 1
    tied = np.bincount(group)
    start = np.flatnonzero(apart)
    place = (np.arange(ordered.size) - start[group] + 0.5) / tied[group] - 0.5
    return np.asarray(ordered + step[laid.stretch] * place)


def _steps(laid: Laid, ordered: Floats, apart: Flags) -> Floats:
    """Step of the gauge: the given one, or the smallest gap of a series that holds equal readings."""
    beside = laid.stretch[1:] == laid.stretch[:-1]
    of_gap = laid.series[laid.stretch[1:]]
    gap = np.full(laid.count, np.inf)
    np.minimum.at(gap, of_gap[beside & apart[1:]], np.diff(ordered)[beside & apart[1:]])
    recurs = np.bincount(of_gap[beside & ~apart[1:]], minlength=laid.count) > 0
    seen = np.where(recurs & np.isfinite(gap), gap, 0.0)[laid.series]
    return np.where(np.isnan(laid.step), seen, laid.step)


def _apart(ordered: Floats, stretch: Integers) -> Flags:
    """Whether each ordered reading differs from the one before it, or begins a stretch."""
    gap = np.diff(ordered, prepend=-np.inf) > SAME * np.abs(ordered)
    gap[1:] |= stretch[1:] != stretch[:-1]
    return gap


def _as_equal(values: Floats, stretch: Integers) -> Floats:
    """Make readings of a stretch equal that differ by the rounding of the arithmetic alone.

    Figures that were worked out, such as a length from the same notes, differ in their last bits from one
    processor to the next; the order of their ranks, and with it what is learned, must not.
    """
    if not values.size:
        return values
    order = np.lexsort((values, stretch))
    ordered, home = values[order], stretch[order]
    largest = np.zeros(int(home[-1]) + 1)
    np.maximum.at(largest, home, np.abs(ordered))
    begins = np.diff(ordered, prepend=-np.inf) > SAME * largest[home]
    begins[1:] |= home[1:] != home[:-1]
    equal = np.empty(values.size)
    equal[order] = ordered[np.maximum.accumulate(np.where(begins, np.arange(order.size), 0))]
    return equal


def _dither(values: Floats, stretch: Integers, labels: Sequence[object]) -> Floats:
    """Give tied readings their fraction of a step; all others need none."""
    dither = np.zeros(values.size)
    order = np.lexsort((values, stretch))
    same = (values[order][1:] == values[order][:-1]) & (stretch[order][1:] == stretch[order][:-1])
    tied = np.concatenate([same, [False]]) | np.concatenate([[False], same])
    for place in order[tied[: order.size]]:
        dither[place] = dither_of(labels[place])
    return dither


def _numbered(lots: Sequence[str | None] | None, size: int) -> Integers:
    """Give each lot of a stretch a number: the place of their first piece."""
    if lots is None:
        return np.arange(size)
    seen: dict[str, int] = {}
    return np.array(
        [i if lot is None else seen.setdefault(lot, i) for i, lot in enumerate(lots)], dtype=np.int64
    )


def _checked(settled: Settled, what: str) -> Floats:
    """Take the readings of a stretch, or refuse it and say where and why."""
    values = as_readings(settled.values, what, least=0)
    for name, beside in (("labels", settled.labels), ("lots", settled.lots)):
        if beside is not None and len(beside) != values.size:
            raise StatisticsError(f"{what}: {len(beside)} {name} for {values.size} readings")
    if settled.step is not None and not 0 < settled.step < np.inf:
        raise StatisticsError(f"{what}: the step of the gauge is {settled.step}, must be above 0")
    return values


def _kept(laid: Laid, keep: Flags) -> Laid:
    """Keep some pieces, of stretches that then still hold enough and whose readings differ."""
    kept = np.bincount(laid.stretch[keep], minlength=laid.sizes.size)
    low, high = np.full(kept.size, np.inf), np.full(kept.size, -np.inf)
    np.minimum.at(low, laid.stretch[keep], laid.values[keep])
    np.maximum.at(high, laid.stretch[keep], laid.values[keep])
    teaches = (kept >= SHORTEST) & (high - low > SAME * np.maximum(np.abs(low), np.abs(high)))
    keep = keep & teaches[laid.stretch]
    sizes = kept[teaches]
    return Laid(
        laid.values[keep],
        laid.dither[keep],
        laid.lot[keep],
        np.repeat(np.arange(sizes.size), sizes),
        laid.series[teaches],
        sizes,
        np.cumsum(sizes) - sizes,
        laid.recorded[teaches],
        laid.step[teaches],
        laid.count,
    )

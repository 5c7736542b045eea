"""Pieces judged about a line of wear that was settled before and is learned no further."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from scipy import special

from qc.stats.change import SIZE_CONFIDENCE, Z_LARGEST, DetectorSignal, Kind, detect, rates_of
from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, Integers, Values
from qc.stats.wear.bends import RAMP_SIDE, bend_threshold, crossing_score
from qc.stats.wear.breaks import check_pairs, wear_break
from qc.stats.wear.line import named, placed, recursive_residuals, step_of
from qc.stats.wear.tools import detect_wear

# more than one together, as both mostly answer to the same pieces; simulated in
# `tests/simulation/wear_rates.py`
LEVEL_SHARE, CLIMB_SHARE = 0.75, 0.65
"""Shares of the false-alarm rate; the spread has the tenth that it has in `detect`."""

LEAST_SETTLED = 4
"""Fewer pieces are no line with a spread about it."""

SUFFIXES = 0.64
"""Chance of a first crossing at a piece, over z times the normal density at z; see `level_threshold`."""


class _Settled(NamedTuple):
    """The settled line: middle and squares of its counts, height there, slope, squares left, pieces."""

    middle: float
    width: float
    height: float
    slope: float
    left: float
    pieces: int
    least: float

    @classmethod
    def of(cls, x: Floats, y: Floats, least: float) -> _Settled:
        """Lay the line through the pieces given."""
        middle = float(x.mean())
        width = float(((x - middle) ** 2).sum())
        slope = float((x - middle) @ y) / width
        left = y - y.mean() - slope * (x - middle)
        return cls(middle, width, float(y.mean()), slope, float(left @ left), x.size, least)

    def seen(self, by: Departure) -> tuple[Floats, Floats]:
        """Score and standard error of each estimate, the doubt about the line itself included."""
        # the newest pieces lend their own scatter to the estimate: a settled line of few pieces knows too
        # little of it
        degrees = self.pieces - 2 + by.pieces - 1
        spread = np.maximum((self.left + by.left) / degrees, max(self.least, float(np.finfo(float).tiny)))
        error = np.sqrt(spread * (by.own + by.at_one**2 / self.pieces + by.at_count**2 / self.width))
        tail = special.stdtr(degrees, -np.abs(by.estimate) / error)
        return np.minimum(-special.ndtri(np.maximum(tail, 1e-300)), Z_LARGEST), error


class Departure(NamedTuple):
    """How the newest pieces leave the line, for each place where they may have begun to.

    `first` counts the pieces before; `estimate` is a mean distance or a climb a count, of variance `own`
    times that of a reading, and takes on `at_one` times the line's error of height and `at_count` times that
    of its slope; `left` is the sum of squares it leaves among its `pieces`; `reach` turns it into a distance
    at the newest piece.
    """

    first: Integers
    pieces: Floats
    estimate: Floats
    own: Floats
    at_one: Floats
    at_count: Floats
    left: Floats
    reach: Floats


def detect_settled_line(
    count: Values,
    value: Values,
    settled: int,
    *,
    false_alarm_rate: float | Values = 0.001,
    resolution: float | None = None,
) -> tuple[DetectorSignal, ...]:
    """Find where the pieces of one fitting left the line through its first `settled` ones.

    Parameters
    ----------
    count : sequence of float, length n
        Pieces since the tool was fitted, never falling. [pieces]
    value : sequence of float, length n
        Readings in order of making. [unit of the characteristic]
    settled : int
        So many pieces at the front are the settled state: the line is laid through them alone and they raise
        nothing.
    false_alarm_rate, resolution
        As for `detect`.

    Returns
    -------
    tuple of DetectorSignal
        In order. Once the settled line is left, later pieces are judged as `detect_wear` judges them.

    Raises
    ------
    StatisticsError
        Different lengths, an entry that is not finite, or too few settled pieces to lay a line.

    Notes
    -----
    After each piece the newest 1, 2, 3 ... pieces are held against the line: their mean distance from it, and
    the climb of the ramp on which they leave it, each over its own standard error of prediction, which holds
    the scatter of those pieces and the doubt about the settled line where they lie. The doubt is shared by
    all later pieces, so far beyond the settled counts fewer false signals are raised than were allowed.

    Examples
    --------
    >>> wear = [0.01 * i + 0.002 * (i % 3) for i in range(30)]
    >>> jump = wear[:24] + [v + 0.02 for v in wear[24:]]
    >>> [(s.kind, s.start, s.point) for s in detect_settled_line(range(30), jump, 20)]
    [('shift', 25, 25)]
    """
    x, y = check_pairs(count, value)
    rates = rates_of(false_alarm_rate, x.size)
    if settled < LEAST_SETTLED or np.unique(x[:settled]).size < 2:
        raise StatisticsError(f"{settled} settled pieces make no line: name at least {LEAST_SETTLED}")
    step = resolution or step_of(y)
    signals, end = _until_left(x, y, settled, rates, step)
    signals += [s for s in _spreads(x, y, settled, rates, step) if s.point <= end]
    rest = (
        detect_wear(x[end:], y[end:], false_alarm_rate=rates[end:], resolution=step) if end < x.size else ()
    )
    places = range(end, x.size)
    signals += [named(signal, places) for tool in rest for signal in tool.detection.signals]
    return tuple(sorted(signals, key=lambda signal: signal.point))


@lru_cache(maxsize=4096)
def level_threshold(rate: float) -> float:
    """Score that the mean of some newest pieces first exceeds at a piece with this chance, the line known.

    Simulated in `tests/simulation/wear_rates.py`.

    Examples
    --------
    >>> 3.5 < level_threshold(0.001) < 3.8
    True
    """
    return crossing_score(SUFFIXES, rate)


def _until_left(
    x: Floats, y: Floats, settled: int, rates: Floats, step: float | None
) -> tuple[list[DetectorSignal], int]:
    """Judge piece after piece; return what was raised and the piece up to which the line was judged."""
    line = _Settled.of(x[:settled], y[:settled], (step or 0.0) ** 2 / 12)
    off = y - line.height - line.slope * (x - line.middle)
    kept: list[int] = []
    signals: list[DetectorSignal] = []
    # one piece apart waits for the next: on the same side it begins a shift, else it is told and left out
    waiting: DetectorSignal | None = None
    for newest in range(settled, x.size):
        kept.append(newest)
        seen = _judge(line, x, off, kept, settled, float(rates[newest]))
        if waiting is not None:
            if seen is not None and seen.side == waiting.side:
                both = replace(
                    seen, point=waiting.point, start=min(seen.start, waiting.start), confirmed=newest + 1
                )
                return [*signals, _measured(x, y, both, newest + 1, settled, step)], newest + 1
            signals.append(waiting)
            kept.remove(waiting.point - 1)
            seen, waiting = _judge(line, x, off, kept, settled, float(rates[newest])), None
        if seen is None:
            continue
        if seen.kind != "single":
            return [*signals, _measured(x, y, seen, newest + 1, settled, step)], newest + 1
        waiting = seen
    return signals + ([] if waiting is None else [waiting]), x.size


def _judge(
    line: _Settled, x: Floats, off: Floats, kept: Sequence[int], settled: int, rate: float
) -> DetectorSignal | None:
    """Hold the newest pieces against the line; what is furthest beyond its threshold has the word."""
    at = np.array(kept)
    u, e = x[at] - line.middle, off[at]
    # a ramp begins at the count of the piece before, where the line was last known to hold
    knots = np.concatenate([[x[settled - 1] - line.middle], u[:-1]])
    asked: list[tuple[Kind, Departure, float]] = [
        ("shift", _levels(u, e), level_threshold(rate * LEVEL_SHARE)),
        ("trend", _climbs(u, e, knots), bend_threshold(rate * CLIMB_SHARE)),
    ]
    raised = [_strongest(line, by, kind, limit, at) for kind, by, limit in asked if by.first.size]
    beyond = [signal for signal in raised if signal.score > signal.threshold]
    return max(beyond, key=lambda signal: signal.score - signal.threshold, default=None)


def _strongest(line: _Settled, by: Departure, kind: Kind, limit: float, at: Integers) -> DetectorSignal:
    """Say where the pieces of one departure speak loudest, whether or not beyond the limit."""
    scores, errors = line.seen(by)
    top = int(scores.argmax())
    first, size = int(by.first[top]), float(by.estimate[top] * by.reach[top])
    quantile = float(special.stdtrit(line.pieces - 2, 0.5 + SIZE_CONFIDENCE / 2))
    half = quantile * float(errors[top] * by.reach[top])
    sd = float(np.sqrt(max(line.left / (line.pieces - 2), line.least, float(np.finfo(float).tiny))))
    start = int(at[first]) + 1
    return DetectorSignal(
        kind="single" if kind == "shift" and first == at.size - 1 else kind,
        point=int(at[-1]) + 1,
        start=start,
        start_set=(start, start),
        side="above" if size > 0 else "below",
        size=size,
        size_interval=(size - half, size + half),
        size_sigma=size / sd,
        score=float(scores[top]),
        threshold=limit,
    )


def _levels(u: Floats, e: Floats) -> Departure:
    """Mean distance of the newest pieces from the line, for every number of them."""
    g = np.arange(u.size, 0.0, -1.0)
    mean, where = _newest(e) / g, _newest(u) / g
    left = np.maximum(_newest(e * e) - g * mean**2, 0.0)
    one = np.ones(u.size)
    return Departure(np.arange(u.size), g, mean, 1 / g, one, where, left, one)


def _climbs(u: Floats, e: Floats, knots: Floats) -> Departure:
    """Climb of a ramp from the piece before on, for every number of newest pieces from `RAMP_SIDE` on."""
    g = np.arange(u.size, 0.0, -1.0)
    size = _newest(u * u) - 2 * knots * _newest(u) + knots**2 * g
    at = np.flatnonzero((g >= RAMP_SIDE) & (size > 0))
    k, g, size = knots[at], g[at], size[at]
    climb = (_newest(u * e)[at] - k * _newest(e)[at]) / size
    once, across = _newest(u)[at] - k * g, _newest(u * u)[at] - k * _newest(u)[at]
    left = np.maximum(_newest(e * e)[at] - climb**2 * size, 0.0)
    return Departure(at, g, climb, 1 / size, once / size, across / size, left, u[-1] - k)


def _newest(values: Floats) -> Floats:
    """Sum over the newest 1, 2, 3 ... pieces, entry i over those from i on."""
    return np.cumsum(values[::-1])[::-1]


def _measured(
    x: Floats, y: Floats, signal: DetectorSignal, end: int, settled: int, step: float | None
) -> DetectorSignal:
    """Place and measure the break on all pieces up to `end`; it cannot lie inside the settled state."""
    try:
        found = placed(signal, wear_break(x[:end], y[:end], resolution=step))
    except StatisticsError:
        return signal
    low, high = found.start_set
    earliest = settled + 1
    return replace(
        found, start=max(found.start, earliest), start_set=(max(low, earliest), max(high, earliest))
    )


def _spreads(x: Floats, y: Floats, settled: int, rates: Floats, step: float | None) -> list[DetectorSignal]:
    """Find changes of the scatter about the line, which need no settled slope to be seen."""
    residuals = recursive_residuals(x, y)
    skipped = x.size - residuals.size
    found = detect(
        residuals, false_alarm_rate=rates[skipped:], resolution=step, settled=max(settled - skipped, 0)
    )
    places = range(skipped, x.size)
    return [named(signal, places) for signal in found.signals if signal.kind == "spread"]

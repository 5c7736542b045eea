"""Changes that began while a gauge read wrongly: the gauge is the suspect, and they end where it is zeroed.

A gauge that is found off has read wrongly since some piece after its last good check, and reads rightly again
once it is zeroed. What was read in between is one state, however few the pieces after it are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date

from qc.stats import Floats
from qc.watch.changes.findings import ENOUGH_TO_RETURN, FoundChange
from qc.watch.changes.returns import nearer_old
from qc.watch.changes.sizing import ON_THE_EVE, begin_of
from qc.watch.gauges import FoundOff
from qc.watch.results import Point, SignalResult, Suspect
from qc.words import IN_UNIT

EXPLAINS = 1 / 3
"""A gauge that was off by less of a change than this explains little of it (house rule, as of a return)."""

CERTAIN = 9.5
"""Weight of a gauge that was found off: it is known to have read wrongly, whatever else coincides."""


def spans_off(off: Sequence[FoundOff], points: Sequence[Point]) -> Iterator[tuple[FoundOff, int, int]]:
    """Yield the stretches in which a gauge read wrongly with the ordinals of their first and last point.

    One in which pieces were read with other gauges as well is no stretch of the series.
    """
    for one in off:
        own = [n for n, p in enumerate(points, 1) if _read_with(one, p) and one.holds_on(p.day)]
        if own and len(own) == own[-1] - own[0] + 1:
            yield one, own[0], own[-1]


def with_zeroed_ends(
    found: Sequence[FoundChange], off: Sequence[FoundOff], points: Sequence[Point], values: Floats
) -> tuple[FoundChange, ...]:
    """Mark changes that began while a gauge read wrongly as over where it was put right.

    Parameters
    ----------
    found : sequence of FoundChange
        As raised, in order; ordinals count from 1 among `points`.
    off : sequence of FoundOff
        Stretches in which a gauge read wrongly.
    points : sequence of Point
        The judged pieces.
    values : float array
        Their figures. [unit]

    Returns
    -------
    tuple of FoundChange
        Over is one whose pieces since lie nearer to those before it than to those read wrongly; where they
        do not, it was not the gauge alone, and the change goes on.
    """
    spans = list(spans_off(off, points))
    if not spans:
        return tuple(found)
    kept: list[FoundChange] = []
    for number, signal in enumerate(found):
        begin = begin_of(kept, signal)
        later = [s.start for s in found[number + 1 :] if s.kind != "single"]
        ends = (_ended(signal, first, last, values, begin, later) for _, first, last in spans)
        kept.append(next((one for one in ends if one is not None), signal))
    return tuple(kept)


def _ended(
    signal: FoundChange, first: int, last: int, values: Floats, begin: int, later: Sequence[int]
) -> FoundChange | None:
    """End a change after the last piece read wrongly, if those since are as before it; None where not."""
    if not _began_in(signal, first, last) or last >= values.size:
        return None
    start = min(max(signal.start, first), signal.point)
    old, away = values[begin - 1 : start - 1], values[start - 1 : last]
    # what was raised on later pieces tells of a change of its own, unless it may be the return itself
    until = min((place for place in later if place > last + ON_THE_EVE), default=values.size + 1)
    new = values[last : until - 1][:ENOUGH_TO_RETURN]
    if not old.size or not new.size or not nearer_old(old, away, new):
        return None
    low, high = max(signal.start_low, first), min(max(signal.start_high, start), last)
    return replace(
        signal, start=start, start_low=min(low, start), start_high=high, ended=last + 1, zeroed=True
    )


def gauge_suspect(
    off: Sequence[FoundOff], points: Sequence[Point], signal: SignalResult, today: date | None
) -> Suspect | None:
    """Return the gauge that read wrongly when a change began, where it explains it; None where none does.

    One that goes on in the pieces read after the gauge was put right has another cause.
    """
    if signal.kind not in {"single", "shift", "trend"}:
        return None
    for one, first, last in spans_off(off, points):
        if not first <= signal.start <= last or not _is_large_enough(one, signal):
            continue
        goes_on = signal.kind != "single" and last < len(points) and signal.ended is None
        if goes_on or (signal.ended is not None and signal.ended > last + 1):
            continue
        point = points[first - 1]
        sentence = one.sentence(today)
        return Suspect("gauge-check", one.gauge.id, "", point.serial, point.day, sentence, CERTAIN)
    return None


def _read_with(one: FoundOff, point: Point) -> bool:
    return one.gauge.id in point.gauge.split(" + ")


def _began_in(signal: FoundChange, first: int, last: int) -> bool:
    lasts = signal.kind in {"shift", "trend"} and signal.ended is None
    return lasts and first <= signal.point <= last and signal.start_low <= last and first <= signal.start_high


def _is_large_enough(one: FoundOff, signal: SignalResult) -> bool:
    """Say whether the gauge was off by a good part of the change, where both can be told in one unit."""
    units = (one.gauge.unit, signal.unit)
    factor = 1.0 if units[0] == units[1] else IN_UNIT.get(units)
    if factor is None or signal.size is None:
        return True
    return abs(one.value) * factor >= EXPLAINS * abs(signal.size)

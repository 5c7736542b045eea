"""Where a change of the level or of the scatter is over, because the pieces came back by themselves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from qc.stats import Floats
from qc.watch.changes.findings import (
    CLEARLY_BACK,
    ENOUGH_TO_RETURN,
    LEAST_OLD,
    SOON_BACK,
    FoundChange,
    came_back,
    is_back,
)
from qc.watch.changes.sizing import begin_of

ESTABLISHED = 20
"""A change that has lasted for so many pieces, and longer than the state before it, is the usual state: what
leads away from it is a change of its own, also where it leads back (house rule)."""


def with_returns(found: Sequence[FoundChange], values: Floats) -> tuple[FoundChange, ...]:
    """Mark changes that ended in a return to the old state; a signal that only tells of it is dropped.

    One that was told as over before (`firm`), or ended where a gauge was zeroed, keeps its end.
    """
    kept: list[FoundChange] = []
    lasting = [s for s in found if s.kind != "single"]
    for signal in found:
        if signal.kind == "single" or signal.firm or signal.zeroed:
            kept.append(signal)
            continue
        if any(_only_the_return(n, kept, signal, values) for n in range(len(kept))):
            continue
        left = _left_again(kept, signal, values)
        if left is not None:
            kept[left:] = [_ended(s, signal.start) for s in kept[left:]]
            continue
        following = next((s.start for s in lasting if s.point > signal.point), values.size + 1)
        kept.append(replace(signal, ended=_end_of(signal, values, begin_of(kept, signal), following)))
    return tuple(kept)


def back_from(old: Floats, since: Floats, least: int) -> int | None:
    """Return how many pieces since a change were away before the rest came back; None where they did not.

    Parameters
    ----------
    old, since : float array
        The pieces before the change, and those since its start.
    least : int
        So many of these are away for certain.

    Returns
    -------
    int or None
        Where the pieces since fall into two levels with the fewest squares, if the later one has `SOON_BACK`
        pieces or more, is that of before, see `came_back`, and lies `CLEARLY_BACK` standard errors apart from
        the earlier one.
    """
    last = since.size - SOON_BACK
    if old.size < LEAST_OLD or last < least:
        return None
    squares = [_squares(since[:split]) + _squares(since[split:]) for split in range(least, last + 1)]
    split = least + int(np.argmin(squares))
    away, new = since[:split], since[split:]
    within = (min(squares) + _squares(old)) / (old.size + since.size - 3)
    error = float((within * (1 / away.size + 1 / new.size)) ** 0.5)
    apart = abs(float(new.mean() - away.mean())) > CLEARLY_BACK * error
    return split if apart and came_back(old, away, new) else None


def _squares(part: Floats) -> float:
    return float(((part - part.mean()) ** 2).sum())


def _only_the_return(place: int, kept: Sequence[FoundChange], signal: FoundChange, values: Floats) -> bool:
    """Say whether a signal only tells of the end of a change that was told as over before it was raised."""
    first = kept[place]
    if (
        not (first.firm or first.zeroed)
        or first.ended is None
        or signal.kind == "spread"
        or first.side == signal.side
    ):
        return False
    if not signal.start_low <= first.ended <= max(signal.start_high, signal.start):
        return False
    old = values[begin_of(kept[:place], first) - 1 : first.start - 1]
    away, new = values[first.start - 1 : first.ended - 1], values[first.ended - 1 :]
    return bool(old.size and away.size and new.size) and nearer_old(old, away, new)


def nearer_old(old: Floats, away: Floats, new: Floats) -> bool:
    """Say whether newer pieces lie nearer to those before a change than to those that were away."""
    return abs(float(new.mean() - old.mean())) <= abs(float(new.mean() - away.mean()))


def _ended(signal: FoundChange, ended: int) -> FoundChange:
    return signal if signal.kind == "single" or signal.ended is not None else replace(signal, ended=ended)


def _left_again(kept: Sequence[FoundChange], signal: FoundChange, values: Floats) -> int | None:
    """Return the place of the earliest lasting change whose old level the series came back to, or None."""
    if signal.kind == "spread":
        return None
    for place, first in enumerate(kept):
        if first.kind not in {"shift", "trend"} or first.ended is not None or first.side == signal.side:
            continue
        old = values[begin_of(kept[:place], first) - 1 : first.start - 1]
        away = values[first.start - 1 : signal.start - 1]
        new = values[signal.start - 1 :]
        if away.size > max(old.size, ESTABLISHED):
            continue  # what lasted longer than the state before it was the usual one: leaving it is news
        if old.size and away.size and new.size and came_back(old, away, new):
            return place
    return None


def _end_of(signal: FoundChange, values: Floats, begin: int, following: int) -> int | None:
    """Return the first piece that is back, where no signal of its own tells of that; None while it lasts."""
    if signal.kind in {"shift", "trend"}:
        old, since = values[begin - 1 : signal.start - 1], values[signal.start - 1 : following - 1]
        away = back_from(old, since, signal.point + 1 - signal.start)
        if away is not None:
            return signal.start + away
    return signal.point + 1 if _faded(signal, values, begin, following) else None


def _faded(signal: FoundChange, values: Floats, begin: int, following: int) -> bool:
    """Say whether the pieces made after a signal are as they were before it began.

    The judgement starts anew after a signal, so a quiet return raises none of its own; without this a false
    signal would stand as a lasting change for good. Where hardly anything came before, the first pieces were
    apart and what followed is the settled state.
    """
    old = values[begin - 1 : signal.start - 1]
    away = values[signal.start - 1 : signal.point]
    new = values[signal.point : following - 1]
    if new.size < ENOUGH_TO_RETURN:
        return False
    if old.size < LEAST_OLD:
        return True
    if signal.kind == "spread":
        spreads = [float(part.std(ddof=1)) if part.size > 1 else 0.0 for part in (old, away, new)]
        return min(spreads) > 0 and is_back(*np.log(spreads))
    return came_back(old, away, new)

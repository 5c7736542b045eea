"""Where a change of the level or of the scatter is over, because the pieces came back by themselves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from qc.stats import Floats
from qc.watch.changes.findings import ENOUGH_TO_RETURN, LEAST_OLD, FoundChange, came_back, is_back
from qc.watch.changes.sizing import begin_of

ESTABLISHED = 20
"""A change that has lasted for so many pieces, and longer than the state before it, is the usual state: what
leads away from it is a change of its own, also where it leads back (house rule)."""


def with_returns(found: Sequence[FoundChange], values: Floats) -> tuple[FoundChange, ...]:
    """Mark changes that ended in a return to the old state; a signal that only tells of it is dropped."""
    kept: list[FoundChange] = []
    lasting = [s for s in found if s.kind != "single"]
    for signal in found:
        if signal.kind == "single":
            kept.append(signal)
            continue
        left = _left_again(kept, signal, values)
        if left is not None:
            kept[left:] = [_ended(s, signal.start) for s in kept[left:]]
            continue
        following = next((s.start for s in lasting if s.point > signal.point), values.size + 1)
        faded = _faded(signal, values, begin_of(kept, signal), following)
        kept.append(replace(signal, ended=signal.point + 1) if faded else signal)
    return tuple(kept)


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

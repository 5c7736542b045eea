"""Changes that were told as over before: they keep their kind, start, size and end when more pieces come.

What is over was worked out from the pieces around it, and people were told. Later pieces that change
something else say nothing of it: theirs is a change of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from qc.stats import Floats
from qc.watch.changes.findings import CLEARLY_BACK, ENOUGH_TO_RETURN, LEAST_OLD, FoundChange
from qc.watch.changes.returns import ESTABLISHED, nearer_old
from qc.watch.changes.sizing import begin_of
from qc.watch.results import Point, SignalResult


def with_told_ends(
    found: Sequence[FoundChange], over: Sequence[SignalResult], points: Sequence[Point], values: Floats
) -> tuple[FoundChange, ...]:
    """Return changes as they were raised, those that were told as over before as they were told then.

    Parameters
    ----------
    found : sequence of FoundChange
        As raised, in order; ordinals count from 1 among `points`.
    over : sequence of SignalResult
        Findings of the series as they were told last, those that were over by themselves.
    points : sequence of Point
        The judged pieces.
    values : float array
        Their figures. [unit]

    Returns
    -------
    tuple of FoundChange
        One that the readings do not bear out any more is as it was raised: where one was corrected, where
        something of the change is left beyond doubt in a long run since (a change back has to be surer than
        the word that it is over, else a finding would go to and fro from one evening to the next), or where
        the first pieces said to be back turn out to lie nearer to those that were away.
    """
    told = {one.raised_serial: one for one in over}
    if not told:
        return tuple(found)
    places = {point.serial: place for place, point in enumerate(points, 1)}
    kept: list[FoundChange] = []
    for number, signal in enumerate(found):
        one = told.get(points[signal.point - 1].serial)
        firm = None if one is None else _as_told(signal, one, places)
        later = [s for s in found[number + 1 :] if s.kind != "single"]
        holds = firm is not None and _holds(firm, values, begin_of(kept, firm), later)
        kept.append(firm if firm is not None and holds else signal)
    return tuple(kept)


def _as_told(signal: FoundChange, told: SignalResult, places: dict[str, int]) -> FoundChange | None:
    """Return a change as it was told, at the places its pieces have now; None where one is not there."""
    start, ended = places.get(told.start_serial), places.get(told.over_since)
    if start is None or ended is None or not start < ended:
        return None
    return replace(
        signal,
        kind=told.kind,
        side=told.side,
        start=start,
        start_low=max(start - (told.start - told.start_low), 1),
        start_high=start + (told.start_high - told.start),
        size=told.size,
        size_low=told.size_low,
        size_high=told.size_high,
        size_sigma=told.size_sigma,
        ended=ended,
        firm=True,
    )


def _holds(told: FoundChange, values: Floats, begin: int, later: Sequence[FoundChange]) -> bool:
    """Say whether the pieces still bear out that a change was of that size, and is over."""
    if told.kind not in {"shift", "count"} or told.ended is None:
        return True
    old, away = values[begin - 1 : told.start - 1], values[told.start - 1 : told.ended - 1]
    # what was raised after it tells of a change of its own, unless it may be the return itself
    following = next((s.start for s in later if s.start_low > told.ended), values.size + 1)
    new = values[told.ended - 1 : following - 1]
    if not old.size or not away.size or not new.size:
        return True
    size = float(away.mean() - old.mean())
    as_large = told.size_low is None or told.size_high is None or told.size_low <= size <= told.size_high
    first = new[:ENOUGH_TO_RETURN]
    return (as_large or told.kind == "count") and nearer_old(old, away, first) and not _left(old, size, new)


def _left(old: Floats, size: float, new: Floats) -> bool:
    """Say whether something of a change is left beyond doubt: a long run clearly apart, the same way."""
    if new.size < ESTABLISHED or old.size < LEAST_OLD:
        return False
    squares = float(((old - old.mean()) ** 2).sum() + ((new - new.mean()) ** 2).sum())
    error = float((squares / (old.size + new.size - 2) * (1 / old.size + 1 / new.size)) ** 0.5)
    left = float(new.mean() - old.mean())
    return left * size > 0 and abs(left) > CLEARLY_BACK * error

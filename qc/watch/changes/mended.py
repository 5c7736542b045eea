"""A series that was mended: pieces made after a mend are compared with the state before the change.

Up to the mend a series is judged as it always was. What was made from the start of the change up to the mend
is an excursion; the pieces after it go on from the state before, so that nothing has to be learned anew. A
change the same way that begins within the next pieces is the signal opened again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from qc.stats import Floats
from qc.watch.changes.findings import LEAST_OLD, FoundChange, came_back, in_series, is_back
from qc.watch.changes.kept_states import SETTLED, WHOLE
from qc.watch.changes.sizing import begin_of
from qc.watch.mends import CONFIRMED_BY, Mend
from qc.watch.results import Point

Pieces = Sequence[Point]
Follow = Callable[[str, Sequence[int], int], Sequence[FoundChange]]
"""Judges some pieces, given by their places among the judged ones, of which the first so many are settled."""

Tell = Callable[[Sequence[FoundChange], Pieces], Sequence[FoundChange]]
"""Tells what was raised among some pieces by all of them."""


@dataclass(frozen=True, slots=True)
class Split:
    """A series split by one mend; places count from 0 among the judged pieces.

    Attributes
    ----------
    name : str
        Under which the state of the detector is kept.
    reference : tuple of int
        The settled state of before.
    away, after : int
        Where the change began, and the first piece after the mend.
    """

    name: str
    reference: tuple[int, ...]
    away: int
    after: int


@dataclass(frozen=True, slots=True)
class ToldBesideMends:
    """What was found in a series with mends, told by all pieces, and where it was split."""

    signals: tuple[FoundChange, ...]
    splits: tuple[Split, ...]


def mends_among(points: Pieces, mends: Sequence[Mend]) -> list[tuple[int, Mend]]:
    """Return mends in order, each with the place (from 0) of the first of these pieces made after it."""
    return sorted(((mend.place_among(points), mend) for mend in mends), key=lambda m: (m[0], m[1].number))


def judged_together(
    pieces: int, frozen: tuple[int, int] | None, splits: Sequence[Split]
) -> dict[str, tuple[Sequence[int], int]]:
    """Return, by the name of each kept state, the places judged in it, and the place where it gives way."""
    first = splits[0].after if splits else pieces
    found: dict[str, tuple[Sequence[int], int]] = {
        WHOLE: (range(pieces), min(frozen[1], first) if frozen else first)
    }
    if frozen:
        found[SETTLED] = (range(frozen[0] - 1, pieces), first)
    ends = [split.after for split in splits[1:]] + [pieces]
    for split, end in zip(splits, ends, strict=False):
        found[split.name] = ([*split.reference, *range(split.after, pieces)], end)
    return found


def told_beside_mends(
    points: Pieces,
    mends: Sequence[tuple[int, Mend]],
    raised: Sequence[FoundChange],
    frozen: tuple[int, int] | None,
    tell: Tell,
    follow: Follow,
    *,
    refitted: bool = False,
) -> ToldBesideMends:
    """Tell the changes of a series that was mended, one mend after the other.

    Parameters
    ----------
    points : sequence of Point
        The judged pieces.
    mends : sequence of (int, Mend)
        In order, each with the place (from 0) of the first piece after it.
    raised : sequence of FoundChange
        What was raised in the whole series, as though nothing had been mended; ordinals from 1.
    frozen : (int, int) or None
        Which pieces a lead froze as the settled state, from 1.
    tell, follow
        How the course tells and judges.
    refitted : bool
        A change that ended before the mend did so with its tool: the next one has a line of its own.
    """
    told: list[FoundChange] = []
    splits: list[Split] = []
    own: Sequence[int] = range(len(points))  # the pieces judged together since the last mend, by place
    found = list(raised)  # among these pieces, from 1
    for after, mend in mends:
        until = [place for place in own if place < after]
        part = _told(tell, found, until, points, splits)
        place = _healed([*told, *part], points, mend)
        if place is None:
            continue
        target = [*told, *part][place]
        over = refitted and target.ended is not None and target.ended <= after + 1
        if after < target.start or over:
            continue
        told += part
        reference = _reference(told[:place], target, own, frozen)
        told = [_closed(s, target, after) for s in told]
        splits.append(Split(f"mended {mend.root} {mend.number}", reference, target.start - 1, after))
        own = [*reference, *range(after, len(points))]
        found = list(follow(splits[-1].name, own, len(reference)))
        found = [s for s in found if s.point > len(reference)]
        again = _again(found, target, len(reference)) if reference else None
        if again is not None:
            found[again] = replace(found[again], reopens=_root(target, points), closing=mend.number)
            held: bool | None = False
        else:
            lasting = (own[s.start - 1] for s in found if s.kind != "single" and s.start > len(reference))
            since = range(after, min(lasting, default=len(points)))
            held = _is_borne_out(target, reference, points, since, about_line=refitted)
        told[place] = replace(told[place], mended=after + 1, held=held)
    told += _told(tell, found, own, points, splits)
    told = [_measured_together(s, told, points) for s in told]
    return ToldBesideMends(tuple(sorted(told, key=lambda s: s.point)), tuple(splits))


def _measured_together(again: FoundChange, told: Sequence[FoundChange], points: Pieces) -> FoundChange:
    """Give a change that a mend did not end the size that its pieces before and after the mend tell together.

    After two pieces alone the interval of long tails says next to nothing. Both measure one change, and each
    is weighed by the square of its interval (inverse variance; that they share the state before is left out
    of account); where they do not overlap, the newer one stands.
    """
    if not again.reopens or again.firm:
        return again  # what was told as over keeps what it was told with
    before = [s for s in told if s.mended and _root(s, points) == again.reopens]
    first = max((s for s in before if s.point < again.point), key=lambda s: s.point, default=None)
    if first is None or first.mended is None or again.start_low > first.mended:
        return again  # it came back later: between the two the series was as before
    old, new = _interval(first), _interval(again)
    if old is None or new is None or old[0] > new[1] or new[0] > old[1]:
        return again
    halves = [(high - low) / 2 for low, high in (old, new)]
    if not all(halves):
        return again
    weights = [half**-2 for half in halves]
    size = (weights[0] * (first.size or 0.0) + weights[1] * (again.size or 0.0)) / sum(weights)
    half = sum(weights) ** -0.5
    return replace(again, size=size, size_low=size - half, size_high=size + half)


def _interval(signal: FoundChange) -> tuple[float, float] | None:
    if signal.kind != "shift" or signal.size is None or signal.size_low is None or signal.size_high is None:
        return None
    return signal.size_low, signal.size_high


def _told(
    tell: Tell, found: Sequence[FoundChange], own: Sequence[int], points: Pieces, splits: Sequence[Split]
) -> list[FoundChange]:
    """Tell what was raised among some of the pieces; no start lies in the reference or before the mend."""
    settled = len(splits[-1].reference) if splits else 0
    early = [_among(s, len(own)) for s in found if max(s.point, s.start) <= len(own)]
    told = tell(early, [points[place] for place in own])
    late = [_not_before(s, settled + 1) for s in told]
    return [in_series(s, [*own, len(points)]) for s in late]


def _among(signal: FoundChange, pieces: int) -> FoundChange:
    """Leave out of a finding what later pieces than the first so many say of it."""
    ended = None if signal.ended is None or signal.ended > pieces else signal.ended
    return replace(signal, ended=ended, start_high=min(signal.start_high, pieces))


def _not_before(signal: FoundChange, first: int) -> FoundChange:
    start, low = max(signal.start, first), max(signal.start_low, first)
    return replace(signal, start=start, start_low=low, start_high=max(signal.start_high, start))


def _healed(told: Sequence[FoundChange], points: Pieces, mend: Mend) -> int | None:
    """Return the place of the change that a mend ended: the signal itself, the last time it was raised."""
    own = [n for n, s in enumerate(told) if _root(s, points) == mend.root and _is_spread(s, mend)]
    if own:
        return own[-1]
    start = next((n for n, p in enumerate(points, 1) if p.serial == mend.told.start_serial), None)
    if start is None:
        return None
    moved = start - mend.told.start
    low, high = mend.told.start_low + moved, mend.told.start_high + moved
    alike = [
        n
        for n, s in enumerate(told)
        if _is_spread(s, mend) and s.side == mend.told.side and s.start_low <= high and low <= s.start_high
    ]
    return min(alike, key=lambda n: abs(told[n].start - start), default=None)


def _root(signal: FoundChange, points: Pieces) -> str:
    return signal.reopens or points[signal.point - 1].serial


def _is_spread(signal: FoundChange, mend: Mend) -> bool:
    return (signal.kind == "spread") == (mend.told.kind == "spread")


def _reference(
    before: Sequence[FoundChange], target: FoundChange, own: Sequence[int], frozen: tuple[int, int] | None
) -> tuple[int, ...]:
    """Return the places of the settled state before a change, without pieces apart and ended excursions."""
    begin = begin_of(before, target)
    if frozen is not None and frozen[1] < target.start:
        begin = max(begin, frozen[0])
    apart = {s.start - 1 for s in before if s.kind == "single"}
    for one in before:
        if one.kind != "single" and one.ended is not None:
            apart.update(range(one.start - 1, one.ended - 1))
    found = tuple(p for p in own if begin - 1 <= p < target.start - 1 and p not in apart)
    return found if len(found) >= LEAST_OLD else ()


def _closed(signal: FoundChange, target: FoundChange, after: int) -> FoundChange:
    """End at the mend what still lasted of the change and of all that came after it."""
    lasts = signal.kind != "single" and signal.ended is None and signal.start >= target.start
    return replace(signal, ended=after + 1) if lasts else signal


def _is_borne_out(
    target: FoundChange, reference: Sequence[int], points: Pieces, since: range, *, about_line: bool
) -> bool | None:
    """Say whether enough pieces since a mend are as they were before; None as long as that is not said."""
    old, away, new = (
        _values(points, places) for places in (reference, range(target.start - 1, since.start), since)
    )
    if not old.size or new.size < CONFIRMED_BY:
        return None
    if about_line:
        return True  # what wears is at another height by now; had it left its line, that would be told
    if target.kind == "spread":
        spreads = [float(part.std(ddof=1)) if part.size > 1 else 0.0 for part in (old, away, new)]
        back = min(spreads) > 0 and is_back(*np.log(spreads))
    else:
        back = target.kind == "single" or came_back(old, away, new)
    return True if back else None


def _values(points: Pieces, places: Sequence[int]) -> Floats:
    return np.array([points[place].value for place in places], dtype=np.float64)


def _again(found: Sequence[FoundChange], target: FoundChange, settled: int) -> int | None:
    """Return the place of the first finding that is the old change come back, None where there is none."""
    for place, signal in enumerate(found):
        same = (signal.kind == "spread") == (target.kind == "spread") and _way(signal) == _way(target)
        # one whose start would lie among the pieces before the change is told from the mend on, see `_told`
        if same and signal.start <= settled + CONFIRMED_BY:
            return place
    return None


def _way(signal: FoundChange) -> bool:
    return (signal.size or 0.0) > 0 if signal.kind == "spread" else signal.side == "above"

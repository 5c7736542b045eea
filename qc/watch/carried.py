"""What is carried over from what was told before: which changes are over, which pieces are kept back.

A verdict is worked out from the readings alone. People act on what they were told, so two things go from one
verdict to the next: the end of a change that was told as over, and the stretch of pieces that a finding holds
until somebody answers it, however later pieces tell of the change.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from qc.watch.pieces import is_bad, pieces_in
from qc.watch.results import Point, SeriesVerdict, SignalResult, Suspect


def told_over(told: Sequence[SignalResult]) -> tuple[SignalResult, ...]:
    """Return the findings, as they were told last, that were over by themselves."""
    return tuple(one for one in told if one.over_since and one.kind != "single")


def told_suspects(signal: SignalResult, told: Sequence[SignalResult]) -> tuple[Suspect, ...]:
    """Return what a finding was told last to coincide with."""
    return next((one.suspects for one in told if _own(one) == _own(signal)), ())


def with_kept(verdict: SeriesVerdict, told: Sequence[SignalResult]) -> SeriesVerdict:
    """Say of each finding which pieces it holds: those that it holds now, and those that it held before.

    Parameters
    ----------
    verdict : SeriesVerdict
        As it was just judged.
    told : sequence of SignalResult
        The findings of the series as they were told last: of a signal that opened again the newest, which
        speaks for it. What was held before goes to that one alone, else each judging would add to the others.
    """
    if not verdict.signals:
        return verdict
    before = {_own(one): one.kept or () for one in told}
    ordinals = {point.serial: point.ordinal for point in verdict.points}
    signals = []
    for place, signal in enumerate(verdict.signals):
        own = pieces_in(verdict, signal) if holds(verdict, signal) else ()
        opened_again = any(_own(later) == _own(signal) for later in verdict.signals[place + 1 :])
        earlier = () if opened_again else before.get(_own(signal), ())
        signals.append(replace(signal, kept=_joined(own, earlier, ordinals)))
    return replace(verdict, signals=tuple(signals))


def holds(verdict: SeriesVerdict, signal: SignalResult) -> bool:
    """Say whether a finding is a reason to hold pieces: it stands apart, or the series drifts by it.

    Of changes only the one by which a series drifts now counts, and none that leads to what is wanted.
    """
    telling = verdict.telling
    drifts = telling is not None and (telling.raised, telling.kind) == (signal.raised, signal.kind)
    return (drifts or signal.kind == "single") and is_bad(verdict, signal)


def kept_pieces(verdict: SeriesVerdict, signal: SignalResult) -> tuple[Point, ...]:
    """Return the pieces that a finding holds or held before, as the series is read now."""
    if not signal.kept:
        return ()
    ordinals = {point.serial: point.ordinal for point in verdict.points}
    first, last = (ordinals.get(serial) for serial in signal.kept)
    if last is None:
        return ()
    return tuple(p for p in verdict.points if (first or 1) <= p.ordinal <= last and not p.left_out)


def pieces_under(verdict: SeriesVerdict, found: SignalResult) -> tuple[Point, ...]:
    """Return the points from the start of a change up to where its cause was mended or it was over.

    A signal that opened anew goes on from where it was raised first.
    """
    own = [
        s
        for s in verdict.signals
        if s.root == found.root and (s.kind == "spread") == (found.kind == "spread")
    ]
    first = min((s.start for s in own), default=found.start)
    if found.kind == "single" and found.mended is None:
        return verdict.points[found.start - 1 : found.start]
    # where it was over by itself before it was closed as mended, the pieces in between were as before
    end = min(found.mended or len(verdict.points) + 1, found.ended or len(verdict.points) + 1)
    return verdict.points[first - 1 : end - 1]


def stands_in(told: SignalResult, present: Sequence[SignalResult], verdict: SeriesVerdict) -> int | None:
    """Find the present finding that an earlier one, which is shown no more, stands in; None: in none.

    Parameters
    ----------
    told : SignalResult
        As it was told last.
    present : sequence of SignalResult
        Findings of the series that wait for an answer.
    verdict : SeriesVerdict
        What is known of the series.

    Returns
    -------
    int or None
        Place in `present`: of one raised at the same piece, else of one that lasts and is about the same
        pieces, the nearest of several.
    """
    same = [n for n, one in enumerate(present) if told.raised_serial in {one.raised_serial, one.root}]
    if same:
        return same[0]
    ordinals = {point.serial: point.ordinal for point in verdict.points}
    serials = (told.start_serial, *(told.kept or ()), told.raised_serial)
    own = [ordinals[serial] for serial in serials if serial in ordinals]
    if not own:
        return None
    fits = [
        n
        for n, one in enumerate(present)
        if one.kind != "single" and one.ended is None and one.start_low <= max(own)
    ]
    return min(fits, key=lambda n: abs(present[n].start - min(own)), default=None)


def way_back_of(told: SignalResult, others: Sequence[SignalResult], verdict: SeriesVerdict) -> int | None:
    """Find the finding that an earlier one, which is shown no more, was only the end of; None: of none.

    Parameters
    ----------
    told : SignalResult
        As it was told last: a change the other way.
    others : sequence of SignalResult
        What is found now in the series.
    verdict : SeriesVerdict
        What is known of the series.

    Returns
    -------
    int or None
        Place in `others` of the one that is over by itself since a piece within the start's set of `told`.
    """
    ordinals = {point.serial: point.ordinal for point in verdict.points}
    start = ordinals.get(told.start_serial)
    if start is None or told.kind == "spread":
        return None
    early, late = start - (told.start - told.start_low), start + (told.start_high - told.start)
    for n, one in enumerate(others):
        back = ordinals.get(one.over_since)
        if back is not None and one.side != told.side and one.kind != "spread" and early <= back <= late:
            return n
    return None


def _joined(own: Sequence[Point], before: Sequence[str], ordinals: Mapping[str, int]) -> tuple[str, ...]:
    """Return first and last serial of one stretch that holds both."""
    ends = [point.serial for point in (*own[:1], *own[-1:])] + [one for one in before if one in ordinals]
    if not ends:
        return tuple(before)
    found = sorted(ends, key=ordinals.__getitem__)
    return found[0], found[-1]


def _own(signal: SignalResult) -> tuple[str, bool]:
    return signal.root, signal.kind == "spread"

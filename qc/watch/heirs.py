"""Which signal of today tells of a change that another one told of before.

A signal is known by the piece that raised it. Judged again, after a correction or by a better program, the
same change may be raised at another piece: what people said of it belongs to the signal that tells of it now.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from qc.watch.results import SignalResult


def is_same(one: SignalResult, other: SignalResult) -> bool:
    """Say whether two findings are one signal: raised at one piece, of the level or of the scatter both."""
    return one.raised_serial == other.raised_serial and (one.kind == "spread") == (other.kind == "spread")


def heirs_of(
    told: Sequence[SignalResult], present: Sequence[SignalResult], ordinals: Mapping[str, int]
) -> list[int | None]:
    """Find, for signals told before, the present one that tells of the same change.

    Parameters
    ----------
    told, present : sequence of SignalResult
        Of one series.
    ordinals : mapping of str to int
        Place of each piece in the series as it is read now, by its serial.

    Returns
    -------
    list of int or None
        Place in `present`: of the signal itself where it is there, else of the one of the same kind (level or
        scatter) and direction whose set of the start overlaps, the nearest of several; None where none does.
    """
    return [_heir(one, present, ordinals) for one in told]


def _heir(told: SignalResult, present: Sequence[SignalResult], ordinals: Mapping[str, int]) -> int | None:
    itself = [place for place, s in enumerate(present) if is_same(told, s)]
    if itself:
        return itself[0]
    start = ordinals.get(told.start_serial)
    if start is None:
        return None
    low, high = start - (told.start - told.start_low), start + (told.start_high - told.start)
    fits = [
        place
        for place, s in enumerate(present)
        if _aspect(s) == _aspect(told) and s.start_low <= high and low <= _latest(s)
    ]
    return min(fits, key=lambda place: abs(present[place].start - start), default=None)


def _aspect(signal: SignalResult) -> tuple[bool, bool]:
    """Tell level from scatter, and the way it went."""
    spread = signal.kind == "spread"
    return spread, (signal.size or 0.0) > 0 if spread else signal.side == "above"


def _latest(signal: SignalResult) -> int:
    """Return the last piece at which a part of the change may have begun: a climb took all its pieces."""
    return max(signal.start_high, signal.raised) if signal.kind == "trend" else signal.start_high

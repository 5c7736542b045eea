"""What a change that lasts means today: the series drifts, or has settled at the level that it brought.

A change that nobody answers does not make a series drift for ever. Once a long run of pieces has stayed where
it led, and none of them breaks a limit, that is the usual state; that nobody has said why stays told.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from qc.plan import DatedLimits
from qc.watch.heirs import heirs_of
from qc.watch.results import LimitsThen, Point, SignalResult, is_beyond

SETTLED_RUN = 25
"""So many pieces made after a signal without a further one are a settled run. Simulated by
`tests/simulation/standing_rates.py`: of series that nothing happened to 1.3 in 100 then drift in the end at a
rate of 0.0015 a piece, 4.3 at 0.004; most of them raised a signal within the last 15 pieces."""


@dataclass(frozen=True, slots=True)
class Standing:
    """The changes by which a series drifts, newest first, or the one it has settled after."""

    drifting: tuple[SignalResult, ...] = ()
    settled: SignalResult | None = None

    @property
    def told_by(self) -> SignalResult | None:
        """The change that explains the state of the series."""
        return self.drifting[0] if self.drifting else self.settled

    @property
    def settled_since(self) -> date | None:
        """Day on which the new level began, where the series has settled there and nobody has said why."""
        return None if self.drifting or self.settled is None else self.settled.start_day


def standing_of(
    signals: Sequence[SignalResult],
    points: Sequence[Point],
    limits: DatedLimits,
    *,
    kind: str,
    answered: Collection[str] = (),
    closed: Sequence[SignalResult] = (),
    frozen: tuple[int, int] | None = None,
    earlier: Sequence[LimitsThen] = (),
) -> Standing:
    """Say by which changes a series drifts, and which one it has settled after.

    Parameters
    ----------
    signals : sequence of SignalResult
        All of the series, in order.
    points : sequence of Point
        The series, in order of making.
    limits : DatedLimits
        On the scale of the points.
    kind : str
        Of the figure.
    answered : collection of str
        Serials at which signals were raised (or began) that people closed.
    closed : sequence of SignalResult
        Signals that people closed, as they were told last; each answers its heir, see `heirs_of`.
    frozen : (int, int) or None
        Ordinals of the settled state that a lead froze.
    earlier : sequence of LimitsThen
        Limits that held for earlier pieces: each is held against those of its day.

    Returns
    -------
    Standing
        Of the level and of the scatter only the newest unanswered change counts: where it leads, an earlier
        one is history.
    """
    lasting = [s for s in signals if s.ended is None and s.kind != "single"]
    ordinals = {p.serial: p.ordinal for p in points} if closed else {}
    heirs = {*heirs_of(closed, signals, ordinals)}
    open_ = [s for place, s in enumerate(signals) if place not in heirs and s in lasting]
    newest = {s.kind == "spread": s for s in open_ if _is_open(s, answered, frozen)}
    found = sorted(newest.values(), key=lambda s: -s.raised)
    # where a lead froze a state, no other one becomes the usual state by itself
    outside = {p.ordinal for p in points if is_beyond(p, limits.lower, limits.upper, earlier)}
    settled = [s for s in found if not frozen and _has_settled(s, lasting, points, outside, kind)]
    return Standing(tuple(s for s in found if s not in settled), settled[0] if settled else None)


def limits_broken_by(
    signals: Sequence[SignalResult],
    points: Sequence[Point],
    limits: DatedLimits,
    stays: Sequence[SignalResult],
    capable: str,
    earlier: Sequence[LimitsThen] = (),
) -> int | None:
    """Return the ordinal at which the signal was raised whose level stays and breaks the limits, or None.

    Parameters
    ----------
    signals, points, limits, earlier
        As for `standing_of`.
    stays : sequence of SignalResult
        Signals that people closed because the new level stays, as they were told last.
    capable : str
        The answer about the limits. They are not kept where it is "no", or where one of the newest
        `SETTLED_RUN` pieces of that level lies beyond one; pieces of a later change are not of that level.
    """
    if limits.lower is None and limits.upper is None:
        return None
    ordinals = {p.serial: p.ordinal for p in points} if stays else {}
    own = [signals[place] for place in heirs_of(stays, signals, ordinals) if place is not None]
    lasting = [s for s in own if s.ended is None and s.kind != "single"]
    if not lasting:
        return None
    newest = max(lasting, key=lambda s: s.raised)
    level = [p for p in points if p.ordinal >= newest.start and not p.left_out]
    # what a later change has moved is its doing: the level that stays is not blamed for it
    later = [s for s in signals if s.start > newest.start and s.kind not in {"single", "spread"}]
    own_level = [p for p in level if not any(_holds(s, p.ordinal) for s in later)]

    def beyond(pieces: Sequence[Point]) -> bool:
        return any(is_beyond(p, limits.lower, limits.upper, earlier) for p in pieces)

    of_now = len(own_level) > 0 and own_level[-1] is level[-1]  # the answer about the limits rests on it
    now = capable == "no" or beyond(level[-SETTLED_RUN:])
    broken = now and ((of_now and capable == "no") or beyond(own_level[-SETTLED_RUN:]))
    return newest.raised if broken else None


def _holds(signal: SignalResult, ordinal: int) -> bool:
    """Say whether a piece was made while a change lasted."""
    return signal.start <= ordinal and (signal.ended is None or ordinal < signal.ended)


def _is_open(signal: SignalResult, answered: Collection[str], frozen: tuple[int, int] | None) -> bool:
    """Say whether nobody settled a change, by closing it or by freezing a later state."""
    closed = {signal.start_serial, signal.raised_serial} & {*answered}
    return not closed and (not frozen or signal.start > frozen[1])


def _has_settled(
    signal: SignalResult,
    lasting: Sequence[SignalResult],
    points: Sequence[Point],
    outside: Collection[int],
    kind: str,
) -> bool:
    """Say whether a long run of pieces has stayed where a change led, none of them beyond a limit.

    A trend has led nowhere yet, and of a check that fails more often every fault is a piece beyond a limit.
    """
    if signal.kind == "trend" or (kind == "pass-fail" and signal.side == "above"):
        return False
    begin = max(s.raised for s in lasting)
    run = [p for p in points if p.ordinal > begin and not p.left_out]
    level = [p for p in points if p.ordinal >= signal.start and not p.left_out]
    return len(run) >= SETTLED_RUN and not any(p.ordinal in outside for p in level)

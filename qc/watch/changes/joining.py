"""One change, one signal: steps that are one climb, and what was raised twice, are told together.

Judgement starts anew after a signal, so a climb raises step after step, and a change whose first pieces
raised a signal may raise another one. With all pieces known they are one change: it keeps the signal that was
raised first, and has one life.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from qc.stats import climb_or_stairs
from qc.watch.changes.findings import ENOUGH_TO_RETURN, FoundChange
from qc.watch.changes.judged import JudgedSeries
from qc.watch.changes.sizing import begin_of, end_of, measured_anew, singles_of

LEVEL = {"shift", "trend"}

TO_ONE_CLIMB = 0.0
"""Steps are one climb where it explains the pieces better by so much, each further step at its cost (that of
Schwarz). A convention, no test: steps that follow each other closely look the same."""


def all_measured_anew(
    kept: Sequence[FoundChange],
    judged: JudgedSeries,
) -> tuple[FoundChange, ...]:
    """Tell, place and measure all changes of a series by all its pieces, earlier ones first.

    Parameters
    ----------
    kept : sequence of FoundChange
        All findings of the series, in order.
    judged : JudgedSeries
        The series and how it is judged.

    Returns
    -------
    tuple of FoundChange
        In the same order, without those that only told of a change once more.
    """
    found = list(kept)
    place = 0
    while place < len(found):
        signal = found[place]
        steps = _steps_of_climb(signal, found, judged)
        if steps:
            found = [s for s in found if s not in steps]
            found[place] = signal = replace(signal, kind="trend")
        found[place] = measured_anew(signal, found, judged)
        if _is_no_change(found[place], found, judged):
            found[place] = replace(signal, ended=signal.point + 1)
            anew = measured_anew(found[place], found, judged)
            # by the pieces that raised it, as far as these leave no doubt; else as it was raised
            found[place] = found[place] if _holds_nought(anew) else anew
        before = _told_before(found, place)
        if before is None:
            place += 1
        else:
            del found[place]
            found[before] = measured_anew(found[before], found, judged)
    return tuple(found)


def _is_no_change(told: FoundChange, found: Sequence[FoundChange], judged: JudgedSeries) -> bool:
    """Say whether enough pieces since a step leave open which way it went: then it is none that lasts."""
    if told.kind != "shift" or told.ended is not None or not _holds_nought(told):
        return False
    return end_of(told, found, judged.values.size) - 1 - told.point >= ENOUGH_TO_RETURN


def _holds_nought(told: FoundChange) -> bool:
    return told.size_low is not None and told.size_high is not None and told.size_low <= 0 <= told.size_high


def _steps_of_climb(
    signal: FoundChange,
    found: Sequence[FoundChange],
    judged: JudgedSeries,
) -> list[FoundChange]:
    """Return the steps after `signal` that are one climb with it, as many as can be; of a stair none."""
    further = _further(signal, found)
    begin = begin_of(found[: found.index(signal)], signal)
    for count in range(len(further), 0, -1):
        steps = further[:count]
        end = end_of(steps[-1], found, judged.values.size)
        state = judged.between(begin, end, singles_of(found))
        if state is None:
            return []
        starts = [s.start - begin + 1 for s in (signal, *steps)]
        ahead = climb_or_stairs(
            state.scale, starts, apart=state.apart, floor=state.floor, noise=state.noise, lots=state.lots
        )
        if ahead > TO_ONE_CLIMB:
            return steps
    return []


def _further(signal: FoundChange, found: Sequence[FoundChange]) -> list[FoundChange]:
    """Return the lasting changes of the level that follow on `signal` and lead the same way."""
    steps: list[FoundChange] = []
    if signal.ended is not None or signal.kind not in LEVEL:
        return steps
    for later in sorted((s for s in found if s.start > signal.start), key=lambda s: s.start):
        if later.kind == "single" or later.ended is not None:
            continue
        if later.kind not in LEVEL or later.side != signal.side:
            break
        steps.append(later)
    return steps


def _told_before(found: Sequence[FoundChange], place: int) -> int | None:
    """Return the place of an earlier lasting signal that told of the change at `place` already, or None.

    By all its pieces a change may turn out to have begun before that earlier one was raised.
    """
    signal = found[place]
    if signal.kind in {"single", "count"} or signal.ended is not None:
        return None
    for before in range(place - 1, -1, -1):
        first = found[before]
        if first.kind in {"single", "count"} or first.ended is not None:
            continue
        same = (first.kind == "spread") == (signal.kind == "spread") and _way(first) == _way(signal)
        return before if same and signal.start <= first.point else None
    return None


def _way(signal: FoundChange) -> bool:
    return (signal.size or 0.0) > 0 if signal.kind == "spread" else signal.side == "above"

"""How far a series has been judged: plain values to be kept between two judgings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from qc.plain import JsonObject
from qc.stats import DetectorSignal, KeptState

WHOLE, SETTLED = "series", "settled state"
"""What a state was kept of: the whole series, or what comes after a frozen settled state."""

KeptStates = Mapping[str, KeptState]


def plain_kept_states(kept: KeptStates) -> JsonObject:
    """Return plain values, ready for JSON."""
    return {name: course.to_dict() for name, course in kept.items()}


def kept_states_from(record: Mapping[str, Any] | None) -> dict[str, KeptState]:
    """Undo `plain_kept_states`; None, where nothing was kept, gives none."""
    return {name: KeptState.from_dict(own) for name, own in (record or {}).items()}


def signals_of(kept: KeptState) -> tuple[DetectorSignal, ...]:
    """Return what had been raised by the last piece judged."""
    told = kept.marks[-1].state["signals"] if kept.marks else ()
    return tuple(DetectorSignal.from_dict(record) for record in told)


def with_later_marks(kept: KeptStates, before: KeptStates) -> dict[str, KeptState]:
    """Put back the marks behind the newest of each state: a look at the first pieces alone drops them."""
    found = dict(kept)
    for name, own in before.items():
        marks = found.get(name, KeptState()).marks
        reached = marks[-1].points if marks else 0
        found[name] = KeptState((*marks, *(mark for mark in own.marks if mark.points > reached)))
    return found

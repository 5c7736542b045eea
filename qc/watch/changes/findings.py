"""What is found along a course: its changes, what has to be said of judging it, how far it was judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

from qc.watch.changes.kept_states import KeptStates
from qc.watch.results import LEARNING

if TYPE_CHECKING:
    from qc.stats import DetectorSignal

Side = Literal["above", "below", "both"]

BACK_SHARE = 1 / 3
"""Within this share of an excursion's size of the old level or line a series counts as back (house rule)."""

LEAST_OLD = LEARNING
"""Fewer pieces than the detector starts with are no level, and no line, that later ones could have left."""

ENOUGH_TO_RETURN = 8
"""So many pieces after a signal have to speak before a quiet return is said (house rule)."""


@dataclass(frozen=True, slots=True)
class FoundChange:
    """One change of a series; ordinals count from 1 over the whole series."""

    kind: Literal["single", "shift", "trend", "spread", "count"]
    side: Side
    point: int
    start: int
    start_low: int
    start_high: int
    size: float | None
    size_low: float | None
    size_high: float | None
    size_sigma: float | None
    ended: int | None = None


@dataclass(frozen=True, slots=True)
class FoundChanges:
    """All changes of a series, what has to be said about judging it, and how far it has been judged."""

    signals: tuple[FoundChange, ...] = ()
    notes: tuple[str, ...] = ()
    kept: KeptStates = field(default_factory=dict)


def finding_of(signal: DetectorSignal) -> FoundChange:
    """Take over a signal of the detector; a single piece that later ones bore out began a shift."""
    confirmed = signal.kind == "single" and signal.confirmed is not None
    return FoundChange(
        "shift" if confirmed else signal.kind,
        signal.side,
        signal.point,
        signal.start,
        *signal.start_set,
        signal.size,
        *signal.size_interval,
        signal.size_sigma,
    )


def in_series(signal: FoundChange, places: Sequence[int]) -> FoundChange:
    """Turn ordinals among some points into ordinals of the series, where they have these places (0-based)."""
    names = ("point", "start", "start_low", "start_high", *(() if signal.ended is None else ("ended",)))
    return replace(signal, **{name: places[getattr(signal, name) - 1] + 1 for name in names})


def frozen_among(baseline: tuple[int, int] | None, places: Sequence[int]) -> tuple[int, int] | None:
    """Return which of the points at these places (0-based) are frozen, from 1: the first and the last."""
    own = [n for n, place in enumerate(places, 1) if baseline and baseline[0] <= place + 1 <= baseline[1]]
    return (own[0], own[-1]) if own else None


def is_back(old: float, away: float, new: float) -> bool:
    """Say whether what had gone from `old` to `away` has come back."""
    return abs(float(new - old)) <= BACK_SHARE * abs(float(away - old))

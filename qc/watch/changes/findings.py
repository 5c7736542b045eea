"""What is found along a course: its changes, what has to be said of judging it, how far it was judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

from qc.stats import Floats
from qc.watch.changes.kept_states import KeptStates
from qc.watch.results import LEARNING

if TYPE_CHECKING:
    from qc.stats import DetectorSignal

Side = Literal["above", "below", "both"]

BACK_SHARE = 1 / 3
"""Within this share of an excursion's size of the old level or line a series counts as back (house rule)."""

LEAST_OLD = LEARNING
"""Fewer pieces than the detector starts with are no level, and no line, that later ones could have left."""

CLEARLY_APART = 2.5
"""So many standard errors apart two states are two, however far the pieces between lay (house rule; of steady
series one look in eighty)."""

ENOUGH_TO_RETURN = 8
"""So many pieces after a signal have to speak before a quiet return is said (house rule)."""

SOON_BACK = 4
"""So many pieces that are clearly back, see `back_from`, say it sooner (house rule)."""

CLEARLY_BACK = 4.0
"""So many standard errors they lie apart from those that were away (house rule). What that costs and how
much sooner it tells: `tests/simulation/over_rates.py`."""


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
    mended: int | None = None  # the first point after people had mended its cause
    held: bool | None = None  # whether the points since bear that out; None: not yet known
    reopens: str = ""  # serial at which the signal was raised first that this one opens again
    closing: int | None = None  # number of the closing that it gives the lie to
    firm: bool = False  # told before as over: kind, start, size and end stay as they were told
    zeroed: bool = False  # over where a gauge was put right that had been found off


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
    later = [name for name in ("ended", "mended") if getattr(signal, name) is not None]
    names = ("point", "start", "start_low", "start_high", *later)
    return replace(signal, **{name: places[getattr(signal, name) - 1] + 1 for name in names})


def frozen_among(baseline: tuple[int, int] | None, places: Sequence[int]) -> tuple[int, int] | None:
    """Return which of the points at these places (0-based) are frozen, from 1: the first and the last."""
    own = [n for n, place in enumerate(places, 1) if baseline and baseline[0] <= place + 1 <= baseline[1]]
    return (own[0], own[-1]) if own else None


def is_back(old: float, away: float, new: float) -> bool:
    """Say whether what had gone from `old` to `away` has come back."""
    return abs(float(new - old)) <= BACK_SHARE * abs(float(away - old))


def came_back(old: Floats, away: Floats, new: Floats) -> bool:
    """Say whether the newer pieces are as the old ones were: near them, and not clearly apart from them."""
    if not is_back(old.mean(), away.mean(), new.mean()):
        return False
    if min(old.size, new.size) < LEAST_OLD:
        return True
    squares = float(((old - old.mean()) ** 2).sum() + ((new - new.mean()) ** 2).sum())
    error = float((squares / (old.size + new.size - 2) * (1 / old.size + 1 / new.size)) ** 0.5)
    return error == 0.0 or abs(float(new.mean() - old.mean())) <= CLEARLY_APART * error


def apart_from(own: FoundChange, all_found: Sequence[FoundChange], pieces: int) -> frozenset[int]:
    """Return the pieces that other changes speak of: they say nothing of what came with this one."""
    away: set[int] = set()
    for other in all_found:
        if other.start == own.start:
            continue
        if other.kind == "single":
            away.add(other.start)
        elif other.ended is not None:
            away.update(range(other.start, other.ended))
        elif other.start < own.start:
            away.update(range(1, other.start))
        else:
            away.update(range(other.start, pieces + 1))
    return frozenset(away)

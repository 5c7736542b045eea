"""What all pieces since say of a change: its kind, where it began, and how large it is.

A signal is raised on as few pieces as can be; those made since tell, place and measure the change far better.
Kind, start and size are therefore worked out anew each time; the piece at which it was raised stays.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
from scipy.special import stdtrit

from qc.stats import (
    Floats,
    KindFit,
    Placed,
    WearBreak,
    fit_kinds,
    place_level,
    place_spread,
)
from qc.watch.changes.findings import ENOUGH_TO_RETURN, FoundChange, Side
from qc.watch.changes.judged import LEAST_TOLD_APART, JudgedSeries, State

FitKind = Literal["steady", "single", "shift", "trend", "spread", "passing"]
LASTING: tuple[Literal["shift"], Literal["trend"], Literal["spread"]] = ("shift", "trend", "spread")
LEVEL_KINDS: tuple[Literal["shift"], Literal["trend"]] = ("shift", "trend")

ENOUGH_TO_PLACE = 3
"""So many pieces after a signal place its start anew; fewer hardly tell more than those that raised it (house
rule)."""

ON_THE_EVE = 2
"""A start may turn out to lie so many pieces after the signal: raised by chance on the eve of it."""

GIVES_WAY = 1.0
"""A kind gives way to one that explains the pieces better by so much log likelihood. Simulated by
`tests/simulation/start_coverage.py`."""

CONTRADICTED, PASSED = 0.0, 4.0
"""A signal is over where no change at all, or an excursion that has passed, explains all pieces better by so
much than any lasting change does. Simulated by `tests/simulation/standing_rates.py`."""

TO_SPREAD = 0.5
"""One piece or a step gives way to a change of the spread by so much. Simulated by
`tests/simulation/kind_rates.py`: with 1 for a step and 2 for a piece fewer doubled spreads are told rightly,
and no fewer pieces of six sigma or steps are taken for a spread."""

MOST_PUT_BACK = 6
"""So many pieces told as a `single` at most are looked at as the first ones of a change; each costs a fit of
all kinds (house rule)."""

TO_A_CLIMB = 0.5
"""A step gives way to a climb by so much, and a climb to a step where it leads by less. Simulated by
`tests/simulation/kind_rates.py`: steps are hardly ever told as climbs; with 2 (steps being eight times as
common) not half as many slow climbs are told as such after 40 pieces."""


def begin_of(kept: Sequence[FoundChange], signal: FoundChange) -> int:
    """Return the first point of the state that a signal ended: the start of the last change still lasting."""
    starts = [s.start for s in kept if s.kind != "single" and s.ended is None and s.start < signal.start]
    return max(starts, default=1)


def measured_anew(
    signal: FoundChange,
    kept: Sequence[FoundChange],
    judged: JudgedSeries,
) -> FoundChange:
    """Give a change the kind, start and size that all its pieces show, not only those seen when raised.

    Parameters
    ----------
    signal : FoundChange
        One of `kept`; a count comes back as it is.
    kept : sequence of FoundChange
        All findings of the series, in order; those before `signal` are already measured anew.
    judged : JudgedSeries
        The series and how it is judged.

    Returns
    -------
    FoundChange
        Of a shift the interval is Welch's two-sample t at 95 %; the doubt about the start widens it no more
        once several pieces lie on either side.
    """
    if signal.kind == "count" or signal.firm:
        return signal
    begin, values = begin_of(kept[: kept.index(signal)], signal), judged.values
    passed = passed_before(signal, kept)
    state = judged.between(begin, end_of(signal, kept, values.size), singles_of(kept), passed)
    if state is not None:
        signal = _told_anew(signal, kept, state)
        if signal.kind == "spread":
            return _spread_anew(signal, state if signal.ended is None else state.until(signal.ended))
        if signal.kind == "trend":
            return _climb_anew(signal, state.until(end_of(signal, kept, values.size)))
    if signal.kind == "single":
        end = end_of(signal, kept, values.size)
        others = singles_of(kept) | passed | {signal.start}
        return _alone(signal, float(values[signal.start - 1]), _part(values, begin, end, others))
    if signal.kind not in {"shift", "trend"}:
        return signal
    end = min(end_of(signal, kept, values.size), signal.ended or values.size + 1)
    apart = singles_of(kept) | passed
    if state is not None:
        state = state.until(end)
        back = _put_back(signal, kept, state)
        signal = _step_anew(signal, replace(state, apart=state.apart - {i - begin + 1 for i in back}))
        apart -= back
    return _sized(signal, _part(values, begin, signal.start, apart), _part(values, signal.start, end, apart))


def stepped_at(
    signal: FoundChange,
    kept: Sequence[FoundChange],
    values: Floats,
    start: int,
    left_out: frozenset[int] = frozenset(),
) -> FoundChange:
    """Tell a change of the level as a step that begins at a point, and measure it; its set stays.

    Parameters
    ----------
    signal : FoundChange
        One of `kept`, which are all findings of the series, in order.
    values : float array
        The series. [unit]
    start : int
        Ordinal of the point.
    left_out : frozenset of int
        Ordinals of points that are not counted.
    """
    begin = begin_of(kept[: kept.index(signal)], signal)
    end = min(end_of(signal, kept, values.size), signal.ended or values.size + 1)
    apart = singles_of(kept) | passed_before(signal, kept) | left_out
    stepped = replace(signal, kind="shift", start=start)
    return _sized(stepped, _part(values, begin, start, apart), _part(values, start, end, apart))


def fits_of(state: State, apart: Collection[int], until: int | None = None) -> dict[FitKind, KindFit]:
    """Fit every kind to a state, `apart` set aside at its price; what is of another state is not there."""
    here = [i for i in range(1, state.values.size + 1) if i not in state.gone]
    place = {i: n for n, i in enumerate(here, 1)}
    fits = fit_kinds(
        state.scale[[i - 1 for i in here]],
        apart=[place[i] for i in apart if i in place],
        until=None if until is None else sum(i <= until for i in here),
        floor=state.floor,
        noise=state.noise,
        lots=None if state.lots is None else [state.lots[i - 1] for i in here],
    )
    return {kind: fit._replace(start=here[fit.start - 1]) for kind, fit in fits.items()}


def singles_of(kept: Sequence[FoundChange]) -> frozenset[int]:
    """Return the ordinals of the pieces told as a `single`."""
    return frozenset(s.start for s in kept if s.kind == "single")


def passed_before(signal: FoundChange, kept: Sequence[FoundChange]) -> frozenset[int]:
    """Return the ordinals of pieces made under changes of the level that were told as over before.

    They are of another state than the one that `signal` left, and than the one that it led to.
    """
    over = [
        s
        for s in kept
        if (s.firm or s.zeroed) and s.kind not in {"single", "spread"} and s.point < signal.point
    ]
    return frozenset(place for s in over if s.ended is not None for place in range(s.start, s.ended))


def end_of(signal: FoundChange, kept: Sequence[FoundChange], size: int) -> int:
    """Return the ordinal at which the next lasting change begins."""
    later = [s.start for s in kept if s.kind != "single" and s.ended is None and s.start > signal.start]
    return min(later, default=size + 1)


def _told_anew(signal: FoundChange, kept: Sequence[FoundChange], whole: State) -> FoundChange:
    """Give a change the kind that explains its state best, where another than its own clearly does."""
    state = whole.until(end_of(signal, kept, whole.begin + whole.values.size - 1))
    if state.values.size < LEAST_TOLD_APART or state.since(signal.point) < ENOUGH_TO_PLACE:
        return signal
    until = signal.point - state.begin + 1
    fits = fits_of(state, state.apart, until)
    if signal.ended is None and _contradicted(signal, state, fits):
        return replace(signal, ended=_end_of_excursion(signal, state, fits))
    lead = {k: fit.support - max(f.support for f in fits.values() if f is not fit) for k, fit in fits.items()}
    if signal.kind == "spread":
        return _no_spread(signal, state, fits, lead)
    start = fits["spread"].start + state.begin - 1
    if lead["spread"] > TO_SPREAD and start <= signal.point + ON_THE_EVE:
        return replace(signal, kind="spread", side="both", ended=None)
    if signal.kind == "shift" and signal.ended is None and lead["trend"] > TO_A_CLIMB:
        return replace(signal, kind="trend")
    if signal.kind == "trend" and fits["trend"].support - fits["shift"].support < TO_A_CLIMB:
        return replace(signal, kind="shift")
    return signal


def _contradicted(signal: FoundChange, state: State, fits: Mapping[FitKind, KindFit]) -> bool:
    """Say whether what came after a signal disproves it: the pieces look steady, or as if it had passed."""
    if signal.kind == "single" or state.since(signal.point) < ENOUGH_TO_RETURN:
        return False
    lasting = max(fits[kind].support for kind in LASTING if kind in fits)
    passed = "passing" in fits and fits["passing"].support - lasting > PASSED
    return passed or fits["steady"].support - lasting > CONTRADICTED


def _end_of_excursion(signal: FoundChange, state: State, fits: Mapping[FitKind, KindFit]) -> int:
    """Return the first piece after an excursion that has passed; of what was none at all, after the signal.

    What came after the signal falls into two levels, where that leaves the fewest squares; else pieces made
    while it lasted would count among those of the state before.
    """
    first = signal.point + 1
    since = state.values[signal.start - state.begin :]
    least = first - signal.start  # pieces that are away for certain
    passed = "passing" in fits and fits["passing"].support > fits["steady"].support
    if not passed or signal.kind == "spread" or since.size <= least + 1:
        return first
    squares = [
        sum(float(((part - part.mean()) ** 2).sum()) for part in (since[:split], since[split:]))
        for split in range(least, since.size)
    ]
    return first + int(np.argmin(squares))


def _no_spread(
    signal: FoundChange, state: State, fits: Mapping[FitKind, KindFit], lead: Mapping[FitKind, float]
) -> FoundChange:
    """Give a change of the spread that turns out to be one of the level, or one wild piece, its own kind."""
    for kind in LEVEL_KINDS:
        early = fits[kind].start + state.begin - 1 <= signal.point + ON_THE_EVE
        if lead[kind] > GIVES_WAY and early:
            return replace(signal, kind=kind, side="below" if state.falls(fits[kind].start) else "above")
    start = fits["single"].start + state.begin - 1
    if lead["single"] <= GIVES_WAY or start > signal.point:
        return signal
    rest = np.delete(state.values, fits["single"].start - 1)
    alone = replace(signal, kind="single", start=start, ended=None)
    return _alone(alone, float(state.values[start - state.begin]), rest)


def _alone(signal: FoundChange, value: float, rest: Floats) -> FoundChange:
    """Measure how far one piece stands from the rest of its state; its place is not in doubt."""
    signal = replace(signal, start_low=signal.start, start_high=signal.start)
    if rest.size < 3:
        return signal
    size, sd = value - float(rest.mean()), float(rest.std(ddof=1))
    half = float(stdtrit(rest.size - 1, 0.975)) * sd * (1 + 1 / rest.size) ** 0.5
    return _measured(signal, size, half, sd)


def _spread_anew(signal: FoundChange, state: State) -> FoundChange:
    """Place and measure a change of the spread; pieces set aside belong to its scatter."""
    if state.values.size < LEAST_TOLD_APART or state.since(signal.point) < ENOUGH_TO_PLACE:
        return signal
    judged = None if state.scale is state.values else state.scale
    placed = place_spread(state.values, state.floor, judged, noise=state.noise, lots=state.lots)
    if state.begin + placed.start - 1 > signal.point + ON_THE_EVE:
        return signal
    return put_at(signal, placed, range(state.begin, state.begin + state.values.size))


def _climb_anew(signal: FoundChange, state: State) -> FoundChange:
    ordinals = state.ordinals()
    if len(ordinals) < LEAST_TOLD_APART or state.since(signal.point) < ENOUGH_TO_PLACE:
        return signal
    placed = place_level(state.kept(), "trend", state.floor, noise=state.noise, lots=state.kept_lots())
    if ordinals[placed.start - 1] > signal.point + ON_THE_EVE:
        return signal
    size, low, high = state.in_unit((placed.size, *placed.size_interval), placed.start)
    return put_at(signal, placed._replace(size=size, size_interval=(low, high)), ordinals)


def _put_back(signal: FoundChange, kept: Sequence[FoundChange], state: State) -> frozenset[int]:
    """Return the pieces told as a `single` that were the first of the new level, as far as they explain it.

    The first pieces of a change may each stand apart from all before; only with the next ones is it a change.
    """
    ordinals = sorted(
        (s.start for s in kept if s.kind == "single" and s.side == signal.side and s.start <= signal.point),
        reverse=True,
    )
    mine = [i for i in ordinals if state.begin < i < state.begin + state.values.size][:MOST_PUT_BACK]
    if len(state.ordinals()) < LEAST_TOLD_APART or not mine:
        return frozenset()
    support = []
    for count in range(len(mine) + 1):
        apart = state.apart - {i - state.begin + 1 for i in mine[:count]}
        fits = fits_of(state, apart)
        support.append(fits["shift"].support)
    return frozenset(mine[: int(np.argmax(support))])


def _step_anew(signal: FoundChange, state: State) -> FoundChange:
    """Place the start where one change of level among these pieces is likeliest."""
    ordinals = state.ordinals()
    if len(ordinals) < LEAST_TOLD_APART or state.since(signal.point) < ENOUGH_TO_PLACE:
        return signal
    placed = place_level(state.kept(), "shift", state.floor, noise=state.noise, lots=state.kept_lots())
    start = ordinals[placed.start - 1]
    if start > signal.point + ON_THE_EVE:
        return signal
    low, high = (ordinals[place - 1] for place in placed.start_set)
    return replace(signal, start=start, start_low=low, start_high=high)


def put_at(signal: FoundChange, placed: Placed | WearBreak, ordinals: Sequence[int]) -> FoundChange:
    """Put what was found in a state into ordinals of the series."""
    low, high = (ordinals[place - 1] for place in placed.start_set)
    side: Side = "both" if signal.kind == "spread" else "above" if placed.size > 0 else "below"
    return replace(
        signal,
        side=side,
        start=ordinals[placed.start - 1],
        start_low=low,
        start_high=high,
        size=placed.size,
        size_low=placed.size_interval[0],
        size_high=placed.size_interval[1],
        size_sigma=placed.size_sigma,
    )


def _sized(signal: FoundChange, old: Floats, new: Floats) -> FoundChange:
    """Measure a shift between the pieces before it and since."""
    if signal.kind == "trend" or old.size < 3 or new.size < 3:
        return signal
    size = float(new.mean() - old.mean())
    half = _welch_half_width(old, new)
    squares = float(((new - new.mean()) ** 2).sum() + ((old - old.mean()) ** 2).sum())
    sd = (squares / (new.size + old.size - 2)) ** 0.5
    return _measured(signal, size, half, sd)


def _measured(signal: FoundChange, size: float, half: float, sd: float) -> FoundChange:
    """Give a change its size with an interval; where nothing scatters, its size in sigmas stays as raised."""
    side: Side = signal.side if size == 0 else "above" if size > 0 else "below"
    in_sigma = size / sd if sd > 0 else signal.size_sigma
    return replace(
        signal, side=side, size=size, size_low=size - half, size_high=size + half, size_sigma=in_sigma
    )


def _welch_half_width(old: Floats, new: Floats) -> float:
    """Half width of the 95 % interval of a difference of means with unlike spreads.

    Written out, because two stretches without any scatter have an interval (of no width) too.
    """
    parts = [float(part.var(ddof=1)) / part.size for part in (old, new)]
    if sum(parts) == 0:
        return 0.0
    freedom = sum(parts) ** 2 / sum(p**2 / (part.size - 1) for p, part in zip(parts, (old, new), strict=True))
    return float(stdtrit(freedom, 0.975) * sum(parts) ** 0.5)


def _part(values: Floats, first: int, end: int, apart: Collection[int]) -> Floats:
    return np.array([values[i - 1] for i in range(first, end) if i not in apart])

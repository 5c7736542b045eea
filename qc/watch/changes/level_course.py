"""The course of a series about one level: its changes, stretches, settled state and limits.

A measured figure goes to the change-point detector in the shape the plan names, a count or a pass-fail figure
to its exact counterpart. A second change that leads back to the old level belongs to the life of the first:
the first is marked ended.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from typing import Literal

import numpy as np

from qc.plan import Characteristic, DatedLimits, Plan
from qc.stats import (
    NORMAL,
    PRIOR,
    Floats,
    KeptState,
    Noise,
    StatisticsError,
    count_further,
    detect_further,
    natural_limits,
)
from qc.watch.changes.findings import (
    ENOUGH_TO_RETURN,
    LEAST_OLD,
    FoundChange,
    FoundChanges,
    finding_of,
    frozen_among,
    in_series,
    is_back,
)
from qc.watch.changes.joining import all_measured_anew
from qc.watch.changes.judged import JudgedSeries
from qc.watch.changes.kept_states import SETTLED, WHOLE, KeptStates, signals_of
from qc.watch.changes.sizing import begin_of
from qc.watch.results import LEARNING, Forecast, Point, SignalResult, StretchResult, Suspect, present_points

Pieces = Sequence[Point]
Frozen = tuple[int, int] | None  # first and last ordinal

ESTABLISHED = 20
"""A change that has lasted for so many pieces, and longer than the state before it, is the usual state: what
leads away from it is a change of its own, also where it leads back (house rule)."""

CLEARLY_APART = 2.5
"""So many standard errors apart two states are two, however far the pieces between lay (house rule; of steady
series one look in eighty)."""

GUARANTEE = 0.90
"""Confidence of the limits of the settled state, as of the set of a start (house rule)."""


@dataclass(frozen=True, slots=True)
class LevelCourse:
    """A series that is judged about one level; what wears has a course of its own, see `WornCourse`.

    Attributes
    ----------
    characteristic : Characteristic
        Gives the kind of figure and its shape.
    points : tuple of Point
        The series, in order of making; those left out are marked and take no part in judging.
    baseline : (int, int) or None
        Ordinals of a frozen settled state: pieces after it are compared with it. Up to its end the series is
        judged as it always was.
    step : float or None
        Step that the gauge leaves in the figures, see `step_of`. [unit of the figure]
    noise : sequence of Noise
        How pieces scatter as far as it was known when each was made, one a point; empty: what is taken for
        granted without.
    lots : sequence of str or None
        The lot of each point; empty where none are recorded.
    """

    characteristic: Characteristic
    points: tuple[Point, ...]
    baseline: tuple[int, int] | None = None
    step: float | None = None
    noise: Sequence[Noise] = ()
    lots: Sequence[str | None] = ()

    @property
    def frozen(self) -> tuple[int, int] | None:
        """Ordinals of the frozen settled state that the newest pieces are compared with."""
        return self.baseline

    def changes(self, rate: float | Sequence[float], kept: KeptStates | None = None) -> FoundChanges:
        """Find where the series changed.

        Parameters
        ----------
        rate : float or sequence of float
            Chance of a false signal per point, one for all or one for each.
        kept : mapping of str to KeptState, optional
            What was left when the series was judged before: only what has changed since is judged again. What
            is found is the same without.

        Returns
        -------
        FoundChanges
            In order of the points at which they were raised; empty below four points.
        """
        places = self._judged()
        judged = [self.points[place] for place in places]
        try:
            found = self._raised(judged, self._rates(rate, places), self._frozen(places), kept or {})
        except StatisticsError as error:
            return FoundChanges(notes=(f"Not judged: {error}.",))
        told = self._told(found.signals, judged)
        return replace(found, signals=tuple(in_series(s, places) for s in told))

    def until(self, pieces: int) -> LevelCourse:
        """Return the course of its first so many pieces."""
        return replace(self, points=self.points[:pieces], noise=self.noise[:pieces], lots=self.lots[:pieces])

    def followed(self, rate: float | Sequence[float], kept: KeptStates) -> KeptStates:
        """Go on with the detector to the last piece and tell nothing; as for `changes`."""
        places = self._judged()
        judged = [self.points[place] for place in places]
        try:
            return self._raised(judged, self._rates(rate, places), self._frozen(places), kept).kept
        except StatisticsError:
            return {}

    def settled(self, kept: KeptStates) -> list[tuple[int, ...]]:
        """Return the places (0-based) of the pieces of each settled stretch.

        Parameters
        ----------
        kept : mapping of str to KeptState
            How far the series was judged; what had been raised by its last piece cuts it.

        Returns
        -------
        list of tuple of int
            In order, without the pieces that were left out or stood apart from the rest.
        """
        places = self._judged()
        frozen = self._frozen(places)
        cuts, apart = {0, len(places)}, set()
        for name, signal in ((name, s) for name, own in kept.items() for s in signals_of(own)):
            before = frozen[0] - 1 if frozen and name == SETTLED else 0
            late = name == WHOLE and frozen and signal.point > frozen[1]
            if late or signal.point + before > len(places):
                continue
            lasts = signal.confirmed is not None and signal.confirmed + before <= len(places)
            if signal.kind == "single" and not lasts:
                apart.add(signal.start + before - 1)
            else:
                cuts.add(signal.start + before - 1)
        return [
            tuple(places[n] for n in range(first, end) if n not in apart)
            for first, end in pairwise(sorted(cuts))
        ]

    def stretches(self, signals: Sequence[SignalResult]) -> tuple[StretchResult, ...]:
        """Cut the series at the starts (and ends) of its changes."""
        if not self.points:
            return ()
        cuts = dict.fromkeys((1, *self._joints()), False)
        for signal in signals:
            if signal.kind != "single":
                cuts[signal.start] = True
                if signal.ended is not None:
                    cuts[signal.ended] = False
        firsts = sorted(cuts)
        lasts = [first - 1 for first in firsts[1:]] + [len(self.points)]
        found = []
        for first, last in zip(firsts, lasts, strict=True):
            own = self.points[first - 1 : last]
            values = np.array([p.value for p in own if not p.left_out] or [p.value for p in own])
            sd = float(values.std(ddof=1)) if values.size > 1 else None
            mean, ends = float(values.mean()), self._ends(own)
            found.append(StretchResult(first, last, mean, sd, int(values.size), cuts[first], *ends))
        return tuple(found)

    def present(self, signals: Sequence[SignalResult]) -> tuple[Point, ...]:
        """Return the points of the state that the series is in now."""
        return present_points(self.points, signals, self.frozen)

    def limits(self, present: Sequence[Point], rate: float) -> tuple[float | None, float | None]:
        """Limits of the settled state for the next piece; they hold the rate with 90 % confidence."""
        own = self._settled(present)
        values = np.array([p.value for p in own])
        if values.size < LEARNING or not float(values.std(ddof=1)) > 0:
            return None, None
        found = natural_limits(
            values,
            self.known,
            rate,
            lots=self.lots_among(own),
            shape=self.shape,
            confidence=GUARANTEE,
            resolution=self.step,
        )
        return found or (None, None)

    @property
    def shape(self) -> Literal["auto", "normal", "positive", "any"]:
        """The shape in use: logarithms serve only where nothing lies below 0."""
        below = any(p.value < 0 for p in self.points if not p.left_out)
        return "any" if self.characteristic.shape == "positive" and below else self.characteristic.shape

    @property
    def known(self) -> Noise:
        """What is known of the scatter of the newest piece."""
        if self.noise:
            return self.noise[-1]
        measured = self.characteristic.kind == "measured"
        return PRIOR if measured and self.characteristic.shape == "auto" else NORMAL

    def lots_among(self, points: Sequence[Point]) -> list[str | None] | None:
        """Return the lots of some of its points, None where none are recorded."""
        return [self.lots[p.ordinal - 1] for p in points] if self.lots else None

    def note(self) -> str:
        """Say what is to be known of how a frozen state is used, empty where nothing is."""
        return ""

    def forecast(
        self, signals: Sequence[SignalResult], limits: DatedLimits, today: date, plan: Plan
    ) -> Forecast | None:
        """Say where the figure is going; a level goes nowhere."""
        return None

    def own_suspect(self, signal: SignalResult, plan: Plan) -> Suspect | None:
        """Return what is to be suspected first by the course alone; of a level, nothing."""
        return None

    def _judged(self) -> list[int]:
        """Return the places (0-based) of the points that take part in judging."""
        return [place for place, point in enumerate(self.points) if not point.left_out]

    def _rates(self, rate: float | Sequence[float], places: Sequence[int]) -> Floats:
        each = np.broadcast_to(np.asarray(rate, dtype=np.float64), len(self.points))
        return np.asarray(each[list(places)])

    def _frozen(self, places: Sequence[int]) -> Frozen:
        return frozen_among(self.baseline, places)

    def _settled(self, present: Sequence[Point]) -> Sequence[Point]:
        """Return the pieces of the settled state: of a frozen one those that were frozen."""
        if not self.frozen:
            return present
        return [p for p in present if p.ordinal <= self.frozen[1]] or present

    def _joints(self) -> Sequence[int]:
        """Return ordinals at which the series is cut although nothing changed."""
        return ()

    def _ends(self, own: Sequence[Point]) -> tuple[float | None, float | None]:
        """Return the heights at which a line through these pieces begins and ends; a level has none."""
        return None, None

    def _raised(self, points: Pieces, rates: Floats, frozen: Frozen, kept: KeptStates) -> FoundChanges:
        """Run the detector over the judged points; `frozen` says which of them are, from 1."""
        left: dict[str, KeptState] = {}
        found, notes, left[WHOLE] = self._followed(points, rates, kept.get(WHOLE))
        if frozen is not None:
            first, last = frozen
            after, _, left[SETTLED] = self._followed(
                points[first - 1 :], rates[first - 1 :], kept.get(SETTLED), last - first + 1
            )
            own = range(first - 1, len(points))
            found = [s for s in found if s.point <= last] + [in_series(s, own) for s in after]
        return FoundChanges(tuple(found), notes, left)

    def _followed(
        self, points: Pieces, rates: Floats, before: KeptState | None, settled: int = 0
    ) -> tuple[list[FoundChange], tuple[str, ...], KeptState]:
        """Go on from where the detector stood; the first `settled` points raise nothing."""
        kind, values = self.characteristic.kind, values_of(points)
        known = before or KeptState()
        if kind != "measured":
            sizes = np.array([p.size or 1.0 for p in points])
            counted, left = count_further(
                values, sizes, rates, before=known, pass_fail=kind == "pass-fail", settled=settled
            )
            return [finding_of(s) for s in counted.signals], (), left
        result, left = detect_further(
            values,
            false_alarm_rate=rates,
            labels=[p.serial for p in points],
            before=known,
            shape=self.shape,
            resolution=self.step,
            settled=settled,
            noise=[self.noise[p.ordinal - 1] for p in points] if self.noise else None,
            lots=self.lots_among(points),
        )
        notes: tuple[str, ...] = ()
        if result.resolution is not None and _coarse(values, result.resolution):
            notes = ("The steps of the gauge are coarse against the scatter; small changes cannot be seen.",)
        return [finding_of(s) for s in result.signals], notes, left

    def _told(self, found: Sequence[FoundChange], points: Pieces) -> tuple[FoundChange, ...]:
        """Tell what was raised by all pieces made since."""
        values = values_of(points)
        noise = self.known if self.noise else None
        judged = JudgedSeries(values, self.characteristic.shape, noise, self.lots_among(points))
        return all_measured_anew(_with_returns(found, values), judged)


def values_of(points: Pieces) -> Floats:
    """Return the charted figures of some points, in their unit."""
    return np.array([p.value for p in points], dtype=np.float64)


def _coarse(values: Floats, resolution: float) -> bool:
    return values.size > 1 and resolution >= float(values.std(ddof=1))


def _with_returns(found: Sequence[FoundChange], values: Floats) -> tuple[FoundChange, ...]:
    """Mark changes that ended in a return to the old state; a signal that only tells of it is dropped."""
    kept: list[FoundChange] = []
    lasting = [s for s in found if s.kind != "single"]
    for signal in found:
        if signal.kind == "single":
            kept.append(signal)
            continue
        left = _left_again(kept, signal, values)
        if left is not None:
            kept[left:] = [_ended(s, signal.start) for s in kept[left:]]
            continue
        following = next((s.start for s in lasting if s.point > signal.point), values.size + 1)
        faded = _faded(signal, values, begin_of(kept, signal), following)
        kept.append(replace(signal, ended=signal.point + 1) if faded else signal)
    return tuple(kept)


def _ended(signal: FoundChange, ended: int) -> FoundChange:
    return signal if signal.kind == "single" or signal.ended is not None else replace(signal, ended=ended)


def _left_again(kept: Sequence[FoundChange], signal: FoundChange, values: Floats) -> int | None:
    """Return the place of the earliest lasting change whose old level the series came back to, or None."""
    if signal.kind == "spread":
        return None
    for place, first in enumerate(kept):
        if first.kind not in {"shift", "trend"} or first.ended is not None or first.side == signal.side:
            continue
        old = values[begin_of(kept[:place], first) - 1 : first.start - 1]
        away = values[first.start - 1 : signal.start - 1]
        new = values[signal.start - 1 :]
        if away.size > max(old.size, ESTABLISHED):
            continue  # what lasted longer than the state before it was the usual one: leaving it is news
        if old.size and away.size and new.size and _came_back(old, away, new):
            return place
    return None


def _faded(signal: FoundChange, values: Floats, begin: int, following: int) -> bool:
    """Say whether the pieces made after a signal are as they were before it began.

    The judgement starts anew after a signal, so a quiet return raises none of its own; without this a false
    signal would stand as a lasting change for good. Where hardly anything came before, the first pieces were
    apart and what followed is the settled state.
    """
    old = values[begin - 1 : signal.start - 1]
    away = values[signal.start - 1 : signal.point]
    new = values[signal.point : following - 1]
    if new.size < ENOUGH_TO_RETURN:
        return False
    if old.size < LEAST_OLD:
        return True
    if signal.kind == "spread":
        spreads = [float(part.std(ddof=1)) if part.size > 1 else 0.0 for part in (old, away, new)]
        return min(spreads) > 0 and is_back(*np.log(spreads))
    return _came_back(old, away, new)


def _came_back(old: Floats, away: Floats, new: Floats) -> bool:
    """Say whether the newer pieces are as the old ones were: near them, and not clearly apart from them."""
    if not is_back(old.mean(), away.mean(), new.mean()):
        return False
    if min(old.size, new.size) < LEAST_OLD:
        return True
    squares = float(((old - old.mean()) ** 2).sum() + ((new - new.mean()) ** 2).sum())
    error = float((squares / (old.size + new.size - 2) * (1 / old.size + 1 / new.size)) ** 0.5)
    return error == 0.0 or abs(float(new.mean() - old.mean())) <= CLEARLY_APART * error

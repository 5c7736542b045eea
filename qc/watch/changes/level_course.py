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
    FoundChange,
    FoundChanges,
    finding_of,
    frozen_among,
    in_series,
)
from qc.watch.changes.joining import all_measured_anew
from qc.watch.changes.judged import JudgedSeries
from qc.watch.changes.kept_states import SETTLED, WHOLE, KeptStates, signals_of
from qc.watch.changes.mended import Split, judged_together, mends_among, told_beside_mends
from qc.watch.changes.returns import with_returns
from qc.watch.changes.told_over import with_told_ends
from qc.watch.changes.zeroed import gauge_suspect, with_zeroed_ends
from qc.watch.gauges import FoundOff
from qc.watch.mends import Mend
from qc.watch.results import LEARNING, Forecast, Point, SignalResult, StretchResult, Suspect, present_points

Pieces = Sequence[Point]
Frozen = tuple[int, int] | None  # first and last ordinal

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
    mends : tuple of Mend
        Causes that people have mended: what was made since is compared with the state before.
    over : tuple of SignalResult
        Findings told as over by themselves before, as they were told last: they keep their end.
    off : tuple of FoundOff
        Stretches in which a gauge read wrongly, as its checks found later.
    """

    characteristic: Characteristic
    points: tuple[Point, ...]
    baseline: tuple[int, int] | None = None
    step: float | None = None
    noise: Sequence[Noise] = ()
    lots: Sequence[str | None] = ()
    mends: tuple[Mend, ...] = ()
    over: tuple[SignalResult, ...] = ()
    off: tuple[FoundOff, ...] = ()

    @property
    def wears(self) -> bool:
        """Whether it wears with a tool: its changes end when that is fitted anew."""
        return bool(self.characteristic.wears_with)

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
            found, told = self._judge(judged, self._rates(rate, places), self._frozen(places), kept or {})
        except StatisticsError as error:
            return FoundChanges(notes=(f"Not judged: {error}.",))
        ahead = [*places, len(self.points)]  # what ended at the newest piece ends at the next one
        return replace(found, signals=tuple(in_series(s, ahead) for s in told))

    def until(self, pieces: int) -> LevelCourse:
        """Return the course of its first so many pieces."""
        points = self.points[:pieces]
        # one mended later had not been mended then
        mends = tuple(mend for mend in self.mends if mend.place_among(points) < len(points))
        return replace(self, points=points, noise=self.noise[:pieces], lots=self.lots[:pieces], mends=mends)

    def followed(self, rate: float | Sequence[float], kept: KeptStates) -> KeptStates:
        """Go on with the detector to the last piece and tell nothing; as for `changes`."""
        places = self._judged()
        judged = [self.points[place] for place in places]
        try:
            return self._judge(judged, self._rates(rate, places), self._frozen(places), kept)[0].kept
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
        judged = [self.points[place] for place in places]
        frozen = self._frozen(places)
        splits = self._splits(judged, frozen, kept)
        cuts: set[int] = {0, len(places)}
        apart: set[int] = set()
        for split in splits:
            cuts.add(split.after)
            apart.update(range(split.away, split.after))
        runs = judged_together(len(places), frozen, splits)
        for name, signal in ((name, s) for name, own in kept.items() for s in signals_of(own)):
            own, end = runs.get(name, ((), 0))
            if signal.point > len(own) or own[signal.point - 1] >= end:
                continue
            lasts = signal.confirmed is not None and signal.confirmed <= len(own)
            if signal.kind == "single" and not lasts:
                apart.add(own[signal.start - 1])
            else:
                cuts.add(own[signal.start - 1])
        return [
            tuple(places[n] for n in range(first, end) if n not in apart)
            for first, end in pairwise(sorted(cuts))
        ]

    def over_since(self, found: FoundChange) -> str:
        """Return the serial of the first piece back; empty where a mend or a new tool ended a change."""
        if found.ended is None or found.ended > len(self.points) or found.mended is not None or self.wears:
            return ""
        mended = any(mend.place_among(self.points) + 1 == found.ended for mend in self.mends)
        return "" if mended else self.points[found.ended - 1].serial

    def stretches(self, signals: Sequence[SignalResult]) -> tuple[StretchResult, ...]:
        """Cut the series at the starts (and ends) of its changes."""
        if not self.points:
            return ()
        cuts = dict.fromkeys((1, *self._joints()), False)
        for signal in signals:
            if signal.kind != "single":
                cuts[signal.start] = True
                if signal.ended is not None and signal.ended <= len(self.points):
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

    def forecast(self, signals: Sequence[SignalResult], limits: DatedLimits, plan: Plan) -> Forecast | None:
        """Say where the figure is going; a level goes nowhere."""
        return None

    def own_suspect(self, signal: SignalResult, plan: Plan, today: date | None = None) -> Suspect | None:
        """Return what is certain to be suspected first: of a level, a gauge that was found off."""
        return gauge_suspect(self.off, self.points, signal, today)

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

    def _judge(
        self, points: Pieces, rates: Floats, frozen: Frozen, kept: KeptStates
    ) -> tuple[FoundChanges, Sequence[FoundChange]]:
        """Judge the judged points, and tell what was found; `frozen` says which of them are, from 1."""
        found = self._raised(points, rates, frozen, kept)
        mends = mends_among(points, self.mends)
        if not mends:
            return found, self._told(found.signals, points)
        left = dict(found.kept)

        def follow(name: str, own: Sequence[int], settled: int) -> Sequence[FoundChange]:
            part, at = [points[place] for place in own], rates[list(own)]
            after, state = self._beside(part, at, kept.get(name), settled)
            if state is not None:
                left[name] = state
            return after

        mended = told_beside_mends(
            points, mends, found.signals, frozen, self._told, follow, refitted=self.wears
        )
        return replace(found, kept=left), mended.signals

    def _splits(self, points: Pieces, frozen: Frozen, kept: KeptStates) -> tuple[Split, ...]:
        """Return where mends split a series that was judged as far as `kept` says."""
        mends = mends_among(points, self.mends)
        if not mends:
            return ()

        def raised(name: str, own: Sequence[int], settled: int) -> Sequence[FoundChange]:
            return [finding_of(s) for s in signals_of(kept.get(name, KeptState())) if s.point <= len(own)]

        whole = [s for s in raised(WHOLE, range(len(points)), 0) if not frozen or s.point <= frozen[1]]
        if frozen:
            own = range(frozen[0] - 1, len(points))
            whole += [in_series(s, own) for s in raised(SETTLED, own, 0)]
        return told_beside_mends(points, mends, whole, frozen, self._told, raised, refitted=self.wears).splits

    def _beside(
        self, points: Pieces, rates: Floats, before: KeptState | None, settled: int
    ) -> tuple[Sequence[FoundChange], KeptState | None]:
        """Judge pieces beside the first so many, which are a settled state."""
        found, _, left = self._followed(points, rates, before, settled)
        return found, left

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
        known = with_told_ends(found, self.over, points, values)
        known = with_zeroed_ends(known, self.off, points, values)
        return all_measured_anew(with_returns(known, values), judged)


def values_of(points: Pieces) -> Floats:
    """Return the charted figures of some points, in their unit."""
    return np.array([p.value for p in points], dtype=np.float64)


def _coarse(values: Floats, resolution: float) -> bool:
    return values.size > 1 and resolution >= float(values.std(ddof=1))

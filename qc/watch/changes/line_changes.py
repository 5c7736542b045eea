"""Changes of a figure that wears: each fitting of a tool is judged about its own line.

A signal is raised on as few pieces as can be; those made since say far better where the line was left and
whether it jumped or bent. The piece at which it was raised stays as it was.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from qc.stats import DetectorSignal, Floats, StatisticsError, detect_settled_line, detect_wear, wear_break
from qc.watch.changes.findings import (
    ENOUGH_TO_RETURN,
    LEAST_OLD,
    FoundChange,
    finding_of,
    frozen_among,
    in_series,
    is_back,
)
from qc.watch.changes.sizing import ON_THE_EVE, put_at
from qc.watch.changes.tool_lines import fittings
from qc.watch.results import Point

BORNE_OUT = 11.5
"""Twice the log-likelihood that a change has to gain once so many pieces have spoken.

The best break of a straight line gains more in one case of twenty (3,000 draws each of 20, 40 and 100
pieces); what a signal of chance had gained shrinks with every piece that follows, that of a change grows.
"""

PASSES = 2
"""Where a change ends depends on where the next one is placed: a second time through settles it."""


def worn_changes(
    points: Sequence[Point], values: Floats, rates: Floats, baseline: tuple[int, int] | None = None
) -> tuple[FoundChange, ...]:
    """Find where a tool left the line it wore along.

    Parameters
    ----------
    points : sequence of Point
        The series, in order of making; those without a tool or a count take no part.
    values : float array
        Their values. [unit]
    rates : float array
        Chance of a false signal of each.
    baseline : (int, int), optional
        First and last place, from 1, of a frozen settled state: pieces of the same fitting made after it are
        compared with the line through it. Up to its end they are judged as they always were.

    Returns
    -------
    tuple of FoundChange
        In order of the points at which they were raised. A change ends with its tool, or where the pieces
        come back to the old line.
    """
    runs = fittings(points)
    found: list[FoundChange] = []
    for number, places in enumerate(runs):
        x = np.array([float(points[place].tool_count or 0) for place in places])
        run = _Run(x, values[places], rates[places])
        settled = _settled(baseline, places)
        signals = run.signals() if settled is None else run.signals_beside(*settled)
        refitted = runs[number + 1][0] + 1 if number + 1 < len(runs) else None
        found += [_with_its_tool(s, places, refitted) for s in run.placed(signals, settled)]
    return tuple(sorted(found, key=lambda s: s.point))


def until_refitted(found: Sequence[FoundChange], points: Sequence[Point]) -> tuple[FoundChange, ...]:
    """End a change of wear where its tool was taken out: the next fitting wears along a line of its own."""
    firsts = [places[0] + 1 for places in fittings(points)]
    kept = []
    for signal in found:
        later = [first for first in firsts if first > signal.point]
        kept.append(replace(signal, ended=later[0] if later and signal.kind != "single" else None))
    return tuple(kept)


@dataclass(frozen=True, slots=True)
class _Run:
    """The pieces of one fitting; points count from 1 among them."""

    x: Floats
    y: Floats
    rates: Floats

    def signals(self) -> list[DetectorSignal]:
        """Judge every piece about the line through those before it."""
        found = detect_wear(self.x, self.y, false_alarm_rate=self.rates)
        return [signal for tool in found for signal in tool.detection.signals]

    def signals_beside(self, first: int, last: int) -> list[DetectorSignal]:
        """Judge the pieces after `last` about the line through `first` to `last`, earlier ones as ever."""
        part = slice(first - 1, None)
        after = detect_settled_line(
            self.x[part], self.y[part], last - first + 1, false_alarm_rate=self.rates[part]
        )
        earlier = [signal for signal in self.signals() if signal.point <= last]
        return earlier + [_moved(signal, first - 1) for signal in after]

    def placed(self, signals: Sequence[DetectorSignal], settled: tuple[int, int] | None) -> list[FoundChange]:
        """Place each lasting change by all pieces up to the next one, or say that it is over."""
        apart = {s.start for s in signals if s.kind == "single" and s.confirmed is None}
        lasting = [s for s in signals if s.kind in {"shift", "trend"} or s.confirmed is not None]
        told = [finding_of(s) for s in lasting]
        for _ in range(PASSES):
            told = self._told_anew(lasting, told, apart, settled)
        changes = [s for s in told if s.ended != s.start]  # a return belongs to the change that it ends
        return changes + [finding_of(s) for s in signals if s not in lasting]

    def _told_anew(
        self,
        lasting: Sequence[DetectorSignal],
        before: Sequence[FoundChange],
        apart: Collection[int],
        settled: tuple[int, int] | None,
    ) -> list[FoundChange]:
        """Go through the changes once; where each ends is taken from how the later ones were told before."""
        found: list[FoundChange] = []
        begin, old = 1, list[int]()
        for number, signal in enumerate(lasting):
            earliest = 1
            if settled is not None and signal.point > settled[1]:
                begin, earliest = max(begin, settled[0]), settled[1] + 1
            # a change ends at the next one that stands, and at a return; not at one that is over
            later = (s.start for s in before[number + 1 :] if s.ended in {None, s.start})
            end = next(later, self.x.size + 1)
            own = [point for point in range(begin, max(end, signal.start + 1)) if point not in apart]
            away = [point for point in own if point < signal.start]
            last = next(
                (place for place, s in enumerate(found) if s.ended is None and s.start == begin), None
            )
            if last is not None and self._returned(found[last], signal, old, away, own[len(away) :]):
                found[last] = replace(found[last], ended=signal.start)
                found.append(replace(finding_of(signal), ended=signal.start))
                begin = signal.start
                continue
            anew = None if self._faded(signal, away, own[len(away) :]) else self._anew(signal, own, earliest)
            found.append(anew or replace(finding_of(signal), ended=signal.point + 1))
            if anew is not None:
                begin, old = anew.start, [point for point in own if point < anew.start]
        return found

    def _anew(self, signal: DetectorSignal, own: Sequence[int], earliest: int) -> FoundChange | None:
        """Give a signal the break that is likeliest among its pieces; None where they do not bear it out."""
        since = sum(point > signal.point for point in own)
        part = list(own)
        while True:
            at = np.array(part, dtype=np.int64) - 1
            try:
                anew = wear_break(self.x[at], self.y[at])
            except StatisticsError:
                return finding_of(signal)
            if part[anew.start - 1] <= signal.point + ON_THE_EVE:
                break
            # the strongest break among these pieces is another one, later: look at what lies before it
            part = part[: anew.start - 1]
        # a jump one way and a climb back over the old line: the departure that was raised has ended
        turned = anew.form == "jump and bend" and anew.jump * anew.size < 0
        if turned or anew.likelihood_ratio < BORNE_OUT:
            if since >= ENOUGH_TO_RETURN:
                return None
            if turned:
                return finding_of(signal)
        told = replace(finding_of(signal), kind="shift" if anew.form == "jump" else "trend")
        return put_at(told, anew, [max(point, earliest) for point in part])

    def _faded(self, signal: DetectorSignal, old: Sequence[int], since: Sequence[int]) -> bool:
        """Say whether the pieces made after a signal are back on the line they had left when it was raised.

        Judgement starts anew after a signal, so a quiet return raises none of its own; without this a false
        signal would stand for the rest of the tool's life.
        """
        away = [point for point in since if point <= signal.point]
        new = since[len(away) :]
        if len(new) < ENOUGH_TO_RETURN or not away:
            return False
        return len(old) < LEAST_OLD or self._back(old, away, new)

    def _returned(
        self,
        first: FoundChange,
        signal: DetectorSignal,
        old: Sequence[int],
        away: Sequence[int],
        new: Sequence[int],
    ) -> bool:
        """Say whether a signal only tells that the tool is back on the line that the one before it left."""
        if (
            first.ended is not None
            or first.side == signal.side
            or len(old) < LEAST_OLD
            or not away
            or not new
        ):
            return False
        return self._back(old, away, new)

    def _back(self, old: Sequence[int], away: Sequence[int], new: Sequence[int]) -> bool:
        """Compare the mean distances from the line through the old pieces."""
        at = np.array(old) - 1
        if float(np.ptp(self.x[at])) == 0.0:
            return False
        slope, height = np.polyfit(self.x[at], self.y[at], 1)
        off = self.y - height - slope * self.x
        far, near = (abs(float(off[np.array(part) - 1].mean())) for part in (away, new))
        return is_back(0.0, far, near)


def _settled(baseline: tuple[int, int] | None, places: Sequence[int]) -> tuple[int, int] | None:
    """Return which pieces of a fitting are frozen, from 1; None where too few are for a line."""
    own = frozen_among(baseline, places)
    return own if own is not None and own[1] - own[0] + 1 >= LEAST_OLD else None


def _moved(signal: DetectorSignal, offset: int) -> DetectorSignal:
    low, high = signal.start_set
    return replace(
        signal,
        point=signal.point + offset,
        start=signal.start + offset,
        start_set=(low + offset, high + offset),
        confirmed=None if signal.confirmed is None else signal.confirmed + offset,
    )


def _with_its_tool(signal: FoundChange, places: Sequence[int], refitted: int | None) -> FoundChange:
    """Turn points of a fitting into places of the series; a change still lasting ends with its tool."""
    lasting = signal.kind != "single" and signal.ended is None
    found = in_series(signal, places)
    return replace(found, ended=refitted) if lasting else found

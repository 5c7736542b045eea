"""The detector put to work on a series: by its kind of figure, and with returns told apart from new changes.

A measured figure goes to the change-point detector in the shape the plan names, a count or a pass-fail
figure to its exact counterpart, a figure that wears to the detector on what is left of it about the line of
its tool. A second change that leads back to the old level belongs to the life of the first: the first is
marked ended.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from qc.plan import Characteristic
from qc.stats import Course, StatisticsError, count_further, detect_further
from qc.watch.changes.kept_states import SETTLED, WHOLE, KeptStates
from qc.watch.changes.line_changes import until_refitted, worn_changes
from qc.watch.changes.sizing import Finding, all_measured_anew, begin_of
from qc.watch.results import Point

if TYPE_CHECKING:
    from qc.stats import DetectorSignal

Floats = NDArray[np.float64]

BACK_SHARE = 1 / 3
"""Within this share of an excursion's size of the old level a series counts as back (house rule)."""

LEAST_OLD = 4
"""Fewer pieces than this are no settled state that later ones could have left (the detector's own start)."""

ENOUGH_TO_RETURN = 8
"""So many pieces after a signal have to speak before a quiet return is said (house rule)."""


@dataclass(frozen=True, slots=True)
class Findings:
    """All changes of a series, what has to be said about judging it, and how far it has been judged."""

    signals: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()
    kept: KeptStates = field(default_factory=dict)


def find_changes(
    characteristic: Characteristic,
    points: Sequence[Point],
    rate: float | Sequence[float],
    baseline: tuple[int, int] | None = None,
    kept: KeptStates | None = None,
) -> Findings:
    """Find where a series changed.

    Parameters
    ----------
    characteristic : Characteristic
        Gives the kind of figure, its shape, the gauge's step and the class of tool it wears with.
    points : sequence of Point
        The series, in order of making.
    rate : float or sequence of float
        Chance of a false signal per point, one for all or one for each.
    baseline : (int, int), optional
        Ordinals of a frozen settled state: pieces after it are compared with it. Up to its end the series is
        judged as it always was. Of a figure that wears they hold for their own fitting of the tool.
    kept : mapping of str to Course, optional
        What was left when the series was judged before: only what has changed since is judged again. What is
        found is the same without.

    Returns
    -------
    Findings
        In order of the points at which they were raised; empty below four points. Points that were left out
        take no part.
    """
    places = [place for place, point in enumerate(points) if not point.left_out]
    judged = [points[place] for place in places]
    each = np.full(len(points), rate) if isinstance(rate, int | float) else np.asarray(rate, dtype=np.float64)
    found = _changes(characteristic, judged, each[places], _among(baseline, places), kept or {})
    return replace(found, signals=tuple(_placed(s, places) for s in found.signals))


def _changes(
    characteristic: Characteristic,
    points: Sequence[Point],
    rates: Floats,
    baseline: tuple[int, int] | None,
    kept: KeptStates,
) -> Findings:
    values = np.array([p.value for p in points], dtype=np.float64)
    left: dict[str, Course] = {}
    try:
        if characteristic.kind == "measured" and characteristic.wears_with:
            if any(p.tool_count is not None for p in points):
                found = worn_changes(points, values, rates, baseline)
                return Findings(found, ("Judged about the wear line of each tool, not about one level.",))
        found_all, notes, left[WHOLE] = _plain(characteristic, points, rates, kept.get(WHOLE))
        if baseline is not None:
            first, last = baseline
            own = list(range(first - 1, len(points)))
            known, settled = kept.get(SETTLED), last - first + 1
            after, _, left[SETTLED] = _plain(
                characteristic, points[first - 1 :], rates[first - 1 :], known, settled
            )
            found_all = [s for s in found_all if s.point <= last] + [_placed(s, own) for s in after]
    except StatisticsError as error:
        return Findings(notes=(f"Not judged: {error}.",))
    if characteristic.wears_with:
        return Findings(until_refitted(found_all, points), notes, left)
    told = _with_returns(found_all, values)
    return Findings(all_measured_anew(told, values, characteristic.shape), notes, left)


def _among(baseline: tuple[int, int] | None, places: Sequence[int]) -> tuple[int, int] | None:
    """Return where a frozen state lies among the points that are judged."""
    inside_it = [
        n for n, place in enumerate(places, start=1) if baseline and baseline[0] <= place + 1 <= baseline[1]
    ]
    return (inside_it[0], inside_it[-1]) if inside_it else None


def _plain(
    characteristic: Characteristic,
    points: Sequence[Point],
    rates: Floats,
    course: Course | None,
    settled: int = 0,
) -> tuple[list[Finding], tuple[str, ...], Course]:
    """Judge a figure that does not wear; its first `settled` points raise nothing."""
    values = np.array([p.value for p in points], dtype=np.float64)
    known = course or Course()
    if characteristic.kind != "measured":
        sizes = np.array([p.size or 1.0 for p in points])
        pass_fail = characteristic.kind == "pass-fail"
        counted, left = count_further(
            values, sizes, rates, course=known, pass_fail=pass_fail, settled=settled
        )
        return [_finding(s) for s in counted.signals], (), left
    return _measured(characteristic, points, values, rates, known, settled)


def _measured(
    characteristic: Characteristic,
    points: Sequence[Point],
    values: Floats,
    rates: Floats,
    course: Course,
    settled: int,
) -> tuple[list[Finding], tuple[str, ...], Course]:
    shape = characteristic.shape
    if shape == "positive" and float(values.min(initial=1.0)) < 0:
        shape = "any"
    single = all(p.readings == 1 for p in points) and characteristic.derive is None
    result, left = detect_further(
        values,
        false_alarm_rate=rates,
        labels=[p.serial for p in points],
        course=course,
        shape=shape,
        resolution=characteristic.resolution if single else None,
        settled=settled,
    )
    notes: tuple[str, ...] = ()
    if result.resolution is not None and _coarse(values, result.resolution):
        notes = ("The steps of the gauge are coarse against the scatter; small changes cannot be seen.",)
    return [_finding(s) for s in result.signals], notes, left


def _placed(signal: Finding, places: Sequence[int]) -> Finding:
    """Turn ordinals among the judged points into ordinals of the series."""
    names = ("point", "start", "start_low", "start_high", *(() if signal.ended is None else ("ended",)))
    return replace(signal, **{name: places[getattr(signal, name) - 1] + 1 for name in names})


def _finding(signal: DetectorSignal) -> Finding:
    confirmed = signal.kind == "single" and signal.confirmed is not None
    return Finding(
        kind="shift" if confirmed else signal.kind,
        side=signal.side,
        point=signal.point,
        start=signal.start,
        start_low=signal.start_set[0],
        start_high=signal.start_set[1],
        size=signal.size,
        size_low=signal.size_interval[0],
        size_high=signal.size_interval[1],
        size_sigma=signal.size_sigma,
    )


def _coarse(values: Floats, resolution: float) -> bool:
    return values.size > 1 and resolution >= float(values.std(ddof=1))


def _with_returns(found: Sequence[Finding], values: Floats) -> tuple[Finding, ...]:
    """Mark changes that ended in a return to the old state; a signal that only tells of it is dropped."""
    kept: list[Finding] = []
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


def _ended(signal: Finding, ended: int) -> Finding:
    return signal if signal.kind == "single" or signal.ended is not None else replace(signal, ended=ended)


def _left_again(kept: Sequence[Finding], signal: Finding, values: Floats) -> int | None:
    """Return the place of the earliest lasting change whose old level the series came back to, or None."""
    if signal.kind == "spread":
        return None
    for place, first in enumerate(kept):
        if first.kind not in {"shift", "trend"} or first.ended is not None or first.side == signal.side:
            continue
        old = values[begin_of(kept[:place], first) - 1 : first.start - 1]
        away = values[first.start - 1 : signal.start - 1]
        new = values[signal.start - 1 :]
        if old.size and away.size and new.size and _back(old.mean(), away.mean(), new.mean()):
            return place
    return None


def _faded(signal: Finding, values: Floats, begin: int, following: int) -> bool:
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
        return min(spreads) > 0 and _back(*np.log(spreads))
    return _back(old.mean(), away.mean(), new.mean())


def _back(old: float, away: float, new: float) -> bool:
    return abs(float(new - old)) <= BACK_SHARE * abs(float(away - old))

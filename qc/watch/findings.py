"""The detector put to work on a series: by its kind of figure, and with returns told apart from new changes.

A measured figure goes to the change-point detector in the shape the plan names, a count or a pass-fail
figure to its exact counterpart, a figure that wears to the detector on what is left of it about the line of
its tool. A second change that leads back to the old level belongs to the life of the first: the first is
marked ended.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from qc.plan import Characteristic
from qc.stats import StatisticsError, detect, detect_counts
from qc.watch.results import Point
from qc.watch.wear import judged_residuals

if TYPE_CHECKING:
    from qc.stats import DetectorSignal

Floats = NDArray[np.float64]

BACK_SHARE = 1 / 3
"""Within this share of an excursion's size of the old level a series counts as back (house rule)."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One change of a series; ordinals count from 1 over the whole series."""

    kind: Literal["single", "shift", "trend", "spread", "count"]
    side: Literal["above", "below", "both"]
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
class Findings:
    """All changes of a series and what has to be said about judging it."""

    signals: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()


def find_changes(characteristic: Characteristic, points: Sequence[Point], rate: float) -> Findings:
    """Find where a series changed.

    Parameters
    ----------
    characteristic : Characteristic
        Gives the kind of figure, its shape, the gauge's step and the class of tool it wears with.
    points : sequence of Point
        The series, in order of making.
    rate : float
        Chance of a false signal per point.

    Returns
    -------
    Findings
        In order of the points at which they were raised; empty below four points.
    """
    values = np.array([p.value for p in points], dtype=np.float64)
    notes: tuple[str, ...] = ()
    try:
        if characteristic.kind != "measured":
            found = _counted(points, values, rate)
        elif characteristic.wears_with and any(p.tool_count is not None for p in points):
            found, notes = _worn(points, values, rate)
        else:
            found, notes = _measured(characteristic, points, values, rate)
    except StatisticsError as error:
        return Findings(notes=(f"Not judged: {error}.",))
    return Findings(_with_returns(found, values), notes)


def _measured(
    characteristic: Characteristic, points: Sequence[Point], values: Floats, rate: float
) -> tuple[list[Finding], tuple[str, ...]]:
    shape = characteristic.shape
    if shape == "positive" and float(values.min(initial=1.0)) < 0:
        shape = "any"
    single = all(p.readings == 1 for p in points) and characteristic.derive is None
    step = characteristic.resolution if single else None
    labels = [p.serial for p in points]
    result = detect(values, false_alarm_rate=rate, shape=shape, resolution=step, labels=labels)
    notes: tuple[str, ...] = ()
    if result.resolution is not None and _coarse(values, result.resolution):
        notes = ("The steps of the gauge are coarse against the scatter; small changes cannot be seen.",)
    return [_finding(s) for s in result.signals], notes


def _worn(points: Sequence[Point], values: Floats, rate: float) -> tuple[list[Finding], tuple[str, ...]]:
    """Judge what is left about each tool's own line; ordinals are taken back to the series."""
    where, residuals = judged_residuals(points, values)
    if residuals.size < 4:
        return [], ()
    labels = [points[i].serial for i in where]
    result = detect(residuals, false_alarm_rate=rate, shape="normal", labels=labels)
    back = [i + 1 for i in where]
    found = []
    for raw in result.signals:
        signal = _finding(raw)
        found.append(
            replace(
                signal,
                point=back[signal.point - 1],
                start=back[signal.start - 1],
                start_low=back[signal.start_low - 1],
                start_high=back[signal.start_high - 1],
            )
        )
    return found, ("Judged about the wear line of each tool, not about one level.",)


def _counted(points: Sequence[Point], values: Floats, rate: float) -> list[Finding]:
    sizes = np.array([p.size or 1.0 for p in points])
    return [_finding(s) for s in detect_counts(values, sizes, rate).signals]


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
    """Mark changes that ended in a return to the old level and drop the signal of the return itself."""
    kept: list[Finding] = []
    begin = 1  # first point of the state before the change in hand
    for signal in found:
        if signal.kind == "single":
            kept.append(signal)
            continue
        last = next((i for i in range(len(kept) - 1, -1, -1) if kept[i].kind != "single"), None)
        if last is not None and _leads_back(kept[last], signal, values, begin):
            kept[last] = replace(kept[last], ended=signal.start)
            continue
        if last is not None:
            begin = kept[last].ended or kept[last].start
        kept.append(signal)
    return tuple(kept)


def _leads_back(first: Finding, second: Finding, values: Floats, begin: int) -> bool:
    if first.ended is not None or first.kind not in {"shift", "trend"} or second.kind == "spread":
        return False
    if {first.side, second.side} != {"above", "below"}:
        return False
    old = values[begin - 1 : first.start - 1]
    away = values[first.start - 1 : second.start - 1]
    new = values[second.start - 1 :]
    if not (old.size and away.size and new.size):
        return False
    size = abs(float(away.mean() - old.mean()))
    return abs(float(new.mean() - old.mean())) <= BACK_SHARE * size

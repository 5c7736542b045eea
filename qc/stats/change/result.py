"""What the detector hands back: signals, stretches and the whole finding."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Literal

import numpy as np

from qc.plain import JsonObject
from qc.stats.numbers import Floats, Interval, Values
from qc.stats.tabled import Tabled

Kind = Literal["single", "shift", "trend", "spread", "count"]
Side = Literal["above", "below", "both"]
Shape = Literal["auto", "normal", "positive", "any"]


@dataclass(frozen=True, slots=True)
class DetectorSignal(Tabled):
    """One finding of the detector. Points count from 1 in the whole series.

    Attributes
    ----------
    kind : str
        `single` (one piece apart from the rest), `shift` (the level moved), `trend` (it climbs or sinks
        steadily), `spread` (the scatter changed) or `count` (a rate of defects or failures moved).
    point : int
        Point at which it was raised.
    start : int
        First point of the changed stretch (best estimate).
    start_set : tuple of int
        Lowest and highest point of the 90 % confidence set of `start`.
    side : str
        `above` or `below` the earlier level; `both` for a change of the spread.
    size : float
        Change of the level; of a trend the whole climb from the start to `point`; of the spread the change
        of the standard deviation. [unit of the values]
    size_interval : tuple of float
        About 95 % interval of `size`, allowing for the doubt about the start. [unit of the values]
    size_sigma : float
        `size` over the standard deviation within the stretches; for the spread over the earlier one.
    score, threshold : float
        Normal score of the evidence when raised, and the value it had to exceed.
    confirmed : int or None
        Point at which a `single` proved to be a lasting `shift`; None otherwise.
    """

    kind: Kind
    point: int
    start: int
    start_set: tuple[int, int]
    side: Side
    size: float
    size_interval: Interval
    size_sigma: float
    score: float
    threshold: float
    confirmed: int | None = None

    @classmethod
    def from_dict(cls, record: JsonObject) -> DetectorSignal:
        """Undo `to_dict`."""
        known = {name.name for name in fields(cls)}
        values = {key: value for key, value in record.items() if key in known}
        values["start_set"] = (int(record["start_set"][0]), int(record["start_set"][1]))
        values["size_interval"] = (float(record["size_interval"][0]), float(record["size_interval"][1]))
        return cls(**values)


@dataclass(frozen=True, slots=True)
class Stretch(Tabled):
    """A run of points between two lasting changes, both ends included, counted from 1.

    `n`, `mean` and `sd` leave out the points in `apart`, which stood apart from the rest as a `single`;
    `sd` is None for fewer than two points. [unit of the values]
    """

    first: int
    last: int
    n: int
    mean: float
    sd: float | None
    apart: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Detection(Tabled):
    """Everything found in one series.

    Attributes
    ----------
    n : int
        Points judged.
    shape : str
        Shape asked for.
    false_alarm_rate : float
        Rate per point asked for (the last one, where it varied).
    signals : tuple of DetectorSignal
        In order of the points at which they were raised.
    stretches : tuple of Stretch
        From the first point to the last without gap.
    resolution : float or None
        Step of the readings that was allowed for: given, or seen in the readings; None if they show none.
    judged_by_ranks : int
        Points at which `positive` had to fall back on ranks (a zero, or a level under three steps).
    scores, thresholds : tuple of float or None
        For each point the score of the kind nearest to its threshold, and that threshold; None where the
        stretch was still too short. Empty when not asked for.
    """

    ROWS = "signals"

    n: int
    shape: Shape
    false_alarm_rate: float
    signals: tuple[DetectorSignal, ...]
    stretches: tuple[Stretch, ...]
    resolution: float | None = None
    judged_by_ranks: int = 0
    scores: tuple[float | None, ...] = field(default=(), repr=False)
    thresholds: tuple[float | None, ...] = field(default=(), repr=False)


def stretches_of(values: Values, signals: Sequence[DetectorSignal]) -> tuple[Stretch, ...]:
    """Cut a series at the starts of its lasting changes.

    Parameters
    ----------
    values : sequence of float
        The whole series in order of making. [unit of the characteristic]
    signals : sequence of DetectorSignal
        As raised on `values`; a `single` cuts nothing but is left out of the figures.

    Returns
    -------
    tuple of Stretch
        Without gap from the first to the last point; empty for an empty series.
    """
    series = np.asarray(values, dtype=np.float64)
    apart = {signal.start for signal in signals if signal.kind == "single"}
    starts = sorted({1} | {signal.start for signal in signals if signal.kind != "single"})
    ends = [start - 1 for start in starts[1:]] + [len(series)]
    return tuple(
        _stretch(series, first, last, apart)
        for first, last in zip(starts, ends, strict=True)
        if last >= first
    )


def _stretch(series: Floats, first: int, last: int, apart: set[int]) -> Stretch:
    """Figures of points `first` to `last`."""
    kept = [point for point in range(first, last + 1) if point not in apart] or list(range(first, last + 1))
    part = series[np.array(kept) - 1]
    left_out = tuple(sorted(point for point in apart if first <= point <= last and point not in kept))
    spread = float(part.std(ddof=1)) if part.size > 1 else None
    return Stretch(first, last, int(part.size), float(part.mean()), spread, left_out)

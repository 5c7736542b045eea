"""Characteristics that wear, judged by how far they leave the line since the tool was fitted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from itertools import groupby
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from qc.stats.detector import detect
from qc.stats.detector_block import SAME_STEP
from qc.stats.detector_evidence import SIZE_CONFIDENCE
from qc.stats.detector_input import check_values, rates_of
from qc.stats.detector_result import Detection, DetectorSignal, Stretch
from qc.stats.errors import StatisticsError

Floats = NDArray[np.float64]
Values = Sequence[float] | Floats


@dataclass(frozen=True, slots=True)
class ToolFinding:
    """What the detector found while one tool was fitted.

    Points count from 1 in the whole series. The stretches of `detection` are in recursive residuals: a mean
    near 0 says that the tool wore along its line.
    """

    tool: object
    first: int
    last: int
    detection: Detection

    def to_dict(self) -> dict[str, Any]:
        """Plain values, ready for JSON."""
        return {
            "tool": self.tool,
            "first": self.first,
            "last": self.last,
            "detection": self.detection.to_dict(),
        }


def recursive_residuals(count: Values, value: Values) -> Floats:
    """Standardised errors of forecasting each reading from the line through the readings before it.

    Parameters
    ----------
    count : sequence of float, length n
        Pieces drawn or made since the tool was fitted. [pieces]
    value : sequence of float, length n
        Readings in order of making. [unit of the characteristic]

    Returns
    -------
    ndarray
        Residuals of the last points of the series: all but the first two, or all but the first few where
        the count stood still at first. For a straight line with normal scatter they are independent normal
        values of one spread, which ordinary residuals are not. [unit of `value`]

    Raises
    ------
    StatisticsError
        Different lengths, or an entry that is not finite.

    References
    ----------
    .. [1] Brown, Durbin & Evans, "Techniques for testing the constancy of regression relationships
       over time", Journal of the Royal Statistical Society B 37 (1975), 149-192.

    Examples
    --------
    >>> recursive_residuals([0, 1, 2, 3], [5.0, 5.1, 5.2, 5.5]).round(4).tolist()
    [0.0, 0.1095]
    """
    x, y = _pairs(count, value)
    moved = np.flatnonzero(x != x[0]) if x.size else np.zeros(0, dtype=np.int64)
    if not moved.size or moved[0] + 1 >= x.size:
        return np.zeros(0)
    used = int(moved[0]) + 1
    # measured from the first reading, so that sums of squares lose no digits to a far origin
    x, y = x - x[0], y - y[0]
    k = np.arange(1.0, x.size)
    sum_x, sum_y = np.cumsum(x)[:-1], np.cumsum(y)[:-1]
    square = np.cumsum(x * x)[:-1] - sum_x * sum_x / k
    product = np.cumsum(x * y)[:-1] - sum_x * sum_y / k
    late = slice(used - 1, None)
    square, product, k = square[late], product[late], k[late]
    away = x[used:] - sum_x[late] / k
    error = y[used:] - sum_y[late] / k - product / square * away
    return np.asarray(error / np.sqrt(1 + 1 / k + away * away / square))


def detect_wear(
    count: Values,
    value: Values,
    tool: Sequence[object] | None = None,
    *,
    false_alarm_rate: float | Sequence[float] | Floats = 0.001,
    resolution: float | None = None,
) -> tuple[ToolFinding, ...]:
    """Find where a wearing characteristic left the line it followed since its tool was fitted.

    Parameters
    ----------
    count : sequence of float, length n
        Pieces since the tool was fitted. [pieces]
    value : sequence of float, length n
        Readings in order of making. [unit of the characteristic]
    tool : sequence or None, length n
        Name of the fitted tool at each reading; each change starts a new stretch. None: one tool throughout.
    false_alarm_rate, resolution
        As for `detect`; the shape is `normal`.

    Returns
    -------
    tuple of ToolFinding
        One for each time a tool was fitted, in order. A signal's `size` is the jump off the line, for a
        `trend` the extra climb up to the point at which it was raised.

    Raises
    ------
    StatisticsError
        Different lengths, or an entry that is not finite.

    Examples
    --------
    >>> wear = [0.01 * i + 0.002 * (i % 3) for i in range(30)]
    >>> jump = wear[:20] + [v + 0.05 for v in wear[20:]]
    >>> [(s.kind, s.start) for s in detect_wear(range(30), jump)[0].detection.signals]
    [('shift', 21)]
    """
    x, y = _pairs(count, value)
    names: Sequence[object] = [None] * x.size if tool is None else tool
    rates = rates_of(false_alarm_rate, x.size)
    if len(names) != x.size:
        raise StatisticsError(f"{len(names)} tool names for {x.size} values")
    found: list[ToolFinding] = []
    for name, points in groupby(range(x.size), key=lambda point: names[point]):
        run = list(points)
        part = slice(run[0], run[-1] + 1)
        detection = _one_tool(x[part], y[part], run[0], rates[part], resolution)
        found.append(ToolFinding(name, run[0] + 1, run[-1] + 1, detection))
    return tuple(found)


def _pairs(count: Values, value: Values) -> tuple[Floats, Floats]:
    """Check counts and readings."""
    x, y = check_values(count, "normal"), check_values(value, "normal")
    if x.size != y.size:
        raise StatisticsError(
            f"{x.size} counts for {y.size} values: each value needs the count it was made at"
        )
    return x, y


def _one_tool(x: Floats, y: Floats, before: int, rates: Floats, resolution: float | None) -> Detection:
    """Judge one fitting of a tool; `before` points of the series lie ahead of it."""
    residuals = recursive_residuals(x, y)
    skipped = x.size - residuals.size
    found = detect(residuals, false_alarm_rate=rates[skipped:], resolution=resolution or _step(y))
    offset = before + skipped
    signals: list[DetectorSignal] = []
    begin = 0
    for signal in found.signals:
        measured = signal if signal.kind == "spread" else _off_the_line(x, y, signal, skipped, begin)
        begin = signal.point + skipped if signal.kind != "single" else begin
        signals.append(_moved(measured, offset))
    stretches = tuple(_moved_stretch(stretch, offset) for stretch in found.stretches)
    blank: tuple[float | None, ...] = (None,) * skipped
    return replace(
        found,
        n=x.size,
        signals=tuple(signals),
        stretches=stretches,
        scores=blank + found.scores,
        thresholds=blank + found.thresholds,
    )


def _step(y: Floats) -> float | None:
    """Step of the readings where they show one; their residuals no longer do."""
    distinct = np.unique(y)
    gaps = np.diff(distinct)
    if not gaps.size:
        return None
    least = float(gaps.min())
    recurs = distinct.size < y.size or int((gaps <= least * (1 + SAME_STEP)).sum()) > 1
    return least if recurs else None


def _off_the_line(x: Floats, y: Floats, signal: DetectorSignal, skipped: int, begin: int) -> DetectorSignal:
    """Measure a jump or a bend beside the line itself, since the residuals soon follow a change."""
    last = (signal.confirmed or signal.point) + skipped
    start = signal.start + skipped - 1
    part = slice(begin if start - begin >= 2 else 0, last)
    counts, readings = x[part], y[part]
    late = np.arange(part.start, last) >= start
    if signal.kind == "trend":
        bend = np.where(late, counts - x[start - 1], 0.0) if start else counts
        regressor = bend / max(float(np.abs(bend).max()), np.finfo(float).tiny)
    else:
        regressor = late.astype(np.float64)
    design = np.stack([np.ones(counts.size), counts - counts[0], regressor], axis=1)
    degrees = counts.size - 3
    if degrees < 1 or np.linalg.matrix_rank(design) < 3:
        return signal
    inverse = np.linalg.inv(design.T @ design)
    fitted = inverse @ design.T @ readings
    residual = readings - design @ fitted
    spread = float(np.sqrt(residual @ residual / degrees))
    half = float(special.stdtrit(degrees, 0.5 + SIZE_CONFIDENCE / 2)) * spread * float(np.sqrt(inverse[2, 2]))
    size = float(fitted[2])
    relative = size / spread if spread > 0 else signal.size_sigma
    return replace(signal, size=size, size_interval=(size - half, size + half), size_sigma=relative)


def _moved(signal: DetectorSignal, offset: int) -> DetectorSignal:
    """Count the points of a signal in the whole series."""
    return replace(
        signal,
        point=signal.point + offset,
        start=signal.start + offset,
        start_set=(signal.start_set[0] + offset, signal.start_set[1] + offset),
        confirmed=None if signal.confirmed is None else signal.confirmed + offset,
    )


def _moved_stretch(stretch: Stretch, offset: int) -> Stretch:
    """Count the points of a stretch in the whole series."""
    moved = {"first": stretch.first + offset, "last": stretch.last + offset}
    return Stretch(**(asdict(stretch) | moved | {"apart": tuple(point + offset for point in stretch.apart)}))

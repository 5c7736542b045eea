"""Characteristics that wear, judged by how far they leave the line since the tool was fitted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from qc.stats.change import Detection, DetectorSignal, Stretch, check_as_many, rates_of, stretches_of
from qc.stats.numbers import Floats, Values
from qc.stats.tabled import Tabled
from qc.stats.wear.breaks import check_pairs
from qc.stats.wear.line import judge_line, named, step_of


@dataclass(frozen=True, slots=True)
class ToolFinding(Tabled):
    """What the detector found while one tool was fitted.

    Points count from 1 in the whole series. The stretches of `detection` are in recursive residuals about
    the line of each stretch (0 for the pieces that first make it): a mean near 0 says that the tool wore
    along it.
    """

    tool: object
    first: int
    last: int
    detection: Detection


def detect_wear(
    count: Values,
    value: Values,
    tool: Sequence[object] | None = None,
    *,
    false_alarm_rate: float | Values = 0.001,
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
        One for each time a tool was fitted, in order. A signal that leaves the line is placed on the
        readings themselves (`wear_break`): a `shift` where the line jumps, a `trend` where it bends, and its
        `size` says how far the newest piece then lay off the old line.

    Raises
    ------
    StatisticsError
        Different lengths, or an entry that is not finite.

    Notes
    -----
    Two questions share the rate: a quarter goes to `detect` on the recursive residuals (single pieces, the
    spread, sudden jumps), nine tenths to the strongest bend of the line (`bend_scores`), which sees a
    quickening wear sooner, and sees a jump too; more than the whole, since they overlap. Rates and delays:
    `docs/reference/detector.md`.

    Examples
    --------
    >>> wear = [0.01 * i + 0.002 * (i % 3) for i in range(30)]
    >>> jump = wear[:20] + [v + 0.05 for v in wear[20:]]
    >>> [(s.kind, s.start) for s in detect_wear(range(30), jump)[0].detection.signals]
    [('shift', 21)]
    """
    x, y = check_pairs(count, value)
    names: Sequence[object] = [None] * x.size if tool is None else tool
    rates = rates_of(false_alarm_rate, x.size)
    check_as_many(names, "tool names", x.size)
    found: list[ToolFinding] = []
    for name, points in groupby(range(x.size), key=lambda point: names[point]):
        run = list(points)
        part = slice(run[0], run[-1] + 1)
        detection = _one_tool(x[part], y[part], run[0], rates[part], resolution)
        found.append(ToolFinding(name, run[0] + 1, run[-1] + 1, detection))
    return tuple(found)


def _one_tool(x: Floats, y: Floats, before: int, rates: Floats, resolution: float | None) -> Detection:
    """Judge one fitting of a tool; `before` points of the series lie ahead of it.

    A piece that stands apart is told once and then left out, since a line laid through it would bend for all
    that follow. Once the line is left, a new one is laid through the pieces made after the signal.
    """
    n, step = x.size, resolution or step_of(y)
    signals: list[DetectorSignal] = []
    residuals = np.zeros(n)
    evidence: list[tuple[float | None, float | None]] = [(None, None)] * n
    apart: set[int] = set()
    begin = 0
    while begin < n:
        kept = [i for i in range(begin, n) if i not in apart]
        line = judge_line(x[kept], y[kept], rates[kept], step)
        told = [named(signal, kept) for signal in line.signals]
        # at the newest piece it may still be the first of a change, so it is not left out yet
        single = next((s for s in told if s.kind == "single" and s.point < n), None)
        if single is not None:
            signals.append(single)
            apart.add(single.point - 1)
            continue
        signals += told
        for place, residual, seen in zip(kept, line.residuals, line.evidence, strict=True):
            residuals[place], evidence[place] = residual, seen
        begin = n if line.left is None else kept[line.left - 1] + 1
    signals.sort(key=lambda signal: signal.point)
    return Detection(
        n=n,
        shape="normal",
        false_alarm_rate=float(rates[-1]),
        signals=tuple(named(signal, range(before, before + n)) for signal in signals),
        stretches=tuple(_moved(stretch, before) for stretch in stretches_of(residuals, signals)),
        resolution=step,
        scores=tuple(score for score, _ in evidence),
        thresholds=tuple(threshold for _, threshold in evidence),
    )


def _moved(stretch: Stretch, offset: int) -> Stretch:
    """Count the points of a stretch in the whole series."""
    apart = tuple(point + offset for point in stretch.apart)
    return replace(stretch, first=stretch.first + offset, last=stretch.last + offset, apart=apart)

"""What was recorded of the very readings of a change, and stayed as it was.

"Did not change" is a claim of its own, and a false one sends a lead away from the cause. So it is said only
of what the readings of this series say themselves, nearly all of them, and only where it is one and the same
before and after; who takes turns has not stayed the same. A gauge can go wrong and be the same gauge: that it
did not change is said only where a check since the start found it good.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from qc.watch.causes.factors import AIR, FactorLevels
from qc.watch.causes.weighing import split
from qc.watch.results import Point, SignalResult
from qc.watch.words import SAME_GAUGE

PLAIN_KINDS = {
    "person": "person",
    "gauge": "gauge",
    "tool": "tool",
    "batch": "batch",
    "gauge-check": "morning check of the gauge",
    "model mix": "mix of models",
    "air": "air temperature",
    "upstream": "earlier figures of the same pieces",
}

NEARLY_ALL = 0.95
"""Shares of the pieces on which a circumstance must stand before it is said to have stayed (house rule)."""

BEFORE = 20
"""Pieces before the set of the start that say what was usual (house rule)."""

SAME_MIX = 0.2
"""The shares of the models may differ by so much in all (0..1) and are still the same mix (house rule)."""

LEAST = 4
"""Fewer pieces on either side say nothing of a figure that scatters (house rule)."""

ALIKE = 2.0
"""Means before and after that lie no more than so many standard errors apart have stayed (house rule)."""


def steady_kinds(
    points: Sequence[Point], signal: SignalResult, known: FactorLevels, stage_index: int
) -> tuple[str, ...]:
    """Return the kinds of circumstances that did not change around a change, in plain words.

    Parameters
    ----------
    points : sequence of Point
        The series.
    signal : SignalResult
        Its start, the set of the start and its end.
    known : FactorLevels
        From `FactorLevels.beside`.
    stage_index : int
        Place of the series' stage in the route.
    """
    low, high = max(signal.start_low - 1, 1), max(signal.start_high - 1, 1)
    last = len(points) if signal.ended is None else signal.ended - 1
    last = max(signal.start if signal.kind == "single" else last, high + 1)
    first = max(low - BEFORE, 0)
    near, start = points[first:last], signal.start - 1 - first
    kinds: dict[str, bool] = {}
    gauges = {gauge for point in near for gauge in split(point.gauge)}
    for factor, found in known.levels.items():
        if factor.stage or known.route[factor] != stage_index and factor.kind != "gauge-check":
            continue
        if factor.kind == "gauge-check" and factor.source not in gauges:
            continue  # of what is counted by eye no gauge is to be named
        levels = [found.get(p.serial, "") for p in near]
        same = _is_recorded(levels) and _is_same(levels, start, mix=factor.kind == "model mix")
        kinds[factor.kind] = kinds.get(factor.kind, True) and same
    for figure, values in known.figures.items():
        kind = "air" if figure == AIR else "upstream"
        kinds[kind] = kinds.get(kind, True) and _stays([values.get(p.serial, math.nan) for p in near], start)
    plain = PLAIN_KINDS if _is_vouched_for(near[start:], known) else {**PLAIN_KINDS, "gauge": SAME_GAUGE}
    return tuple(words for kind, words in plain.items() if kinds.get(kind))


def still_unchanged(unchanged: Sequence[str], suspected: str) -> tuple[str, ...]:
    """Leave out of what did not change what is suspected: of a gauge found off also that it is the same one.

    Examples
    --------
    >>> still_unchanged(("person", "tool"), "tool")
    ('person',)
    >>> still_unchanged(("person", "the same gauge"), "gauge-check")
    ('person',)
    """
    gone = {"gauge", SAME_GAUGE, PLAIN_KINDS["gauge-check"]} if suspected == "gauge-check" else {suspected}
    return tuple(kind for kind in unchanged if kind not in gone)


def _is_vouched_for(since: Sequence[Point], known: FactorLevels) -> bool:
    """Say whether every gauge that was read with since a change was found good then, or at its next check."""
    gauges = {gauge for point in since for gauge in split(point.gauge)}
    return all(any(p.serial in known.vouched.get(gauge, ()) for p in since) for gauge in gauges)


def _is_recorded(levels: Sequence[str]) -> bool:
    return sum(map(bool, levels)) >= NEARLY_ALL * len(levels)


def _is_same(levels: Sequence[str], start: int, *, mix: bool) -> bool:
    """Say whether there is one level only; models may be a mix, in the same shares before and after."""
    names = {level for level in levels if level}
    if not mix:
        return len(names) == 1
    before, after = levels[:start], levels[start:]
    if len(names) < 2 or not before or not after:
        return False  # of a series of one model nothing was looked at
    apart = sum(abs(before.count(n) / len(before) - after.count(n) / len(after)) for n in names) / 2
    return apart <= SAME_MIX


def _stays(values: Sequence[float], start: int) -> bool:
    """Say whether a figure that scatters lies about one mean before and after."""
    whole = np.asarray(values, dtype=np.float64)
    read = np.isfinite(whole)
    before, after = whole[:start][read[:start]], whole[start:][read[start:]]
    if read.sum() < NEARLY_ALL * whole.size or min(before.size, after.size) < LEAST:
        return False
    error = math.sqrt(before.var(ddof=1) / before.size + after.var(ddof=1) / after.size)
    return bool(abs(float(after.mean() - before.mean())) <= ALIKE * error)

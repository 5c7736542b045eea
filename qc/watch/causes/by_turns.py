"""A change of the scatter that is none: a level used by turns makes the pieces go up and down meanwhile.

A bad batch that takes turns with a good one widens a series, and narrows it again once it is used up. Where
it is told as sitting apart, see `between_batches`, that says what a signal of the scatter would only hint at.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from qc.stats import Flags, Floats, apart_from_others
from qc.watch.causes.between_batches import KINDS, taking_turns
from qc.watch.causes.weighing import split
from qc.watch.results import Point, SignalResult

SURE = 0.0001
"""Chance at which a level explains a change of the scatter (chosen): the hundredth part of what a level is
told at (`APART_CHANCE`), so that Holm's correction has it told beside a hundred others looked at."""


def without_explained(
    signals: Sequence[SignalResult], points: Sequence[Point], kind: str
) -> tuple[SignalResult, ...]:
    """Leave out changes of the scatter that a batch, tool or gauge used by turns explains.

    Parameters
    ----------
    signals : sequence of SignalResult
        The findings of a series, in order.
    points : sequence of Point
        The series, in order of making.
    kind : str
        Of the figure; only what is measured has a scatter.

    Returns
    -------
    tuple of SignalResult
        Without each change of the scatter for which, in the state it is part of, a level of its own for the
        pieces of one batch, tool or gauge that takes turns fits at least as well as two scatters do, with
        that level or without it: by likelihood, each figure more at its price (that of Schwarz), and which
        sits apart with a chance of `SURE` at most.
    """
    if kind != "measured":
        return tuple(signals)
    return tuple(s for s in signals if s.kind != "spread" or not _explained(s, signals, points))


def _explained(spread: SignalResult, signals: Sequence[SignalResult], points: Sequence[Point]) -> bool:
    """Say whether one batch that lies apart fits the readings as well as a change of their scatter does."""
    lasting = [s.start for s in signals if s.kind not in {"single", "spread"} and s.ended is None]
    begin = max((start for start in lasting if start <= spread.start), default=1)
    end = min((start for start in lasting if start > spread.start), default=len(points) + 1)
    odd = {s.start for s in signals if s.kind == "single"}
    state = [p for p in points[begin - 1 : end - 1] if not p.left_out and p.ordinal not in odd]
    values: Floats = np.array([p.value for p in state], dtype=np.float64)
    changed: Flags = np.array([p.ordinal >= spread.start for p in state], dtype=np.bool_)
    for kind in KINDS:
        borne = [str(getattr(p, kind)) for p in state]
        for name in (one for one in taking_turns(borne) if len(split(one)) == 1):
            own: Flags = np.array([one == name for one in borne], dtype=np.bool_)
            found = apart_from_others(values.tolist(), own.tolist(), [p.model for p in state])
            if found is not None and found.p_value <= SURE and _fits_as_well(values, own, changed):
                return True
    return False


def _fits_as_well(values: Floats, own: Flags, changed: Flags) -> bool:
    """Say whether two levels fit as well as two scatters, about one level or about the two."""
    level = np.where(own, values[own].mean(), values[~own].mean())
    half_log = 0.5 * math.log(values.size)
    alone = values - values.mean()
    scattered = _support(alone, changed) - 2 * half_log
    both = _support(values - level, changed) - 3 * half_log
    by_turns = _support(values - level, np.zeros_like(changed)) - half_log
    return by_turns >= max(scattered, both)


def _support(left: Floats, changed: Flags) -> float:
    """Return the log likelihood of normal residuals with a scatter of its own on either side."""
    parts = [left[changed], left[~changed]]
    squares = [(part.size, float(part @ part)) for part in parts if part.size]
    return -0.5 * sum(size * math.log(max(total, 1e-300) / size) for size, total in squares)

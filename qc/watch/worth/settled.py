"""The settled figures of a series, the change that breaks a limit, what of the scatter is the gauge's."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import polars as pl
from scipy import special

from qc.stats import d2
from qc.watch.results import Point, SeriesVerdict
from qc.watch.worth.results import BreakingChange, GaugePart, SettledState

LEAST = 20
"""Settled pieces below which nothing is simulated; `qc.stats.capability` asks for as many (house rule)."""

OUTSIDE = 0.05
"""A level breaks a limit where one piece in twenty lies beyond it (house rule)."""

WITHOUT_LIMITS = 2.0
"""Standard deviations of the change that is asked about where the plan has no limits (house rule)."""

BEYOND = 1.645  # sd between a level and a limit that one piece in twenty exceeds, of the bell curve
COVERAGE = 2.0  # a guard band is twice the gauge's spread, see `qc.watch.pieces`


def settled_pieces(verdict: SeriesVerdict) -> tuple[Point, ...]:
    """Return the pieces of the present state where the series stays in it, else those of its longest stretch.

    Pieces told as a `single` and those left out take no part, nor does a stretch that climbs or falls.
    """
    apart = {s.start for s in verdict.signals if s.kind == "single"}
    climbs = {s.start for s in verdict.signals if s.kind == "trend"}
    present = [p for p in verdict.present_points if p.ordinal not in apart]
    begun = verdict.present[0] if verdict.present else 0
    if verdict.behaviour == "steady" and begun not in climbs and len(present) >= LEAST:
        return tuple(present)
    runs = [
        [p for p in verdict.points[s.first - 1 : s.last] if not p.left_out and p.ordinal not in apart]
        for s in verdict.stretches
        if s.first not in climbs
    ]
    # of equals the newest: it is nearest to what is made now
    longest: list[Point] = []
    for run in runs:
        longest = run if len(run) >= len(longest) else longest
    return tuple(longest)


def settled_state(verdict: SeriesVerdict, settled: Sequence[Point]) -> SettledState:
    """Return level and spread of the settled figures, of a counted one those of its rate."""
    values = np.array([p.value for p in settled])
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    if verdict.kind != "measured":
        sizes = np.array([p.size or 1.0 for p in settled])
        mean = float(values.sum() / sizes.sum())
        sd = float((values / sizes).std(ddof=1))
    ordinals = {p.ordinal for p in settled}
    now = bool(verdict.present) and verdict.present[-1] in ordinals
    return SettledState(len(settled), mean, sd, settled[0].day, settled[-1].day, now)


def breaking_change(verdict: SeriesVerdict, state: SettledState) -> BreakingChange:
    """Return the least change of the settled level after which one piece in twenty lies outside a limit.

    Where the plan has no limits, two standard deviations stand for it, of a counted figure its doubled rate.
    A count's rate is that of a Poisson count on one unit of size.
    """
    if verdict.kind != "measured":
        if verdict.upper is None or verdict.kind == "pass-fail":
            return BreakingChange(state.mean, None, None)
        allowed = float(special.gammaincinv(math.floor(verdict.upper) + 1, OUTSIDE))
        return BreakingChange(max(allowed - state.mean, 0.0), None, verdict.upper)
    found = []
    if verdict.upper is not None:
        found.append((verdict.upper - BEYOND * state.sd - state.mean, 1.0, verdict.upper))
    if verdict.lower is not None:
        found.append((state.mean - verdict.lower - BEYOND * state.sd, -1.0, verdict.lower))
    if not found:
        return BreakingChange(WITHOUT_LIMITS * state.sd, WITHOUT_LIMITS, None)
    room, side, limit = min(found)
    room = max(room, 0.0)
    return BreakingChange(side * room, room / state.sd, limit)


def spread_by_checks(deviations: Sequence[float]) -> float | None:
    """Return how far a gauge scatters on its master, by the mean step from check to check.

    Steps, and not the spread about a mean, since a zero that wanders is no scatter of a reading. None of
    fewer than twenty checks, and where all read the same.

    Examples
    --------
    >>> round(spread_by_checks([0.0, 1.0] * 10), 3), spread_by_checks([0.0, 1.0])
    (0.886, None)
    """
    if len(deviations) < LEAST:
        return None
    steps = float(np.abs(np.diff(np.array(deviations))).mean())
    return steps / d2(2) if steps > 0 else None


def gauge_part(
    verdict: SeriesVerdict, state: SettledState, cells: pl.DataFrame, *, by_checks: bool = False
) -> GaugePart:
    """Say how much of the scatter of a measured series is the gauge's.

    Parameters
    ----------
    verdict, state
        The series and its settled figures.
    cells : polars.DataFrame
        What its settled pieces measure at each place, see `qc.watch.cells_of`.
    by_checks : bool
        Whether the spread of its gauges was taken from their checks.
    """
    step = verdict.scatter.step if verdict.scatter is not None else None
    step_sd = 0.0 if step is None else step / math.sqrt(12)
    guards = cells["guard"] if cells.height else pl.Series([None], dtype=pl.Float64)
    sd = None
    if not guards.has_nulls():
        places = cells.group_by("serial").len()["len"].to_numpy()
        one = float(np.mean((guards.to_numpy() / COVERAGE) ** 2))
        # a point is the mean of its places
        sd = math.sqrt(one * float(np.mean(1.0 / places)))
    part = GaugePart(sd, step_sd, None)
    known = sd is not None or step_sd > 0
    share = min(part.variance() / state.sd**2, 1.0) if known else None
    return GaugePart(sd, step_sd, share, by_checks and sd is not None)

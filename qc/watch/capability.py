"""Does the process keep its limits: an index with its interval, and proven, unproven or no.

Capability is never a bare number: without enough pieces it is withheld and the reason is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from qc.plan import Characteristic, DatedLimits, Plan
from qc.stats import (
    Floats,
    StatisticsError,
    capability,
    fraction_outside,
    fraction_outside_interval,
    one_sided_bound,
    two_sided_bound,
)
from qc.watch.results import LEARNING, Capable, Point
from qc.watch.words import STILL_MOVING

LEAST_FOR_NO = 5
"""From so few pieces on a series may be called not capable; proven needs the 20 of the capability study
(house rule)."""


@dataclass(frozen=True, slots=True)
class LimitsAnswer:
    """Whether the limits are kept, with the figures it rests on; `reason` where they are withheld."""

    capable: Literal["proven", "unproven", "no", ""] = ""
    ppk: float | None = None
    low: float | None = None
    high: float | None = None
    reason: str = ""
    outside: float | None = None
    outside_low: float | None = None
    outside_high: float | None = None
    settle: int | None = None  # so many more pieces like these would settle what is unproven


def judge_limits(
    plan: Plan,
    characteristic: Characteristic,
    present: Sequence[Point],
    limits: DatedLimits,
    *,
    moving: bool = False,
) -> LimitsAnswer:
    """Judge whether a process keeps its limits.

    Parameters
    ----------
    plan : Plan
        Gives the wanted Ppk.
    characteristic : Characteristic
        What is charted.
    present : sequence of Point
        The points of the present state.
    limits : DatedLimits
        On the scale of the points.
    moving : bool
        The present state is a climb (or a fall): there is no level whose capability could be told.
    """
    if limits.lower is None and limits.upper is None:
        return LimitsAnswer(reason="The plan has no limits for this figure.")
    if characteristic.kind != "measured":
        return LimitsAnswer(reason="A count has no capability index; see the share of faults.")
    values, wanted = np.array([p.value for p in present]), plan.workshop.wanted_ppk
    if values.size < LEARNING:
        more = more_to_settle(values, limits.lower, limits.upper, wanted)
        return LimitsAnswer("unproven", reason=f"{values.size} of {LEARNING} pieces.", settle=more)
    try:
        result = capability(
            values,
            lower=limits.lower,
            upper=limits.upper,
            target=limits.target,
            wanted=wanted,
            stable=not moving,
        )
        if moving:  # pieces to come will not be like these, so none would settle it
            return LimitsAnswer("unproven", reason=STILL_MOVING)
        sd = float(values.std(ddof=1))
        share, low, high = _outside(values, sd, limits)
    except StatisticsError as error:
        more = more_to_settle(values, limits.lower, limits.upper, wanted)
        return LimitsAnswer("unproven", reason=f"{error}.", settle=more)
    capable: Capable = result.capable
    if result.ppk is None and values.size >= LEAST_FOR_NO and sd > 0:
        capable = "no" if _ppk_at_most(values, limits) < wanted else "unproven"
    interval = result.ppk_interval or (None, None)
    return LimitsAnswer(
        capable=capable,
        ppk=result.ppk,
        low=interval[0],
        high=interval[1],
        reason=result.reason or "",
        outside=share,
        outside_low=low,
        outside_high=high,
        settle=result.pieces_to_settle if capable == "unproven" else None,
    )


def more_to_settle(values: ArrayLike, lower: float | None, upper: float | None, wanted: float) -> int | None:
    """Return how many more pieces like these would settle an unproven answer, None where none would."""
    try:
        return capability(values, lower=lower, upper=upper, wanted=wanted).pieces_to_settle
    except StatisticsError:
        return None


def _outside(
    values: Floats, sd: float, limits: DatedLimits
) -> tuple[float | None, float | None, float | None]:
    """Return the expected share outside the limits and its interval; nothing where there is no scatter."""
    if not sd > 0:
        return None, None, None
    mean = float(values.mean())
    low, high = fraction_outside_interval(mean, sd, values.size, lower=limits.lower, upper=limits.upper)
    return fraction_outside(mean, sd, lower=limits.lower, upper=limits.upper), low, high


def _ppk_at_most(values: Floats, limits: DatedLimits) -> float:
    """One-sided 95 % upper bound of Ppk, for a 'no' from few pieces."""
    n, mean, sd = values.size, float(values.mean()), float(values.std(ddof=1))
    sides = [
        (edge - mean) / (3 * sd) * sign
        for edge, sign in ((limits.upper, 1.0), (limits.lower, -1.0))
        if edge is not None
    ]
    bound = two_sided_bound if len(sides) == 2 else one_sided_bound
    return float(bound(min(sides), 0.95, n, n - 1))

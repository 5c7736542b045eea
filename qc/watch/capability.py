"""Does the process keep its limits: an index with its interval, and proven, unproven or no.

Capability is never a bare number: without enough pieces it is withheld and the reason is said. It rests on
the shape the plan gives the figure, on the gauge's step, and on what pieces that hang together are worth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from qc.plan import Characteristic, DatedLimits, Plan
from qc.stats import NORMAL, PRIOR, Capability, Limits, Noise, StatisticsError, learned_capability
from qc.watch.results import LEARNING, Forecast, Point, SignalResult
from qc.watch.words import STILL_MOVING

PLAN_SHAPES = ("normal", "positive", "any")  # given in a plan, not learned
PARTS = 1e6  # shares are told in a million by the statistics


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
    noise: Noise | None = None,
    lots: Sequence[str | None] | None = None,
    step: float | None = None,
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
    noise : Noise, optional
        What was learned of how the pieces scatter; left out: with a shape of the plan that nothing hangs
        together, with `auto` what is taken for granted before anything is learned.
    lots : sequence of str or None, optional
        The lot of each present piece, where lots are recorded.
    step : float, optional
        Step that the gauge leaves in the charted figures, see `step_of`. [unit of the characteristic]

    Returns
    -------
    LimitsAnswer
        The verdict and the interval rest on the same bounds; of fewer than 20 pieces only a `no` is told.
    """
    if limits.lower is None and limits.upper is None:
        return LimitsAnswer(reason="The plan has no limits for this figure.")
    if characteristic.kind != "measured":
        return LimitsAnswer(reason="A count has no capability index; see the share of faults.")
    values, wanted = np.array([p.value for p in present]), plan.workshop.wanted_ppk
    if values.size < LEARNING:
        more = more_to_settle(values, limits.lower, limits.upper, wanted)
        return LimitsAnswer("unproven", reason=f"{values.size} of {LEARNING} pieces.", settle=more)
    if moving:  # pieces to come will not be like these, so none would settle it
        return LimitsAnswer("unproven", reason=STILL_MOVING)
    shape = characteristic.shape
    known = noise or (NORMAL if shape in PLAN_SHAPES else PRIOR)
    try:
        result = learned_capability(
            values,
            Limits(limits.lower, limits.upper),
            known,
            lots=lots,
            shape=shape,
            wanted=wanted,
            resolution=step,
        )
    except StatisticsError as error:
        more = more_to_settle(values, limits.lower, limits.upper, wanted)
        return LimitsAnswer("unproven", reason=f"{error}.", settle=more)
    return _answer(result)


def _answer(result: Capability) -> LimitsAnswer:
    """Take over what the statistics say."""
    ppk, outside = result.ppk_interval or (None, None), result.outside_interval
    return LimitsAnswer(
        capable=result.capable,
        ppk=result.ppk,
        low=ppk[0],
        high=ppk[1],
        reason=result.reason or "",
        outside=None if result.outside_ppm is None else result.outside_ppm / PARTS,
        outside_low=None if outside is None else outside[0] / PARTS,
        outside_high=None if outside is None else outside[1] / PARTS,
        settle=result.pieces_to_settle if result.capable == "unproven" else None,
    )


def more_to_settle(values: ArrayLike, lower: float | None, upper: float | None, wanted: float) -> int | None:
    """Return how many more pieces like these would settle an unproven answer, None where none would."""
    try:
        readings = np.asarray(values, dtype=np.float64)
        limits = Limits(lower, upper)
        return learned_capability(readings, limits, NORMAL, shape="normal", wanted=wanted).pieces_to_settle
    except StatisticsError:
        return None


def urgency(
    behaviour: str,
    answer: LimitsAnswer,
    drifting: Sequence[SignalResult],
    forecast: Forecast | None,
    today: date,
) -> float:
    """Sort key of the board: drifting first, by size and by what is likely outside; then dies running out."""
    score = {"no": 2.0, "unproven": 1.0}.get(answer.capable, 0.0)
    if behaviour == "drifting":
        size = max((abs(s.size_sigma or 0.0) for s in drifting), default=0.0)
        score += 10.0 + min(size, 9.0) + 10.0 * (answer.outside or 0.0)
    if forecast is not None and forecast.change_by_day is not None:
        score += max(0.0, 5.0 - max((forecast.change_by_day - today).days, 0) / 7)
    return round(score, 4)

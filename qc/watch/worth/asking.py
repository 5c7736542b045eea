"""What if: what it takes to see a change within so many pieces, how many pieces a limit would have passed."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from typing import Literal

import polars as pl

from qc.plan import Characteristic, DatedLimits, Plan, Stage
from qc.stats import proportion
from qc.watch.pieces import piece_figures
from qc.watch.results import SeriesVerdict
from qc.watch.worth.advising import gauge_words, told_words
from qc.watch.worth.courses import LENGTH, Courses, delay_of
from qc.watch.worth.results import GaugePart, InsideAtLimit, SeenWithin, SettledState
from qc.watch.worth.weighing import left
from qc.words import pieces_words, plain_words, quantity_words, unit_words

MOST_READINGS = 10
"""More readings at one place nobody takes (common practice, no source)."""

LAST = 100
"""Pieces that a limit is tried on."""

TIMES = {1: "once", 2: "twice"}


def seen_within(
    state: SettledState, courses: Courses, part: GaugePart, unit: str, see: float, within: int
) -> SeenWithin:
    """Say how often to read so that one course in two tells a change within so many pieces.

    Parameters
    ----------
    state, courses, part
        The settled figures of a series, courses simulated on them, and what of their scatter is the gauge's.
    unit : str
        Of the figure.
    see : float, > 0
        The change. [sd of the settled figures as they are measured now]
    within : int, 1..60
        Pieces.
    """
    size = see * state.sd
    now = delay_of(courses.told(size), LENGTH)
    least = courses.least_seen(state.sd, within)
    readings = None
    if least is not None and least <= see:
        readings = 1
    elif least is not None and part.sd is not None:
        enough = (n for n in range(2, MOST_READINGS + 1) if see / left(state, part, n) >= least)
        readings = next(enough, None)
    between = (None, None) if least is None else courses.least_seen_between(state.sd, within)
    bare = SeenWithin(see, within, size, now, least, between, readings, "")
    return replace(bare, sentence=_answer(bare, state, part, unit))


def _answer(found: SeenWithin, state: SettledState, part: GaugePart, unit: str) -> str:
    """Say it in words, the reason included where no number of readings does it."""
    what = f"{found.see:g} sigma ({quantity_words(found.size, unit)})"
    goal = f"To see {what} within {pieces_words(found.within)}"
    now = f"As it is measured now, it {told_words(found.told_now)}"
    if found.readings == 1:
        return f"{goal}, measure as now. {now}."
    if found.readings is not None:
        times = TIMES.get(found.readings, f"{found.readings} times")
        return f"{goal}, read it {times} and take the mean. {now}."
    if found.seen_now is None:
        return f"{goal} is not to be had: no change, however large, is told so soon here. {now}."
    low, high = (None if one is None else f"{one:.1f}" for one in found.seen_between)
    error = "" if low == high else f", simulated {low} to {high or 'far more'} sigma"
    least = f"{found.seen_now:.1f} sigma ({quantity_words(found.seen_now * state.sd, unit)}{error})"
    seen = f"the least change seen within {pieces_words(found.within)} is {least}"
    if part.sd is None:
        needed = found.see / found.seen_now
        return (
            f"{goal}, the scatter would have to be {100 * needed:.0f} % of what it is. {now}; {seen}. "
            "Whether reading more often gets there is not known: the gauge's own scatter is not (no `spread` "
            "in the plan, too few checks); a gauge study tells it."
        )
    return (
        f"{goal} is not to be had by reading more often: {gauge_words(part)}, "
        f"the rest is the pieces' own. {now}; {seen}."
    )


def inside_at(
    readings: pl.DataFrame,
    plan: Plan,
    stage: Stage,
    characteristic: Characteristic,
    verdict: SeriesVerdict,
    limit: float,
    today: date,
) -> InsideAtLimit | None:
    """Say how many of the last hundred pieces a limit would have passed, by what decides in the plan.

    Parameters
    ----------
    readings : polars.DataFrame
        Rows of the tidy table that hold at least the readings of these pieces.
    plan, stage, characteristic, verdict
        The series.
    limit : float
        An upper limit where it lies above the middle of the limits (or of the figures, where the plan has
        none), else a lower one; a deviation from target where models of several targets share the series.
    today : date
        The day asked about, whose targets count.

    Returns
    -------
    InsideAtLimit or None
        None where nothing was measured.
    """
    last = [p for p in verdict.points if not p.left_out][-LAST:]
    if not last:
        return None
    side = _side(verdict, limit)
    serials = {p.serial for p in last}
    tried = characteristic.model_copy(
        update={
            "limits": _limits(plan, characteristic, verdict, limit, side, today),
            # the house rule goes by a target and has no limit of its own
            "decides": "every-place" if characteristic.decides == "80-20" else characteristic.decides,
        }
    )
    own = readings.filter(pl.col("serial").is_in(list(serials)))
    figures = piece_figures(own, plan, stage, tried, wanted=serials)
    judged = [one for one in figures if one.serial in serials]
    if not judged:
        return None
    inside = sum(one.inside is True for one in judged)
    present = piece_figures(own, plan, stage, characteristic, wanted=serials)
    has_limits = any(one.inside is not None for one in present)
    now = sum(one.inside is True for one in present) if has_limits else None
    low, high = proportion(inside, len(judged)).interval
    found = InsideAtLimit(limit, side, verdict.centered, inside, len(judged), low, high, now, "")
    return replace(found, sentence=_inside_words(found, verdict, characteristic))


def _side(verdict: SeriesVerdict, limit: float) -> Literal["lower", "upper"]:
    if verdict.lower is None and verdict.upper is not None:
        return "upper"
    if verdict.upper is None and verdict.lower is not None:
        return "lower"
    if verdict.lower is not None and verdict.upper is not None:
        middle = (verdict.lower + verdict.upper) / 2 if verdict.target is None else verdict.target
    else:
        values = [p.value for p in verdict.points if not p.left_out]
        middle = math.fsum(values) / len(values)
    return "upper" if limit >= middle else "lower"


def _limits(
    plan: Plan,
    characteristic: Characteristic,
    verdict: SeriesVerdict,
    limit: float,
    side: Literal["lower", "upper"],
    today: date,
) -> tuple[DatedLimits, ...]:
    """Return the limits tried: one for all, or one from the target of each model."""
    if not verdict.centered:
        return (DatedLimits(**{side: limit}),)
    targets = [
        (m.id, plan.limits(characteristic, m.id, today).target) for m in plan.models_of(characteristic)
    ]
    return tuple(
        DatedLimits(models=(model,), **{side: target + limit})
        for model, target in targets
        if target is not None
    )


def _inside_words(found: InsideAtLimit, verdict: SeriesVerdict, characteristic: Characteristic) -> str:
    unit = unit_words(verdict.unit)
    at = f"a limit of {plain_words(found.limit)} {unit}".rstrip()
    if found.from_target:
        at = f"a limit {abs(found.limit):g} {unit} {_way(found.side)} target"
    many = "last" if found.of < LAST else "last hundred"
    number = "" if found.of == LAST else f" {found.of}"
    where = {"mean": " by their mean"}.get(
        characteristic.decides, " at every place" if _placed(characteristic) else ""
    )
    first = f"Of the {many}{number} pieces, {found.inside} are inside at {at}{where}"
    rest = f": in the long run between {100 * found.low:.0f} and {100 * found.high:.0f} % of such pieces"
    now = "" if found.inside_now is None else f" By the plan's own limits {found.inside_now} are."
    return f"{first}{rest}, 95 % sure.{now}"


def _placed(characteristic: Characteristic) -> bool:
    return bool(characteristic.places) or (
        characteristic.derive is not None and characteristic.derive.what in {"clearance", "ovality"}
    )


def _way(side: str) -> str:
    return "above" if side == "upper" else "below"

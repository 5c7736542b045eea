"""Judge series of a workshop and keep the verdicts: at upload, after a mend, or all of them from nothing."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl

from qc.jobs.workshop import Workshop
from qc.plan import Plan
from qc.watch import (
    Budget,
    Question,
    SeriesKey,
    SeriesVerdict,
    collect_factors,
    expected_points,
    judge,
    series_points,
    share_budget,
)

RATE_STATE = "budget"


@dataclass(frozen=True, slots=True)
class Judged:
    """Verdicts with the rows and the budget they rest on."""

    verdicts: list[SeriesVerdict]
    readings: pl.DataFrame
    events: pl.DataFrame
    budget: Budget


def judge_series(workshop: Workshop, stages: Collection[str] | None = None) -> list[SeriesVerdict]:
    """Judge the series of some stages and keep what was found.

    Parameters
    ----------
    workshop : Workshop
        Where the readings are.
    stages : collection of str, optional
        Only series of these stages; all when left out.

    Returns
    -------
    list of SeriesVerdict
        In route order.
    """
    verdicts = judge_now(workshop, stages).verdicts
    workshop.store.save_verdicts([v.to_dict() for v in verdicts], as_of=workshop.today)
    return verdicts


def judge_now(workshop: Workshop, stages: Collection[str] | None = None) -> Judged:
    """Judge the series of some stages as of the workshop's day, without keeping the verdicts.

    Parameters
    ----------
    workshop : Workshop
        Where the readings are; rows of later days than its `today` are passed over.
    stages : collection of str, optional
        Only series of these stages; all when left out.

    Returns
    -------
    Judged
        Verdicts in route order.
    """
    plan = workshop.plan
    readings = workshop.store.readings().filter(pl.col("day") <= workshop.today)
    events = workshop.store.events().filter(pl.col("day") <= workshop.today)
    factors = collect_factors(readings, events, plan)
    by_stage = {str(key[0]): rows for key, rows in readings.partition_by("stage", as_dict=True).items()}
    empty = readings.clear()
    wanted = [row for row in plan.charted() if stages is None or row[0].id in stages]
    reduced = {
        SeriesKey(stage.id, figure.id, family): series_points(
            by_stage.get(stage.id, empty), plan, stage, figure, family
        )
        for stage, figure, family in wanted
    }
    budget = month_budget(workshop, {str(k): [p.day for p in r.points] for k, r in reduced.items()})
    settled = settled_serials(workshop)
    verdicts = [
        judge(
            Question(plan, stage, figure, family, budget.rate, workshop.today, settled.get(str(key), ())),
            reduced[key],
            factors,
        )
        for stage, figure, family in wanted
        for key in [SeriesKey(stage.id, figure.id, family)]
    ]
    return Judged(verdicts, readings, events, budget)


def load_verdicts(workshop: Workshop) -> list[SeriesVerdict]:
    """Return the kept verdicts of the series that the plan asks for, in route order."""
    kept = {data["key"]: data for data in workshop.store.verdicts()}
    order = [str(SeriesKey(s.id, c.id, f)) for s, c, f in workshop.plan.charted()]
    return [SeriesVerdict.from_dict(kept[key]) for key in order if key in kept]


def month_budget(workshop: Workshop, days: dict[str, list[date]]) -> Budget:
    """Return the budget of the present month, fixed the first time it is asked for in that month.

    Parameters
    ----------
    workshop : Workshop
        Its plan gives the false signals a month.
    days : dict of str to list of date
        Days of the points by series, for the pace; series of stages that are not judged now keep the pace of
        their last verdict.

    Returns
    -------
    Budget
    """
    month = f"{workshop.today:%Y-%m}"
    per_month = workshop.plan.workshop.false_signals_per_month
    kept = workshop.store.state(RATE_STATE) or {}
    now = kept.get(month)
    if now is not None and now["per_month"] == per_month:
        return Budget(**now)
    for data in workshop.store.verdicts():
        days.setdefault(data["key"], [date.fromisoformat(p["day"]) for p in data["points"]])
    asked = {str(SeriesKey(s.id, c.id, f)) for s, c, f in workshop.plan.charted()}
    pace = [expected_points(days.get(key, ()), workshop.today) for key in sorted(asked)]
    budget = share_budget(per_month, pace)
    workshop.store.set_state(RATE_STATE, {**kept, month: budget.to_dict()})
    return budget


def settled_serials(workshop: Workshop) -> dict[str, list[str]]:
    """Return, by series, the start serials of closed signals whose new level is the settled state."""
    found: dict[str, list[str]] = {}
    for signal in workshop.store.signals():
        if signal["state"] in {"closed", "closed-false"}:
            found.setdefault(signal["series"], []).append(signal["start_serial"])
    return found


def stages_touched(frames: Iterable[pl.DataFrame], plan: Plan) -> set[str]:
    """Return the stages whose series an upload can have changed."""
    known = {stage.id for stage in plan.stages}
    found: set[Any] = set()
    for frame in frames:
        if "stage" in frame.columns and not frame.is_empty():
            found |= set(frame["stage"].unique().to_list())
    return {str(stage) for stage in found} & known

"""First-pass yields of the stages in a stretch of days, gathered from the store."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import polars as pl

from qc.jobs.workshop import Workshop
from qc.plan import TUBE_FIGURES, Stage
from qc.watch import FAILING, StageYield, limited, loose_tubes, play_test_stage, sources_of, stage_yield


def yields_of(workshop: Workshop, first: date, last: date) -> tuple[StageYield, ...]:
    """Return the first-pass yield of each stage in route order.

    Parameters
    ----------
    workshop : Workshop
        An open workshop, or one as it was known on a day.
    first, last : date
        The days, both included; days after the workshop's own have nothing yet.

    Returns
    -------
    tuple of StageYield
        Stages to which no piece came in these days are left out. What counts: `qc.watch.stage_yield`.
    """
    plan, until = workshop.plan, min(last, workshop.today)
    events = workshop.store.events(FAILING, until=until)
    stages: list[tuple[str, str]] = [(stage.id, stage.name) for stage in plan.stages]
    tested_at = play_test_stage(plan)
    if tested_at not in stages:
        stages.append(tested_at)
    found = (_one(workshop, stage, events, (first, until)) for stage in stages)
    return tuple(one for one in found if one is not None)


def _one(
    workshop: Workshop, stage: tuple[str, str], events: pl.DataFrame, days: tuple[date, date]
) -> StageYield | None:
    first, until = days
    seen = workshop.store.stage_days(stage[0], until=until)
    happened = events.filter(pl.col("day") >= first)["serial"].drop_nulls().unique()
    about = seen.filter((pl.col("last") >= first) | pl.col("serial").is_in(happened.implode()))
    came = dict(about.select("serial", "first").iter_rows())
    planned = workshop.plan.stage(stage[0])
    if planned is not None and {*TUBE_FIGURES} <= {one.id for one in planned.characteristics}:
        read = workshop.store.readings(stage=planned.id, serials=sorted(came), until=until)
        for tube in loose_tubes(read):  # it waits for its mate: no slide has come to the stage with it
            del came[tube]
    readings = _readings(workshop, planned, sorted(came), until) if planned and came else {}
    return stage_yield(workshop.plan, stage, readings, came, events, days)


def _readings(
    workshop: Workshop, stage: Stage, serials: Sequence[str], until: date
) -> dict[tuple[str, ...], pl.DataFrame]:
    """Return what can speak against pieces, by the characteristics it is read from."""
    asked = [one for one in stage.characteristics if one.kind == "pass-fail" or limited(one)]
    sources = dict.fromkeys(map(sources_of, asked))
    every = list(dict.fromkeys(one for own in sources for one in own))
    if not every:
        return {}
    # one question a stage: each costs about as much as reading every figure of its pieces
    read = workshop.store.figures(stage.id, every, until=until, serials=serials)
    return {own: read.filter(pl.col("characteristic").is_in(list(own))) for own in sources}

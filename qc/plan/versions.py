"""A target that changes keeps its past: several versions of a plan become one that knows its days.

Within one file `DatedLimits.since` says from which day an entry holds. Where somebody simply writes a new
figure over the old one, the file no longer knows; the versions kept by the store do. `keep_past` puts
that knowledge back into the plan, so that a piece is always judged by the target of its own day.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from qc.plan.model import Characteristic, DatedLimits, Plan, Stage


def keep_past(versions: Sequence[tuple[date, Plan]]) -> Plan:
    """Return the newest plan, with targets and limits of earlier versions on the days they held.

    Parameters
    ----------
    versions : sequence of (date, Plan)
        Every version with the day on which it was first met, oldest first; at least one. The oldest is taken
        to hold from the beginning.

    Returns
    -------
    Plan
        The last version. Where an entry without `since` differs from the version before, the old entry holds
        before the new version's day. An entry with `since` holds from that day, whenever it was written.

    Examples
    --------
    See ``docs/reference/plan.md``, which the tests run.
    """
    _, merged = versions[0]
    for day, plan in versions[1:]:
        merged = _after(merged, plan, day)
    return merged


def _after(past: Plan, plan: Plan, day: date) -> Plan:
    stages = tuple(_stage(past, plan, stage, day) for stage in plan.stages)
    return plan if stages == plan.stages else plan.model_copy(update={"stages": stages})


def _stage(past: Plan, plan: Plan, stage: Stage, day: date) -> Stage:
    own = tuple(
        _characteristic(past, plan, past.characteristic(stage.id, c.id), c, day)
        for c in stage.characteristics
    )
    return stage if own == stage.characteristics else stage.model_copy(update={"characteristics": own})


def _characteristic(
    past: Plan, plan: Plan, before: Characteristic | None, now: Characteristic, day: date
) -> Characteristic:
    # a new unit is a new figure: the old numbers would mean something else
    if before is None or before.limits == now.limits or before.unit != now.unit:
        return now
    entries: list[DatedLimits] = []
    for model in plan.models_of(now):
        entries += _timeline(past, plan, before, now, model.id, day)
    return now.model_copy(update={"limits": tuple(entries)})


def _timeline(
    past: Plan, plan: Plan, before: Characteristic, now: Characteristic, model: str, day: date
) -> list[DatedLimits]:
    """Return what held for one model, an entry for each day on which it changed."""
    known = any(m.id == model for m in past.models_of(before))
    dated = [e.since for e in now.limits if e.since is not None and (not e.models or model in e.models)]
    written = min(dated, default=None)  # from here on the new file speaks for itself
    turns = {date.min, day, *dated, *(e.since for e in before.limits if e.since is not None)}
    entries: list[DatedLimits] = []
    for turn in sorted(turns):
        # the old version speaks for the days before the new one came in, unless the new
        # file dates an entry itself
        own = turn >= day or not known or (written is not None and turn >= written)
        plan_then, figure = (plan, now) if own else (past, before)
        found = plan_then.limits(figure, model, turn)
        entry = found.model_copy(update={"models": (model,), "since": None if turn == date.min else turn})
        if not entries or _figures(entry) != _figures(entries[-1]):
            entries.append(entry)
    return entries


def _figures(entry: DatedLimits) -> tuple[float | None, float | None, float | None]:
    return entry.target, entry.lower, entry.upper

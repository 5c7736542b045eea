"""A target that changes keeps its past: several versions of a plan become one that knows its days.

Within one file `DatedLimits.since` says from which day an entry holds. Where somebody simply writes a new
figure over the old one, the file no longer knows; the versions kept by the store do. `keep_past` puts
that knowledge back into the plan, so that a piece is always judged by the target of its own day.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from qc.plan.model import Characteristic, DatedLimits, Plan, Stage, in_force

Own = tuple[str, list[date]]

EVERY = ""
"""Stands for a piece of any model, or of none: only entries that name no model speak of it."""


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
    known = {model.id for model in past.models_of(before)}
    places = {repr(sorted(entry.at.items())): entry.at for entry in (*now.limits, *before.limits)}
    entries: list[DatedLimits] = []
    for at in places.values():
        old, new = ([e for e in c.limits if e.at == at] for c in (before, now))
        # what holds for every model holds for a piece whose card names none, too; it is told once
        every = _timeline(old, new, _own(now.limits, EVERY), day, at)
        entries += every
        for model in plan.models_of(now):
            own = _timeline(old if model.id in known else None, new, _own(now.limits, model.id), day, at)
            if _told(own) != _told(every):
                entries += own or [DatedLimits(models=(model.id,), at=at)]
    return now.model_copy(update={"limits": tuple(entries)})


def _timeline(
    before: list[DatedLimits] | None,
    now: list[DatedLimits],
    mine: Own,
    day: date,
    at: dict[str, tuple[str, ...]],
) -> list[DatedLimits]:
    """Return what held for one model at some places, an entry for each day on which it changed.

    `before` is None for a model that the old version did not measure.
    """
    model, dated = mine
    written = min(dated, default=None)  # from here on the new file speaks for itself, of all places
    turns = {date.min, day, *dated, *(e.since for e in before or () if e.since is not None)}
    entries: list[DatedLimits] = []
    for turn in sorted(turns):
        # the old version speaks for the days before the new one came in, unless the new
        # file dates an entry itself
        own = turn >= day or before is None or (written is not None and turn >= written)
        found = in_force(now if own else before or (), model, turn)
        since = None if turn == date.min else turn
        models = () if model == EVERY else (model,)
        entry = found.model_copy(update={"models": models, "at": at, "since": since})
        if not entries or _figures(entry) != _figures(entries[-1]):
            entries.append(entry)
    return entries if any(_figures(entry) != (None, None, None) for entry in entries) else []


def _own(entries: Sequence[DatedLimits], model: str) -> Own:
    """Return a model with the days from which entries that concern it hold."""
    return model, [e.since for e in entries if e.since is not None and (not e.models or model in e.models)]


def _told(entries: Sequence[DatedLimits]) -> list[object]:
    """Return what entries say, whatever model they are of."""
    return [(entry.since, *_figures(entry)) for entry in entries]


def _figures(entry: DatedLimits) -> tuple[float | None, float | None, float | None]:
    return entry.target, entry.lower, entry.upper

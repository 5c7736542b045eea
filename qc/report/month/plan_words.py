"""What changed between two versions of the measuring plan, in sentences for whoever was not there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from qc.plan import Characteristic, DatedLimits, Plan
from qc.words import code_words, dated_words, inside, listed, plain_words, unit_words

PARTS = {"models": "model", "gauges": "gauge", "tools": "tool", "people": "person", "cards": "card"}
"""Lists of the plan beside its stages, and what one of each is called."""

LEFT_ALONE = frozenset({"id", "code", "limits", "characteristics"})


def plan_change_lines(before: Plan, after: Plan) -> tuple[str, ...]:
    """Return what changed from one version of a plan to the next, a sentence each, in the order of the plan.

    Limits are told with what they were; of everything else, which entries came, went or read otherwise.

    Parameters
    ----------
    before, after : Plan
        Two versions, each by itself and without the past of earlier ones.
    """
    said = _fields("Workshop", before.workshop.model_dump(), after.workshop.model_dump())
    old = {stage.id: stage for stage in before.stages}
    for stage in after.stages:
        was = old.pop(stage.id, None)
        if was is None:
            said.append(f"Stage {inside(stage.name)} is new.")
            continue
        said += _fields(stage.name, was.model_dump(), stage.model_dump())
        said += _characteristics(stage.name, was.characteristics, stage.characteristics)
    said += [f"Stage {inside(stage.name)} was taken out." for stage in old.values()]
    for name, one in PARTS.items():
        said += _entries(one, getattr(before, name), getattr(after, name))
    new, gone = [c for c in after.causes if c not in before.causes], set(before.causes) - set(after.causes)
    if new:
        said.append(f"Causes that are new: {listed([code_words(c) for c in new])}.")
    if gone:
        said.append(f"Causes that were taken out: {listed(sorted(code_words(c) for c in gone))}.")
    return tuple(said)


def _characteristics(
    stage: str, before: Sequence[Characteristic], after: Sequence[Characteristic]
) -> list[str]:
    said, old = [], {one.id: one for one in before}
    for one in after:
        was = old.pop(one.id, None)
        name = f"{stage}: {one.name}"
        if was is None:
            said.append(f"{name} is new.")
            continue
        if was.limits != one.limits:
            said.append(f"{name}: {_limits(was)}, now {_limits(one)}.")
        said += _fields(name, was.model_dump(), one.model_dump())
    return said + [f"{stage}: {one.name} was taken out." for one in old.values()]


def _limits(one: Characteristic) -> str:
    """Say the limits of a figure, those of some models or places with what they are for."""
    return "; ".join(_entry(entry, one.unit) for entry in one.limits) or "no limits"


def _entry(entry: DatedLimits, unit: str) -> str:
    sides = [
        f"{word} {plain_words(value)}"
        for word, value in (("target", entry.target), ("from", entry.lower), ("to", entry.upper))
        if value is not None
    ]
    told = f"{' '.join(sides)} {unit_words(unit)}".strip() if sides else "no limits"
    of = f" for {listed(entry.models)}" if entry.models else ""
    since = f" from {dated_words(entry.since)} on" if entry.since else ""
    return f"{told}{of}{since}"


def _entries(one: str, before: Sequence[Any], after: Sequence[Any]) -> list[str]:
    said, old = [], {_name(entry): entry for entry in before}
    for entry in after:
        was = old.pop(_name(entry), None)
        if was is None:
            said.append(f"{one.capitalize()} {_name(entry)} is new.")
        elif was != entry:
            said += _fields(f"{one.capitalize()} {_name(entry)}", was.model_dump(), entry.model_dump())
    return said + [f"{one.capitalize()} {name} was taken out." for name in old]


def _name(entry: Any) -> str:
    return str(getattr(entry, "code", None) or entry.id)


def _fields(name: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """Name what reads otherwise; names of people stay in the plan and are not told."""
    changed = [
        key.replace("_", " ") for key in after if key not in LEFT_ALONE and before.get(key) != after[key]
    ]
    return [f"{name}: {listed(changed)} changed."] if changed else []

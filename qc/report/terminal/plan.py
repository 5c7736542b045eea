"""The measuring plan: what is wrong in it, and what is measured at each stage."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from qc.plan import Characteristic, DatedLimits, Plan, PlanFault
from qc.words import count_words, plain_words


def plan_faults_text(file: Path, faults: Sequence[PlanFault]) -> str:
    """Say every fault with its line and what to write instead."""
    if not faults:
        return f"{file}: the plan is in order."
    return "\n".join([f"{file}: {count_words(len(faults), 'fault')}.", *(f"  {fault}" for fault in faults)])


def plan_text(plan: Plan, version: int, versions: int) -> str:
    """Say stages, characteristics and limits in route order."""
    lines = [f"{plan.workshop.name}, plan version {version} of {versions}"]
    for stage in plan.stages:
        lines += ["", stage.name]
        lines += [f"  {_characteristic_line(c)}" for c in stage.characteristics]
    lines += ["", f"Models: {', '.join(m.name for m in plan.models)}"]
    lines.append(f"Gauges: {', '.join(f'{g.id} {g.name}' for g in plan.gauges)}")
    lines.append(f"Tools: {', '.join(f'{t.id} {t.name}' for t in plan.tools)}")
    return "\n".join(lines)


def _characteristic_line(characteristic: Characteristic) -> str:
    said = f"{characteristic.name} [{characteristic.unit}]"
    if not characteristic.charted:
        said += ", recorded only"
    limits = "; ".join(filter(None, map(_limits_words, characteristic.limits)))
    return f"{said}: {limits}" if limits else said


def _limits_words(entry: DatedLimits) -> str:
    parts = [
        f"{word} {plain_words(value)}"
        for word, value in (("target", entry.target), ("from", entry.lower), ("to", entry.upper))
        if value is not None
    ]
    whose = f" ({', '.join(entry.models)})" if entry.models else ""
    since = f" since {entry.since.isoformat()}" if entry.since else ""
    return f"{' '.join(parts)}{whose}{since}" if parts else ""

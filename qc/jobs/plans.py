"""A plan checked and shown."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from qc.jobs.workshop import PLAN, Workshop, find_folder
from qc.plan import Characteristic, Limits, Plan, PlanFault
from qc.plan import check_plan as faults_of
from qc.store import PlanVersion


@dataclass(frozen=True, slots=True)
class PlanCheck:
    """What is wrong in a plan file."""

    file: Path
    faults: tuple[PlanFault, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {"file": str(self.file), "faults": [fault.to_dict() for fault in self.faults]}

    def to_text(self) -> str:
        """Say every fault with its line and what to write instead."""
        if not self.faults:
            return f"{self.file}: the plan is in order."
        number = len(self.faults)
        return "\n".join(
            [f"{self.file}: {number} fault{'s' * (number != 1)}.", *(f"  {fault}" for fault in self.faults)]
        )


@dataclass(frozen=True, slots=True)
class PlanView:
    """The plan in force, for reading."""

    plan: Plan
    version: int
    versions: tuple[PlanVersion, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the plan as plain values, with its versions."""
        return {
            "version": self.version,
            "versions": [version.to_dict() for version in self.versions],
            "plan": self.plan.model_dump(mode="json"),
        }

    def to_text(self) -> str:
        """Say stages, characteristics and limits in route order."""
        shop = self.plan.workshop
        lines = [f"{shop.name}, plan version {self.version} of {len(self.versions)}"]
        for stage in self.plan.stages:
            lines += ["", stage.name]
            lines += [f"  {_characteristic_line(c)}" for c in stage.characteristics]
        lines += ["", f"Models: {', '.join(m.name for m in self.plan.models)}"]
        lines.append(f"Gauges: {', '.join(f'{g.id} {g.name}' for g in self.plan.gauges)}")
        lines.append(f"Tools: {', '.join(f'{t.id} {t.name}' for t in self.plan.tools)}")
        return "\n".join(lines)


def check_plan(file: Path | None, workshop: Path | None) -> PlanCheck:
    """Check a plan file, or the plan of a workshop.

    Parameters
    ----------
    file : pathlib.Path, optional
        The plan file.
    workshop : pathlib.Path, optional
        The workshop whose plan is meant where no file is named.

    Returns
    -------
    PlanCheck
        Every fault at once, in order of line.
    """
    path = file if file is not None else find_folder(workshop) / PLAN
    return PlanCheck(path, tuple(faults_of(path)))


def describe_plan(workshop: Workshop) -> PlanView:
    """Return the plan of a workshop with its dated versions."""
    versions = tuple(workshop.store.plan_versions())
    return PlanView(workshop.plan, len(versions), versions)


def _characteristic_line(characteristic: Characteristic) -> str:
    said = f"{characteristic.name} [{characteristic.unit}]"
    if not characteristic.charted:
        said += ", recorded only"
    limits = "; ".join(filter(None, (_limits_words(entry) for entry in characteristic.limits)))
    return f"{said}: {limits}" if limits else said


def _limits_words(entry: Limits) -> str:
    parts = [
        f"{word} {value:g}"
        for word, value in (("target", entry.target), ("from", entry.lower), ("to", entry.upper))
        if value is not None
    ]
    whose = f" ({', '.join(entry.models)})" if entry.models else ""
    since = f" since {entry.since.isoformat()}" if entry.since else ""
    return f"{' '.join(parts)}{whose}{since}" if parts else ""

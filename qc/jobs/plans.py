"""A plan checked and shown."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from qc.jobs.workshop import PLAN, Workshop, find_folder
from qc.plain import JsonObject
from qc.plan import Plan, PlanFault
from qc.plan import check_plan as faults_of
from qc.report.terminal import plan_faults_text, plan_text
from qc.store import OWN_FILE, PlanVersion, flush_file


@dataclass(frozen=True, slots=True)
class PlanCheck:
    """What is wrong in a plan file."""

    file: Path
    faults: tuple[PlanFault, ...]

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"file": str(self.file), "faults": [fault.to_dict() for fault in self.faults]}

    def to_text(self) -> str:
        """Say every fault with its line and what to write instead."""
        return plan_faults_text(self.file, self.faults)


@dataclass(frozen=True, slots=True)
class PlanView:
    """The plan in force, for reading."""

    plan: Plan
    version: int
    versions: tuple[PlanVersion, ...]

    def to_dict(self) -> JsonObject:
        """Return the plan as plain values, with its versions."""
        return {
            "version": self.version,
            "versions": [version.to_dict() for version in self.versions],
            "plan": self.plan.model_dump(mode="json"),
        }

    def to_text(self) -> str:
        """Say stages, characteristics and limits in route order."""
        return plan_text(self.plan, self.version, len(self.versions))


def put_plan_file(file: Path, text: str) -> None:
    """Put a text in the place of a plan file: written beside it, flushed, then renamed."""
    beside = file.with_name(f".{PLAN}.half")
    beside.touch(OWN_FILE)
    beside.write_text(text, "utf-8", newline="")
    flush_file(beside)
    beside.chmod(file.stat().st_mode & 0o777)
    beside.replace(file)


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

"""A plan checked and shown."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from qc.errors import MachineError
from qc.jobs.workshop import PLAN, Workshop, find_folder
from qc.plain import JsonObject
from qc.plan import Plan, PlanFault, load_plan
from qc.plan import check_plan as faults_of
from qc.report.terminal import plan_faults_text, plan_text
from qc.store import OWN_FILE, PlanVersion, flush_file
from qc.words import some_of

MOST_NAMED = 12
"""Gauges named one by one; chosen, a line holds them."""


@dataclass(frozen=True, slots=True)
class PlanCheck:
    """What is wrong in a plan file, and what it leaves out on purpose or unseen.

    Attributes
    ----------
    file : Path
        The plan.
    faults : tuple of PlanFault
        In order of line; with one the plan is not taken.
    remarks : tuple of str
        What a plan in order still cannot do, a sentence each.
    """

    file: Path
    faults: tuple[PlanFault, ...]
    remarks: tuple[str, ...] = ()

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        faults = [fault.to_dict() for fault in self.faults]
        return {"file": str(self.file), "faults": faults, "remarks": list(self.remarks)}

    def to_text(self) -> str:
        """Say every fault with its line and what to write instead, then the remarks."""
        return "\n".join([plan_faults_text(self.file, self.faults), *self.remarks])


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
    """Put a text in the place of a plan file: written beside it, flushed, then renamed.

    Raises
    ------
    MachineError
        The disk refuses it; the file is as it was.
    """
    beside = file.with_name(f".{PLAN}.half")
    try:
        beside.touch(OWN_FILE)
        beside.write_text(text, "utf-8", newline="")
        flush_file(beside)
        beside.chmod(file.stat().st_mode & 0o777)
        beside.replace(file)
    except OSError as error:
        raise MachineError(
            f"{file} cannot be written ({error.strerror}). Make room or mend the right to write there."
        ) from error


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
        Every fault at once, in order of line; remarks where there is none.
    """
    path = file if file is not None else find_folder(workshop) / PLAN
    faults = tuple(faults_of(path))
    return PlanCheck(path, faults, () if faults else plan_remarks(load_plan(path)))


def plan_remarks(plan: Plan) -> tuple[str, ...]:
    """Return what a plan in order still cannot do: gauges that no check can find off.

    The bench takes a check of every gauge, whether or not the plan has a card of checks.

    Examples
    --------
    >>> from qc.plan import load_plan, template_text
    >>> [told] = plan_remarks(load_plan(template_text()))
    >>> told.partition(":")[0]
    'No tolerance is set for TUNER-1, COAT-1'
    """
    loose = [gauge.id for gauge in plan.gauges if gauge.check_tolerance is None]
    if not loose:
        return ()
    return (
        f"No tolerance is set for {some_of(loose, MOST_NAMED)}: whatever a check of "
        f"{'it' if len(loose) == 1 else 'them'} says, nothing can be found off. Add `check_tolerance:`, the "
        "largest deviation from the master that passes.",
    )


def describe_plan(workshop: Workshop) -> PlanView:
    """Return the plan of a workshop with its dated versions."""
    versions = tuple(workshop.store.plan_versions())
    return PlanView(workshop.plan, len(versions), versions)

"""The plan for reading: figures with their limits in words, its versions, and what differs between two."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from datetime import date

from qc import clock
from qc.errors import QcError
from qc.jobs.errors import JobError
from qc.jobs.workshop import PLAN, Workshop, plan_of
from qc.plan import Characteristic, DatedLimits, read_plan_text
from qc.report.month import plan_change_lines
from qc.words import dated_words, plain_words, unit_words


@dataclass(frozen=True, slots=True)
class FigureLine:
    """One figure of a stage: its name with the unit, its limits in words, an entry each."""

    name: str
    limits: tuple[str, ...]
    charted: bool


@dataclass(frozen=True, slots=True)
class StagePage:
    """One stage and its figures."""

    name: str
    figures: tuple[FigureLine, ...]


@dataclass(frozen=True, slots=True)
class VersionLine:
    """One version: number, day, who brought it and why, and whether a sheet was taken in under it."""

    version: int
    day: date
    who: str
    why: str
    used: bool


@dataclass(frozen=True, slots=True)
class PlanPage:
    """The plan as it stands.

    Attributes
    ----------
    stages : tuple of StagePage
        In route order.
    beside : tuple of (str, str)
        Models, gauges, tools, cards and people: what it is, and which there are.
    versions : tuple of VersionLine
        Newest first.
    text : str
        The file as it stands.
    """

    stages: tuple[StagePage, ...]
    beside: tuple[tuple[str, str], ...]
    versions: tuple[VersionLine, ...]
    text: str


@dataclass(frozen=True, slots=True)
class PlanDifference:
    """What differs between two versions: in sentences, and line by line (``+``, ``-``, a space, ``@``)."""

    before: VersionLine
    after: VersionLine
    sentences: tuple[str, ...]
    lines: tuple[tuple[str, str], ...]


def plan_page(workshop: Workshop) -> PlanPage:
    """Return the plan for reading."""
    plan = workshop.plan
    stages = tuple(
        StagePage(stage.name, tuple(_figure(one) for one in stage.characteristics)) for stage in plan.stages
    )
    beside = (
        ("Models", ", ".join(one.name for one in plan.models)),
        ("Gauges", ", ".join(f"{one.id} ({one.name})" for one in plan.gauges)),
        ("Tools", ", ".join(f"{one.id} ({one.name})" for one in plan.tools)),
        ("Cards", ", ".join(one.title for one in plan.cards)),
        ("Codes of people", ", ".join(one.code for one in plan.people)),
    )
    versions = tuple(reversed(_versions(workshop)))
    text = read_plan_text(workshop.folder / PLAN)
    return PlanPage(stages, tuple(row for row in beside if row[1]), versions, text)


def difference(workshop: Workshop, before: int, after: int) -> PlanDifference:
    """Return what differs between two versions of the plan.

    Raises
    ------
    JobError
        There is no such version.
    """
    known = {one.version: one for one in _versions(workshop)}
    missing = next((one for one in (before, after) if one not in known), None)
    if missing is not None:
        raise JobError(f"The plan has no version {missing}. It has 1 to {max(known)}.")
    store = workshop.store
    try:
        own = plan_of(store, version=before), plan_of(store, version=after)
        sentences = plan_change_lines(*own) or ("Only its wording, remarks or order changed.",)
    except QcError:
        sentences = ("One of the two was written for an earlier program; only their lines can be compared.",)
    old, new = (store.plan_text(one).splitlines() for one in (before, after))
    told = list(difflib.unified_diff(old, new, n=2, lineterm=""))[2:]
    lines = tuple(("@", "") if line.startswith("@@") else (line[:1], line[1:]) for line in told)
    return PlanDifference(known[before], known[after], sentences, lines)


def _versions(workshop: Workshop) -> list[VersionLine]:
    zone = workshop.plan.workshop.time_zone
    return [
        VersionLine(one.version, clock.day_of(one.when, zone), one.who, one.why, one.used)
        for one in workshop.store.plan_versions()
    ]


def _figure(one: Characteristic) -> FigureLine:
    unit = unit_words(one.unit)
    limits = tuple(said for said in (_limits(entry) for entry in one.limits) if said)
    return FigureLine(f"{one.name} [{unit}]" if unit else one.name, limits, one.charted)


def _limits(entry: DatedLimits) -> str:
    target = f"target {plain_words(entry.target)}" if entry.target is not None else ""
    ends = (("from", entry.lower), ("to", entry.upper))
    between = " ".join(f"{word} {plain_words(value)}" for word, value in ends if value is not None)
    said = ", ".join(part for part in (target, between) if part)
    at = ", ".join(value for values in entry.at.values() for value in values)
    of = [", ".join(entry.models), at, f"since {dated_words(entry.since)}" if entry.since else ""]
    whose = ", ".join(one for one in of if one)
    return f"{said} ({whose})" if said and whose else said

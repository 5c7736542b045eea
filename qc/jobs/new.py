"""Making an empty workshop, with a commented plan to edit or one that is proposed from sheets."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from qc import clock
from qc.ingest import Grid, Known, SheetError, batch_reader, check, draft_plan, look_at, plan_text, unfold
from qc.jobs.errors import JobError
from qc.jobs.workshop import PLAN, open_workshop
from qc.plain import as_meant
from qc.plan import load_plan
from qc.report.terminal import new_workshop_text, proposed_plan_text
from qc.stats import Tabled

KINDS = (".csv", ".xlsx")
"""Files of a folder that are taken for sheets."""


@dataclass(frozen=True, slots=True)
class FirstPlan:
    """A plan proposed from sheets, and how well it reads them.

    Attributes
    ----------
    text : str
        The plan as YAML.
    stages : tuple of str
        Each with its figures in words.
    guessed : tuple of str
        Figures whose unit nobody wrote.
    rows, accepted : int
        Readings on the sheets, and how many of them go in with this plan.
    lists : tuple of str
        Titles of the cards that list events.
    left : tuple of str
        What is said of each sheet that cannot be read, and of the first row held of each other.
    """

    text: str
    stages: tuple[str, ...]
    guessed: tuple[str, ...]
    rows: int
    accepted: int
    left: tuple[str, ...]
    lists: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class NewWorkshop(Tabled):
    """A workshop that was just made; `proposed` where its plan was made from sheets."""

    folder: Path
    proposed: FirstPlan | None = field(default=None)

    @property
    def plan_file(self) -> Path:
        """The plan to edit."""
        return self.folder / PLAN

    def to_dict(self) -> dict[str, Any]:
        """Return plain values; what the sheets gave only where there were any."""
        made = {"folder": str(self.folder), "plan": str(self.plan_file)}
        if self.proposed is None:
            return made
        one = self.proposed
        return {
            **made,
            "stages": list(one.stages),
            "lists": list(one.lists),
            "guessed_units": list(one.guessed),
            "rows": one.rows,
            "accepted": one.accepted,
            "left": list(one.left),
        }

    def to_text(self) -> str:
        """Say what was made and how to go on."""
        if self.proposed is None:
            return new_workshop_text(self.folder, self.plan_file)
        one = self.proposed
        return proposed_plan_text(
            self.folder,
            self.plan_file,
            one.stages,
            one.guessed,
            (one.accepted, one.rows),
            one.left,
            one.lists,
        )


@as_meant
def new_workshop(
    folder: Path, *, sheets: Sequence[tuple[str, bytes | SheetError]] = (), as_of: date | None = None
) -> NewWorkshop:
    """Make an empty workshop; nothing of the sheets is handed in.

    Parameters
    ----------
    folder : Path
        A folder that does not exist yet, or an empty one.
    sheets : sequence of (name, bytes)
        Filled in sheets to propose the plan from, as `qc.jobs.upload.read_files` gives them; else the plan is
        the commented one that fits no shop yet.
    as_of : date, optional
        The day it is founded on; else today.

    Raises
    ------
    JobError
        There is something in the folder already, or no sheet has a figure under a heading.
    StoreError
        The folder is on a network share or cannot be written.
    """
    if (folder / PLAN).exists():
        raise JobError(f"There is a workshop in {folder} already; nothing was changed.")
    if folder.is_file() or (folder.is_dir() and any(folder.iterdir())):
        raise JobError(f"{folder} is not empty. Name a new folder, so that nothing of yours is mixed in.")
    proposed = _propose(folder.resolve().name, sheets, as_of) if sheets else None
    text = proposed.text if proposed else ""
    open_workshop(folder, as_of=as_of, create=True, writes=True, first_plan=text).store.close()
    return NewWorkshop(folder, proposed)


def sheets_in(paths: Sequence[Path]) -> list[tuple[str, bytes | SheetError]]:
    """Read sheets from the disk, those of a folder in order of their names.

    Raises
    ------
    QcError
        There is not one among them that can be read; it gives the sentence of each.
    """
    from qc.jobs.upload import read_files  # loads what judging needs, which a plain new workshop does not

    found: list[Path] = []
    for path in paths:
        inside = (
            sorted(p for p in path.iterdir() if p.suffix.casefold() in KINDS) if path.is_dir() else [path]
        )
        found += inside or [path]
    return read_files(found) if found else []


def _propose(name: str, sheets: Sequence[tuple[str, bytes | SheetError]], as_of: date | None) -> FirstPlan:
    """Propose a plan from sheets and try it on them."""
    left, grids = [], list[Grid]()
    with batch_reader() as reader:
        for file, data in sheets:
            try:
                if isinstance(data, SheetError):
                    raise data
                grids += reader.read(file, data)
            except SheetError as error:
                left.append(str(error))
    draft = draft_plan(name.replace("-", " ").replace("_", " ").strip().title(), [look_at(g) for g in grids])
    if not draft.stages:
        told = " ".join(left) or "None of the sheets has figures under headings."
        raise JobError(f"{told} Nothing was made. Leave out --from to begin with the plan that has comments.")
    text = plan_text(draft)
    plan = load_plan(text)
    parts = []
    for grid in grids:
        try:
            parts.append(unfold(grid, plan))
        except SheetError as error:
            left.append(str(error))
    today = clock.today(plan.workshop.time_zone, as_of)
    judged = check(parts, plan, Known(today=today))
    left += [_first_reason(one.held["reasons"][0]) for one in judged if one.held.height]
    stages = [
        f"{s.name}: {', '.join(f'{f.name} [{f.unit}]' for f in s.figures.values())}" for s in draft.stages
    ]
    return FirstPlan(
        text,
        tuple(stages),
        tuple(draft.guessed()),
        sum(one.rows for one in judged),
        sum(one.readings.height + one.events.height for one in judged),
        tuple(left),
        tuple(draft.events.values()),
    )


def _first_reason(reasons: str) -> str:
    first = json.loads(reasons)[0]
    return f"{first['sentence']} {first['mend']}"

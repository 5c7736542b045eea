"""A plan edited on the board: checked as `qc plan check` does, saved as a new version with who and why.

What is saved is what was typed, remarks and order too; with a fault nothing is saved.
"""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256
from typing import Final

from qc.errors import UsageError
from qc.jobs.errors import JobError
from qc.jobs.halves import AsBefore
from qc.jobs.judging import NOTHING_STORED, ending
from qc.jobs.plans import put_plan_file
from qc.jobs.roles import Verb, may
from qc.jobs.workshop import PLAN, Workshop
from qc.plan import PlanFault as PlanFault
from qc.plan import check_plan as faults_of
from qc.plan import read_plan_text

MOST_CHARACTERS: Final = 500_000  # chosen: twenty times the sample's plan
MOST_REASON: Final = 600


@dataclass(frozen=True, slots=True)
class PlanSaved:
    """What became of an edited plan: its faults, or the number of the version it is now."""

    faults: tuple[PlanFault, ...]
    version: int | None = None


def mark_of(text: str) -> str:
    """Return a mark of a text, by which a later one sees whether it is still the same."""
    return sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def check_text(text: str) -> tuple[PlanFault, ...]:
    """Return everything that is wrong with a plan as typed, in order of line.

    Raises
    ------
    JobError
        It is too long to be a plan.
    """
    if len(text) > MOST_CHARACTERS:
        raise JobError(
            f"This is {len(text)} characters long; a plan has at most {MOST_CHARACTERS}. Nothing was saved. "
            "Copy only the plan into the field."
        )
    return tuple(faults_of(text))


def save_plan(workshop: Workshop, text: str, *, who: str, why: str, mark: str) -> PlanSaved:
    r"""Put a text in the place of the plan and keep it as a new version.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    text : str
        The plan as typed; the ends of its lines become those of the file.
    who, why : str
        The person, a lead, and the reason; both are kept with the version.
    mark : str
        `mark_of` the text that the editing began with.

    Raises
    ------
    JobError
        The plan was changed since the editing began, nothing differs, or the person may not change it.
    UsageError
        No reason is given.
    """
    reason = " ".join(why.split())[:MOST_REASON]
    if not reason:
        raise UsageError("Say why in a few words: whoever reads the plan next year will want to know.")
    file = workshop.folder / PLAN
    with AsBefore() as files_beside, ending(NOTHING_STORED), workshop.store.writing():
        may(who, Verb.PLAN, workshop.plan, workshop.store.people())
        before = read_plan_text(file)
        if mark_of(before) != mark:
            raise JobError(
                "The plan was changed since you opened it, by somebody else or in its file. Nothing was "
                "saved. Copy what you typed, open the plan again, and put it in there."
            )
        new = _lines_as_in(before, text)
        if new == before:
            raise JobError("Nothing differs from the plan as it stands, so nothing was saved.")
        if faults := check_text(new):
            return PlanSaved(faults)
        files_beside.note(file)
        # the file first: were we cut off here, the next command keeps it as a version by itself
        put_plan_file(file, new)
        version = workshop.store.record_plan(new, who=who, when=workshop.now, why=reason)
    return PlanSaved((), version)


def _lines_as_in(before: str, text: str) -> str:
    """Give a text the line ends of another: a form sends its own, and a diff of the file would show all."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    whole = plain if plain.endswith("\n") else f"{plain}\n"
    return whole.replace("\n", "\r\n") if "\r\n" in before else whole

"""What the board's office does at once, without the worker: it writes little, its answers are seen once."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from datetime import date
from pathlib import Path
from typing import Protocol

from qc.jobs.errors import JobError
from qc.jobs.judging import NOTHING_STORED, ending
from qc.jobs.office.plan_pages import PlanDifference, PlanPage, difference, plan_page
from qc.jobs.office.plan_saving import PlanSaved, check_text, save_plan
from qc.jobs.people import People, PersonAnswer, add_person, leave, list_people, reset_person
from qc.jobs.roles import Role
from qc.jobs.workshop import Workshop, open_workshop
from qc.plan import PlanFault


class OfficeClosed(JobError):
    """What was asked is done at the command only."""


class Office(Protocol):
    """What a board asks of its office."""

    def people(self) -> People:
        """Return the list of people."""
        ...

    def add(self, code: str, role: str, name: str, who: str) -> PersonAnswer:
        """Add a person, or change role or name of one; the one-time code is told in this answer only."""
        ...

    def reset(self, code: str, who: str) -> PersonAnswer:
        """Give a person a new one-time code."""
        ...

    def leave(self, code: str, who: str) -> PersonAnswer:
        """Say that a person has left."""
        ...

    def plan(self) -> PlanPage:
        """Return the plan for reading."""
        ...

    def difference(self, before: int, after: int) -> PlanDifference:
        """Return what differs between two versions of the plan."""
        ...

    def check(self, text: str) -> tuple[PlanFault, ...]:
        """Return what is wrong with a plan as typed."""
        ...

    def save(self, text: str, who: str, why: str, mark: str) -> PlanSaved:
        """Save a plan as a new version, unless it has faults."""
        ...


class StoreOffice:
    """The office of a workshop; each question opens it anew, since its plan and its day may have changed.

    Parameters
    ----------
    folder : Path
        The workshop folder.
    as_of : date, optional
        The day the board stands on.
    """

    def __init__(self, folder: Path, as_of: date | None = None) -> None:
        self._folder, self._as_of = folder, as_of

    def people(self) -> People:
        """Return the list of people."""
        with self._opened() as workshop:
            return list_people(workshop)

    def add(self, code: str, role: str, name: str, who: str) -> PersonAnswer:
        """Add a person, or change role or name of one.

        Raises
        ------
        OfficeClosed
            There is no list of people: its first is added by whoever may read the folder.
        """
        with self._opened(writes=True) as workshop:
            _refuse_first(workshop)
            _refuse_last(workshop, code, Role(role) if role in set(Role) else None)
            return add_person(workshop, code, role, name=name, who=who)

    def reset(self, code: str, who: str) -> PersonAnswer:
        """Give a person a new one-time code."""
        with self._opened(writes=True) as workshop:
            _refuse_first(workshop)
            return reset_person(workshop, code, who=who)

    def leave(self, code: str, who: str) -> PersonAnswer:
        """Say that a person has left; the last owner at work stays.

        Raises
        ------
        OfficeClosed
            Nobody would be left who may change the list on the board.
        """
        with self._opened(writes=True) as workshop:
            _refuse_first(workshop)
            _refuse_last(workshop, code, None)
            return leave(workshop, code, who=who)

    def plan(self) -> PlanPage:
        """Return the plan for reading."""
        with self._opened() as workshop:
            return plan_page(workshop)

    def difference(self, before: int, after: int) -> PlanDifference:
        """Return what differs between two versions of the plan."""
        with self._opened() as workshop:
            return difference(workshop, before, after)

    def check(self, text: str) -> tuple[PlanFault, ...]:
        """Return what is wrong with a plan as typed."""
        return check_text(text)

    def save(self, text: str, who: str, why: str, mark: str) -> PlanSaved:
        """Save a plan as a new version, unless it has faults."""
        with self._opened(writes=True) as workshop:
            return save_plan(workshop, text, who=who, why=why, mark=mark)

    @contextmanager
    def _opened(self, *, writes: bool = False) -> Iterator[Workshop]:
        # whatever keeps the workshop from being opened, nothing of what was typed is stored then
        with ending(NOTHING_STORED) if writes else nullcontext():
            workshop = open_workshop(self._folder, as_of=self._as_of, writes=writes)
        try:
            yield workshop
        finally:
            workshop.store.close()


def _refuse_first(workshop: Workshop) -> None:
    if not workshop.store.people():
        raise OfficeClosed(
            "This workshop has no list of people. Whoever may read its folder adds the first at the command: "
            "qc people add CODE --role owner"
        )


def _refuse_last(workshop: Workshop, code: str, role: Role | None) -> None:
    """Refuse that the last owner at work leaves or becomes something else: the board would be shut to all."""
    owners = {one.code for one in workshop.store.people() if one.at_work and one.role == Role.OWNER}
    if owners == {code} and role is not Role.OWNER:
        raise OfficeClosed(
            f"{code} is the only owner at work: nobody could change this list any more. Add another owner "
            "first, or do it at the command."
        )

"""The list of people: who is at work, in which role, and who has still to sign in for the first time."""

from __future__ import annotations

from dataclasses import dataclass

from qc import clock
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import people_text
from qc.stats import Tabled
from qc.store import PersonRecord
from qc.words import dated_words


@dataclass(frozen=True, slots=True)
class People(Tabled):
    """Everybody who was ever added, those at work first."""

    people: tuple[PersonRecord, ...]
    zone: str

    def to_dict(self) -> JsonObject:
        """Return the contract of ``qc people list --json``."""
        return {
            "people": [
                {
                    "code": one.code,
                    "name": one.name,
                    "role": one.role,
                    "at_work": one.at_work,
                    "since": clock.day_of(one.since, self.zone).isoformat(),
                    "left": None if one.left is None else clock.day_of(one.left, self.zone).isoformat(),
                    "signed_up": one.signed_up,
                    "locked_until": _locked(one),
                }
                for one in self.people
            ]
        }

    def to_text(self) -> str:
        """Set them in columns."""
        return people_text([(one.code, one.name, one.role, self.state_of(one)) for one in self.people])

    def state_of(self, one: PersonRecord) -> str:
        """Say how a person stands: at work, not signed in yet, locked, gone."""
        if one.left is not None:
            return f"left {dated_words(clock.day_of(one.left, self.zone))}"
        if _locked(one):
            return f"locked after failed tries: qc people reset {one.code}"
        if not one.signed_up:
            return "has not signed in yet"
        return f"at work since {dated_words(clock.day_of(one.since, self.zone))}"


def list_people(workshop: Workshop) -> People:
    """Return the list of people, those at work first, in order of coming.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    """
    found = sorted(workshop.store.people(), key=lambda one: not one.at_work)
    return People(tuple(found), workshop.plan.workshop.time_zone)


def _locked(one: PersonRecord) -> str | None:
    if one.locked_until is None or one.locked_until <= clock.now():
        return None
    return one.locked_until.isoformat(timespec="seconds")

"""The list of people at the command: add somebody, give a new code, say that somebody left.

Nothing is asked back: a one-time code is printed, with which a person sets PIN and password at the first
sign-in. Whoever may read the folder may do this, so a name given with ``--who`` is believed; its role is
checked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from qc import clock
from qc.errors import UsageError
from qc.jobs.errors import JobError
from qc.jobs.halves import AsBefore
from qc.jobs.judging import NOTHING_STORED, ending
from qc.jobs.people.leaving import erased_plans, forget_in_file
from qc.jobs.people.passwords import ONCE_LASTS, new_once, once_digest
from qc.jobs.roles import ROLES, Role, Verb, may
from qc.jobs.workshop import PLAN, Workshop
from qc.plain import JsonObject
from qc.report.terminal import person_text
from qc.stats import Tabled
from qc.store import PersonRecord, PersonWord
from qc.words import dated_words, listed

CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.\-]{0,39}")
"""As the codes of a plan are written."""

OLD_PAGES = (
    "The person has left and the name is erased; old pages of the database may hold it until they are "
    "written over."
)
LONGEST = 80  # characters of a name; chosen: what is longer was pasted by mistake


@dataclass(frozen=True, slots=True)
class PersonAnswer(Tabled):
    """What became of a person in the list of people.

    Attributes
    ----------
    code, role, name : str
        As they stand now.
    sentence : str
        What was done, in words.
    one_time_code : str
        Printed once and kept as a hash; empty where none was made.
    valid_until : datetime or None
        Until when it is taken, UTC.
    notes : tuple of str
        What is still to be done.
    """

    code: str
    role: str
    name: str
    sentence: str
    one_time_code: str = ""
    valid_until: datetime | None = None
    notes: tuple[str, ...] = ()

    def to_dict(self) -> JsonObject:
        """Return plain values, the moment as ISO text."""
        until = None if self.valid_until is None else self.valid_until.isoformat(timespec="seconds")
        return {
            "code": self.code,
            "role": self.role,
            "name": self.name,
            "sentence": self.sentence,
            "one_time_code": self.one_time_code or None,
            "valid_until": until,
            "notes": list(self.notes),
        }

    def to_text(self) -> str:
        """Say what was done, the code alone on its line, and what to do with it."""
        until = "" if self.valid_until is None else dated_words(self.valid_until.date())
        return person_text(self.sentence, self.one_time_code, until, self.notes)


def add_person(workshop: Workshop, code: str, role: str, *, name: str = "", who: str = "") -> PersonAnswer:
    """Add a person, take one back who had left, or change role or name of one who is there.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    code : str
        As it stands on cards.
    role : str
        A `Role`.
    name : str
        How the person is called; kept beside the list and in no text of the plan. Empty leaves it as it is.
    who : str
        Code of whoever adds; empty where the command is given by somebody who may read the folder.

    Raises
    ------
    UsageError
        The code or the role is none.
    JobError
        The person is there with this role and name already, or `who` may not change the list.
    """
    own, called = _code(code), " ".join(name.split())
    wanted = _role(role)
    if len(called) > LONGEST or not called.isprintable():
        raise UsageError(f"A name has at most {LONGEST} printable characters; see --name.")
    with ending(NOTHING_STORED), workshop.store.writing():
        people = workshop.store.people()
        _check_who(workshop, who, people)
        there = next((person for person in people if person.code == own and person.at_work), None)
        if there is not None:
            return _changed(workshop, there, wanted, called, who)
        _note(workshop, own, PersonWord.ADDED, wanted, who, name=called or None)
        once, until = _new_code(workshop, own)
    known = [person.code for person in workshop.plan.people]
    notes = (
        [f"The plan has no {own} among its people: add it there if {own} is to stand on cards."]
        if known and own not in known
        else []
    )
    return PersonAnswer(own, wanted, called, f"{own} is added as {wanted}.", once, until, tuple(notes))


def reset_person(workshop: Workshop, code: str, *, who: str = "") -> PersonAnswer:
    """Take away what a person signs in with, end their sessions, and print a new one-time code.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    code, who : str
        The person, and whoever asks for it as in `add_person`.

    Raises
    ------
    JobError
        There is no such person at work, or `who` may not change the list.
    """
    with ending(NOTHING_STORED), workshop.store.writing():
        people = workshop.store.people()
        _check_who(workshop, who, people)
        own = _at_work(people, code)
        _note(workshop, own.code, PersonWord.RESET, Role(own.role), who)
        once, until = _new_code(workshop, own.code)
    said = f"{own.code} signs in with a new code; PIN, password and sessions of before have ended."
    return PersonAnswer(own.code, own.role, own.name, said, once, until)


def leave(workshop: Workshop, code: str, *, keep_name: bool = False, who: str = "") -> PersonAnswer:
    """Say that a person has left: no sign-in any more, and the name is forgotten while the code stays.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    code, who : str
        The person, and whoever says it as in `add_person`.
    keep_name : bool
        Leave the name where it is; `leave` without this forgets it later.

    Raises
    ------
    JobError
        There is no such person, or nothing is left to be done; `who` may not change the list.
    """
    with AsBefore() as files_beside, ending(NOTHING_STORED), workshop.store.writing():
        people = workshop.store.people()
        _check_who(workshop, who, people)
        own = next((person for person in people if person.code == code), None)
        if own is None:
            raise JobError(_no_such(code, people))
        names, plans = (set(), {}) if keep_name else erased_plans(workshop, own.code, own.name)
        to_erase = bool(not keep_name and (own.name or plans))
        if not own.at_work and not to_erase:
            raise JobError(f"{own.code} has left already, and no name is kept. See: qc people list")
        done = []
        if own.at_work:
            _note(workshop, own.code, PersonWord.LEFT, Role(own.role), who)
            workshop.store.open_once(own.code, None, None)
            done.append(f"{own.code} has left and signs in no more.")
        if to_erase:
            # the file first: were we cut off here, the next command meets a plan without the name, and the
            # same word forgets the rest
            files_beside.note(workshop.folder / PLAN)
            forget_in_file(workshop, own.code, names)
            workshop.store.erase_name(own.code, own.role, plans, who=who, when=workshop.now)
            done.append("The name is erased; the code stays in the records.")
    if to_erase:
        with ending(OLD_PAGES):
            workshop.store.forget_old_pages()
    if not own.at_work:
        done = [f"The name of {own.code} is erased; the code stays in the records."]
    return PersonAnswer(
        own.code, own.role, "" if to_erase else own.name, " ".join(done),
        notes=_left_notes(own, [p for p in people if p.code != own.code], erased=to_erase),
    )  # fmt: skip


def _left_notes(own: PersonRecord, others: list[PersonRecord], *, erased: bool) -> tuple[str, ...]:
    notes = []
    if erased:
        notes.append("Backups and reports made before still hold the name; they end with their own time.")
    if not any(one.at_work and Role(one.role).covers(Role.LEAD) for one in others):
        notes.append("Nobody at work may decide now. Add a lead: qc people add CODE --role lead")
    return tuple(notes)


def _changed(workshop: Workshop, own: PersonRecord, role: Role, name: str, who: str) -> PersonAnswer:
    """Change role or name of a person who is there."""
    done = []
    if role != own.role:
        _note(workshop, own.code, PersonWord.ROLE, role, who)
        done.append(f"is {role} now, and was {own.role}")
    if name and name != own.name:
        _note(workshop, own.code, PersonWord.NAMED, role, who, name=name)
        done.append(f"is called {name} now")
    if not done:
        raise JobError(f"{own.code} is {role} already. For a new one-time code: qc people reset {own.code}")
    return PersonAnswer(own.code, role, name or own.name, f"{own.code} {', and '.join(done)}.")


def _note(
    workshop: Workshop, code: str, what: PersonWord, role: Role, who: str, *, name: str | None = None
) -> None:
    workshop.store.note_person(code, what, role, who=who, when=workshop.now, name=name)


def _new_code(workshop: Workshop, code: str) -> tuple[str, datetime]:
    """Make a one-time code; it lasts by the real clock, whatever day the workshop stands on."""
    once, until = new_once(), clock.now() + ONCE_LASTS
    workshop.store.open_once(code, once_digest(once), until)
    return once, until


def _check_who(workshop: Workshop, who: str, people: list[PersonRecord]) -> None:
    if who and people:
        may(who, Verb.PEOPLE, workshop.plan, people)


def _at_work(people: list[PersonRecord], code: str) -> PersonRecord:
    own = next((person for person in people if person.code == code), None)
    if own is None:
        raise JobError(_no_such(code, people))
    if not own.at_work:
        raise JobError(f"{code} has left. To take {code} back: qc people add {code} --role {own.role}")
    return own


def _no_such(code: str, people: list[PersonRecord]) -> str:
    known = f"It has {listed([person.code for person in people])}." if people else "It is empty."
    return f"The list of people has no {code!r}. {known} Add one: qc people add CODE --role technician"


def _code(code: str) -> str:
    if not CODE.fullmatch(code):
        raise UsageError(
            f"{code[:60]!r} is no code of a person. Write it as on the cards: letters and digits, with _ . - "
            "inside, 40 at most."
        )
    return code


def _role(role: str) -> Role:
    if role not in ROLES:
        raise UsageError(f"{role!r} is no role. Choose one of {', '.join(ROLES)}.")
    return Role(role)

"""Who may do what: asked inside the transaction that writes, so that the answer still holds then.

Where the store has a list of people (`qc people add`), their roles decide: each may do what the one before it
may. Without it the plan knows one role, its quality lead. Where it names no lead, each of its people decides;
where it lists no people, anybody may do everything.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Final

from qc.errors import UsageError
from qc.jobs.errors import JobError
from qc.plan import Plan
from qc.store import PersonRecord

LONGEST_NAME = 80
"""Characters of a person's code; chosen: no name is longer, and what is longer was pasted by mistake."""


class Role(StrEnum):
    """What a person is in the workshop; each may do what those before may."""

    TECHNICIAN = "technician"
    LEAD = "lead"
    OWNER = "owner"

    def covers(self, needed: Role) -> bool:
        """Say whether this role may do what needs another.

        Examples
        --------
        >>> Role.OWNER.covers(Role.LEAD), Role.TECHNICIAN.covers(Role.LEAD)
        (True, False)
        """
        return ROLES.index(self) >= ROLES.index(needed)


ROLES: Final = tuple(Role)


class Verb(StrEnum):
    """What a person may or may not do."""

    MEND = "settle held rows"
    CORRECT = "put an accepted reading right"
    SAY = "say something of a signal"
    DECIDE = "decide about a series"
    RELEASE = "release a piece or keep it back"
    CLOSE_MONTH = "close a month"
    PLAN = "change the plan"
    PEOPLE = "change the list of people"


NEEDED: Final[Mapping[Verb, Role]] = {
    Verb.MEND: Role.TECHNICIAN,
    Verb.CORRECT: Role.TECHNICIAN,
    Verb.SAY: Role.TECHNICIAN,
    Verb.DECIDE: Role.LEAD,
    Verb.RELEASE: Role.LEAD,
    Verb.CLOSE_MONTH: Role.LEAD,
    Verb.PLAN: Role.LEAD,
    Verb.PEOPLE: Role.OWNER,
}
"""The least role for each."""

OF_THE_LEAD = frozenset(verb for verb, role in NEEDED.items() if role is not Role.TECHNICIAN)
"""What only the quality lead may do, where there are no roles yet."""


def may(who: str, verb: Verb, plan: Plan, people: Sequence[PersonRecord]) -> None:
    """Return where a person may do something, else say why not.

    Parameters
    ----------
    who : str
        Code of the person; empty where nobody is named.
    verb : Verb
        What is to be done.
    plan : Plan
        Its people, and its quality lead: they count where there is no list of people.
    people : sequence of PersonRecord
        The list of people of the store, those who left too.

    Raises
    ------
    UsageError
        Nobody is named where a name is due, or the name is no name.
    JobError
        The person is not known or has left, or it takes another role.
    """
    refuse_no_name(who)
    codes = known_codes(plan, people)
    if not (codes or people):
        if not who and verb is not Verb.MEND:
            raise UsageError("Say who you are: add --who with your name; it is kept with what is said.")
        return
    if who not in codes:
        raise _stranger(who, codes, people)
    if people:
        _refuse_role(who, verb, people)
    elif verb in OF_THE_LEAD and (lead := plan.workshop.lead) and who != lead:
        raise JobError(
            f"To {verb.value} is for the quality lead, {lead} in the plan, and not for {who}. Ask {lead}, or "
            "let the plan name another lead."
        )


def known_codes(plan: Plan, people: Sequence[PersonRecord]) -> list[str]:
    """Return the codes of those who may say something: people at work, else those of the plan."""
    if people:
        return [person.code for person in people if person.at_work]
    return [person.code for person in plan.people]


def _stranger(who: str, codes: Sequence[str], people: Sequence[PersonRecord]) -> JobError | UsageError:
    if not codes:
        return JobError(
            "Nobody of the list of people is at work. Add somebody: qc people add CODE --role lead"
        )
    way = (
        f"Say who you are: add --who with {'one of ' if len(codes) > 1 else ''}"
        f"{', '.join(codes) if len(codes) > 1 else codes[0]}."
    )
    if not who:
        return UsageError(way)  # nobody named is a slip of the command, a stranger one of the data
    if any(person.code == who for person in people):
        return JobError(f"{way} {who} has left.")
    return JobError(f"{way} {'The list of people' if people else 'The plan'} knows no {who!r}.")


def _refuse_role(who: str, verb: Verb, people: Sequence[PersonRecord]) -> None:
    own = next(Role(person.role) for person in people if person.code == who)
    needed = NEEDED[verb]
    if own.covers(needed):
        return
    able = [person.code for person in people if person.at_work and Role(person.role).covers(needed)]
    ask = f"Ask {' or '.join(able)}." if able else f"Add one: qc people add CODE --role {needed}"
    above = " or an owner" if needed is Role.LEAD else ""
    raise JobError(f"To {verb.value} is for {_a(needed)}{above}, and not for {who}, {_a(own)}. {ask}")


def _a(role: Role) -> str:
    return f"an {role}" if role is Role.OWNER else f"a {role}"


def refuse_no_reason(why: str) -> None:
    """Refuse to undo or correct anything without a reason.

    Raises
    ------
    UsageError
        None is given.
    """
    if not why.strip():
        raise UsageError("Say why with --why: whoever looks it up next year will want to know.")


def refuse_no_name(who: str) -> None:
    """Refuse what cannot be anybody's code: a page pasted by mistake, characters that cannot be shown.

    Raises
    ------
    UsageError
        It is none.
    """
    if len(who) > LONGEST_NAME or not who.isprintable():
        raise UsageError(f"A person's code has at most {LONGEST_NAME} printable characters; see --who.")

"""Who may do what: asked inside the transaction that writes, so that the answer still holds then.

Until people have accounts the plan knows one role, its quality lead. Where it names no lead, each of its
people decides; where it lists no people, anybody may do everything.
"""

from __future__ import annotations

from enum import StrEnum

from qc.errors import UsageError
from qc.jobs.errors import JobError
from qc.plan import Plan

LONGEST_NAME = 80
"""Characters of a person's code; chosen: no name is longer, and what is longer was pasted by mistake."""


class Verb(StrEnum):
    """What a person may or may not do."""

    MEND = "settle held rows"
    CORRECT = "put an accepted reading right"
    SAY = "say something of a signal"
    DECIDE = "decide about a series"
    RELEASE = "release a piece or keep it back"
    CLOSE_MONTH = "close a month"


OF_THE_LEAD = frozenset({Verb.DECIDE, Verb.RELEASE, Verb.CLOSE_MONTH})
"""What only the quality lead may do."""


def may(who: str, verb: Verb, plan: Plan) -> None:
    """Return where a person may do something, else say why not.

    Parameters
    ----------
    who : str
        Code of the person; empty where nobody is named.
    verb : Verb
        What is to be done.
    plan : Plan
        Its people, and its quality lead.

    Raises
    ------
    UsageError
        Nobody is named where a name is due, or the name is no name.
    JobError
        The plan does not know the person, or leaves this to its quality lead.
    """
    refuse_no_name(who)
    people = [person.code for person in plan.people]
    if not people:
        if not who and verb is not Verb.MEND:
            raise UsageError("Say who you are: add --who with your name; it is kept with what is said.")
        return
    if who not in people:
        codes = ", ".join(people) if len(people) > 1 else people[0]
        way = f"Say who you are: add --who with {'one of ' if len(people) > 1 else ''}{codes}."
        # nobody named is a slip of the command, a stranger one of the data
        raise JobError(f"{way} The plan knows no {who!r}.") if who else UsageError(way)
    lead = plan.workshop.lead
    if verb in OF_THE_LEAD and lead and who != lead:
        raise JobError(
            f"To {verb.value} is for the quality lead, {lead} in the plan, and not for {who}. Ask {lead}, or "
            "let the plan name another lead."
        )


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

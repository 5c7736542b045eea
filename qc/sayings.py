"""What people say of a signal, or decide about a series: one record from the form to the row of the store.

The kinds are listed here and nowhere else, and here is checked what may be said when. The faces keep their
own words for what is wrong, since a form can be mended by choosing and a command by typing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from typing import Literal
from zoneinfo import ZoneInfo

SignalState = Literal["open", "in-hand", "closed", "closed-false"]
OPEN_STATES: tuple[SignalState, ...] = ("open", "in-hand")
CLOSED_STATES: tuple[SignalState, ...] = ("closed", "closed-false")
MENDED, STAYS, FALSE = "mended", "stays", "false"
"""What became of the cause of a closed signal: the state before is the reference again; the new level is the
settled state; it was none."""

OUTCOMES = (MENDED, STAYS)
"""What may be said of a signal that is closed with its cause."""

OUTCOME_WORDS: Mapping[str, str] = {
    MENDED: "cause mended",
    STAYS: "the new level stays",
    FALSE: "no cause",
}

ALWAYS_FIRST = 3
"""So many steps are the same for every signal; see `qc.watch.first_steps`."""

TICKED = "Ticked: "
"""How the text of a saying begins that names steps done; a form shows them ticked from then on."""


class What(StrEnum):
    """Everything that can be said: the first nine of a signal, the last four of a series."""

    IN_HAND = "in-hand"
    CLOSED = "closed"
    CLOSED_FALSE = "closed-false"
    REOPENED = "reopened"
    COMMENT = "comment"
    STEP_DONE = "step-done"
    PIECE_DONE = "piece-done"
    STEP_UNDONE = "step-undone"
    PIECE_UNDONE = "piece-undone"
    FREEZE = "freeze"
    UNDO_FREEZE = "undo-freeze"
    LEAVE_OUT = "leave-out"
    UNDO_LEAVE_OUT = "undo-leave-out"


OF_SERIES = (What.FREEZE, What.UNDO_FREEZE, What.LEAVE_OUT, What.UNDO_LEAVE_OUT)
"""What a lead may decide about a whole series."""

OF_SIGNAL = tuple(what for what in What if what not in OF_SERIES)
"""What anyone may say of one signal."""

CLOSINGS = (What.CLOSED, What.CLOSED_FALSE)
"""What closes a signal."""

TAKEN_BACK: Mapping[What, What] = {
    What.STEP_UNDONE: What.STEP_DONE,
    What.PIECE_UNDONE: What.PIECE_DONE,
}
"""What takes back which tick. The tick stays as said; it counts no more."""

REMARKS = (What.COMMENT, What.STEP_DONE, What.PIECE_DONE, *TAKEN_BACK)
"""What leaves a signal as it stands, and its series as it is judged."""

WORDS: Mapping[str, str] = {
    What.IN_HAND: "taken in hand",
    What.CLOSED: "closed",
    What.CLOSED_FALSE: "closed as false",
    What.REOPENED: "reopened",
    What.COMMENT: "comment",
    What.STEP_DONE: "step done",
    What.PIECE_DONE: "piece dealt with",
    What.STEP_UNDONE: "tick of a step taken back",
    What.PIECE_UNDONE: "tick of a piece taken back",
    What.FREEZE: "settled state frozen",
    What.UNDO_FREEZE: "frozen settled state undone",
    What.LEAVE_OUT: "left out",
    What.UNDO_LEAVE_OUT: "taken in again",
}
"""What was said, told afterwards."""

_STATE_AFTER: Mapping[What, SignalState] = {
    What.IN_HAND: "in-hand",
    What.CLOSED: "closed",
    What.CLOSED_FALSE: "closed-false",
    What.REOPENED: "open",
}

_WORD_FOR_WORD = ("what", "text", "cause", "action", "outcome", "first")


@dataclass(frozen=True, slots=True)
class Saying:
    """What a person says of a signal or a series.

    Attributes
    ----------
    what : What
        One of `OF_SIGNAL` or `OF_SERIES`.
    who : str
        Code of the person.
    text : str
        A remark; of a series, the reason.
    cause, action : str
        Of a signal closed with its cause: the plan's code of it, and what was done.
    first, last : str
        Of a series: serials between which it holds, both included. Of a signal closed as mended `first` is
        the first piece made after the mend; of a piece dealt with, or its tick taken back, that piece.
    outcome : str
        Of a signal closed with its cause: one of `OUTCOMES`; empty in what was said before that was asked.
    """

    what: What
    who: str = ""
    text: str = ""
    cause: str = ""
    action: str = ""
    first: str = ""
    last: str = ""
    outcome: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Said(Saying):
    """A saying as it is kept: its number, the id of the signal or the key of the series, and when.

    `role` is what the person was then; empty where nobody has a role, and in older sayings.
    """

    id: int
    about: str
    when: datetime
    role: str = ""


class Fault(StrEnum):
    """Why something cannot be said."""

    NOBODY = "nobody, or nobody known, says it"
    NOT_CLOSED = "only a closed signal can be reopened"
    CLOSED_ALREADY = "a closed signal can only be reopened or remarked on"
    NO_CAUSE = "it is closed with a cause that the plan does not have"
    NO_ACTION = "it is closed without a word on what was done"
    NO_OUTCOME = "it is closed without a word on what became of the cause"
    NOT_MENDED = "a first piece after the mend is named where nothing was mended"
    NO_STEP = "it is not said which step, or which piece, is meant"
    NO_REMARK = "the remark is empty"
    NO_REASON = "a decision gives no reason"
    NO_PIECE = "a decision names no piece"
    STRANGE_PIECE = "a decision names a piece that the series does not have"


def faults_of_signal_saying(
    saying: Saying, *, people: Collection[str], causes: Collection[str], state: str
) -> set[Fault]:
    """Return everything that keeps this from being said of a signal.

    Parameters
    ----------
    saying : Saying
        One of `OF_SIGNAL`.
    people, causes : collection of str
        Codes that may be named.
    state : str
        How the signal stands.
    """
    closing = saying.what in CLOSINGS
    closed = saying.what is What.CLOSED
    found = {
        Fault.NOBODY: saying.who not in people,
        Fault.NOT_CLOSED: saying.what is What.REOPENED and state not in CLOSED_STATES,
        Fault.CLOSED_ALREADY: (closing or saying.what is What.IN_HAND) and state in CLOSED_STATES,
        Fault.NO_CAUSE: closed and saying.cause not in causes,
        Fault.NO_ACTION: closed and not saying.action,
        Fault.NO_OUTCOME: closed and saying.outcome not in OUTCOMES,
        Fault.NOT_MENDED: closing and bool(saying.first) and saying.outcome != MENDED,
        Fault.NO_STEP: (saying.what in {What.STEP_DONE, What.STEP_UNDONE} and not saying.text.strip())
        or (saying.what in {What.PIECE_DONE, What.PIECE_UNDONE} and not saying.first),
        Fault.NO_REMARK: saying.what is What.COMMENT and not saying.text.strip(),
    }
    return {fault for fault, there in found.items() if there}


def faults_of_decision(saying: Saying, *, people: Collection[str], serials: Collection[str]) -> set[Fault]:
    """Return everything that keeps a lead from deciding this about a series.

    Parameters
    ----------
    saying : Saying
        One of `OF_SERIES`.
    people : collection of str
        Codes that may be named.
    serials : collection of str
        The pieces of the series; what is undone may name others, which are no longer shown.
    """
    undone = saying.what in {What.UNDO_FREEZE, What.UNDO_LEAVE_OUT}
    found = {
        Fault.NOBODY: saying.who not in people,
        Fault.NO_REASON: not saying.text.strip(),
        Fault.NO_PIECE: saying.what is not What.UNDO_FREEZE and not saying.first,
        Fault.STRANGE_PIECE: not undone and strange_piece(saying, serials) is not None,
    }
    return {fault for fault, there in found.items() if there}


def strange_piece(saying: Saying, serials: Collection[str]) -> str | None:
    """Return the first piece a decision names that the series does not have; its end may be left open."""
    named = (saying.first, saying.last or saying.first)
    return next((serial for serial in named if serial not in serials), None)


def outcome_of(closing: Saying) -> str:
    """Say what became of the cause, by the words with which a signal was closed.

    Examples
    --------
    >>> outcome_of(Saying(What.CLOSED, cause="jig", outcome="mended")), outcome_of(Saying(What.CLOSED_FALSE))
    ('mended', 'false')
    >>> outcome_of(Saying(What.CLOSED, cause="jig"))  # closed before anybody asked
    'stays'
    """
    if closing.what is What.CLOSED_FALSE:
        return FALSE
    return closing.outcome or STAYS


def ticked_steps(said: Sequence[Said], steps: Sequence[str]) -> dict[int, Said]:
    """Return which steps (from 0) stand ticked since a signal opened, with the words that did it.

    Parameters
    ----------
    said : sequence of Said
        What was said of the signal, oldest first. What was ticked before it opened anew has to be done again.
    steps : sequence of str
        The steps as they read now. The first three name the newest piece and the gauges, so those go by their
        number; the others by their words, since the plan may have changed.
    """
    since = max((n for n, one in enumerate(said) if one.what is What.REOPENED), default=-1)
    found: dict[int, Said] = {}
    for one in said[since + 1 :]:
        for place, step in enumerate(steps):
            if one.what is What.STEP_UNDONE:
                if names_step(one, place, step):
                    found.pop(place, None)
            elif place not in found and _ticks(one, place, step):
                found[place] = one
    return found


def steps_as_ticked(said: Sequence[Said], steps: Sequence[str]) -> tuple[str, ...]:
    """Return the steps, those that stand ticked in the words in which they were ticked.

    The first three name the newest piece: who measured one in August measured none that was made since.

    Examples
    --------
    >>> when = datetime(2026, 8, 28, tzinfo=ZoneInfo("UTC"))
    >>> told = [Said(What.STEP_DONE, "MB", "1. Re-measure A-21. (twice)", id=1, about="", when=when)]
    >>> steps_as_ticked(told, ["Re-measure A-60.", "Check the zero.", "Check the card."])[:2]
    ('Re-measure A-21.', 'Check the zero.')
    """
    found = list(steps)
    for place, one in ticked_steps(said, steps).items():
        number, _, rest = one.text.partition(" ")
        if place < ALWAYS_FIRST and one.what is What.STEP_DONE and number == f"{place + 1}.":
            found[place] = rest.partition(". (")[0].rstrip(".") + "."
    return tuple(found)


def pieces_done(said: Iterable[Said]) -> dict[str, Said]:
    """Return the pieces that stand ticked as dealt with, by serial, with the words that did it.

    Parameters
    ----------
    said : iterable of Said
        What was said of the signal, oldest first.
    """
    found: dict[str, Said] = {}
    for one in said:
        if one.what is What.PIECE_DONE:
            found[one.first] = one
        elif one.what is What.PIECE_UNDONE:
            found.pop(one.first, None)
    return found


def _ticks(said: Said, place: int, step: str) -> bool:
    if said.what is What.STEP_DONE:
        return names_step(said, place, step)
    return TICKED in said.text and step in said.text


def names_step(said: Saying, place: int, step: str) -> bool:
    """Say whether a tick, or one taken back, is about a step (from 0): see `ticked_steps`."""
    return said.text.startswith(f"{place + 1}. ") if place < ALWAYS_FIRST else step in said.text


def said_already(said: Sequence[Said], saying: Saying) -> bool:
    """Say whether a person only repeats the own last word of a signal that stands as it did then.

    A command that was cut off is given again, and a form sent twice: neither is a second remark.

    Parameters
    ----------
    said : sequence of Said
        What was said of the signal, oldest first.
    saying : Saying
        What is to be said of it.
    """
    for last in reversed(said):
        if last.who == saying.who:
            return all(getattr(last, name) == getattr(saying, name) for name in _WORD_FOR_WORD)
        if last.what in _STATE_AFTER or _opposite(last.what, saying.what):
            return False  # somebody else took or settled it since, or took the tick back
    return False


def _opposite(one: What, other: What) -> bool:
    return TAKEN_BACK.get(one) is other or TAKEN_BACK.get(other) is one


def told_here(said: Iterable[Said], zone: str) -> tuple[Said, ...]:
    """Return sayings with their moments in the workshop's own zone, so that their days are its days.

    Parameters
    ----------
    said : iterable of Said
        As kept, in UTC: of an evening it is tomorrow there, or still yesterday.
    zone : str
        Of the plan.
    """
    here = ZoneInfo(zone)
    return tuple(replace(one, when=one.when.astimezone(here)) for one in said)


def last_closing(said: Iterable[Said], zone: str = "") -> Said | None:
    """Return the words that closed a signal last, None where nobody ever did.

    Parameters
    ----------
    said : iterable of Said
        What was said of it, oldest first.
    zone : str
        Of the plan, for its moment in the workshop's own zone; without it, as it was kept.
    """
    closings = [one for one in said if one.what in CLOSINGS]
    return (told_here(closings[-1:], zone)[0] if zone else closings[-1]) if closings else None


def state_after(said: Iterable[Saying]) -> SignalState:
    """Return the state a signal is in after what was said of it, oldest first; a comment changes nothing.

    Examples
    --------
    >>> state_after([Saying(What.IN_HAND, "IS"), Saying(What.CLOSED, "IS"), Saying(What.COMMENT, "BK")])
    'closed'
    >>> state_after([])
    'open'
    """
    state: SignalState = "open"
    for saying in said:
        state = _STATE_AFTER.get(saying.what, state)
    return state

"""What people say of signals: taken in hand, closed, reopened, remarked on, ticked off and ticks taken back.

What people say of a signal is an entry of the chain and is never changed. What a closing says of the cause
decides how its series is judged: mended, and the state before is the reference again; it stays, and the new
level is the settled state; false, and the finding counts no more.
"""

from __future__ import annotations

from dataclasses import replace

from qc.errors import UsageError
from qc.jobs.errors import JobError
from qc.jobs.judging import (
    NOTHING_STORED,
    STORED_AND_JUDGED,
    STORED_NOT_JUDGED,
    at_latest,
    catch_up,
    ending,
    judge_anew,
    load_verdicts,
)
from qc.jobs.roles import Verb, known_codes, may
from qc.jobs.signals.asking import find_signal, newest_life, told_whole
from qc.jobs.signals.life import SignalLife
from qc.jobs.workshop import Workshop
from qc.sayings import (
    CLOSINGS,
    Fault,
    Saying,
    What,
    faults_of_signal_saying,
    names_step,
    pieces_done,
    said_already,
    ticked_steps,
)
from qc.states import SIGNAL_WORDS
from qc.watch import SeriesKey
from qc.words import pieces_words, some_of


def say_of_signal(workshop: Workshop, signal_id: str, saying: Saying) -> SignalLife:
    """Add to the life of a signal; the series is judged again where that changes its settled state.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    signal_id : str
        The signal, or the beginning of its id.
    saying : Saying
        The new state, or a comment; the person must be known to the plan, and so must the cause.

    Returns
    -------
    SignalLife
        The signal as it now stands. What the person said last, word for word, is not recorded again while
        the signal stands as it did then.

    Raises
    ------
    JobError
        Nobody or an unknown person says it, a cause that the plan does not have, or a state that cannot
        follow.
    """
    with ending(NOTHING_STORED):
        if saying.what in CLOSINGS:
            _with_what_it_holds(workshop, signal_id)
        # another person may be closing it at this moment: looked up, checked and written in one transaction
        with workshop.store.writing():
            may(saying.who, Verb.SAY, workshop.plan, workshop.store.people())
            signal = newest_life(workshop, signal_id)
            _refuse(workshop, saying, signal)
            already = said_already(signal.events, saying)
            _refuse_early(workshop, saying, signal)
            _refuse_elsewhere(workshop, saying, signal)
            if not already:
                _refuse_unticked(saying, signal)
                workshop.store.say(signal.id, saying, when=workshop.now)
                for one in signal.joined if saying.what in CLOSINGS else ():
                    said = saying.text or f"Answered with signal {signal.name}, in which it stands."
                    workshop.store.say(one.id, replace(saying, text=said), when=workshop.now)
    with ending(STORED_NOT_JUDGED):
        catch_up(workshop)
    with ending(STORED_AND_JUDGED):
        return replace(told_whole(at_latest(workshop), newest_life(workshop, signal.id)), already=already)


def _with_what_it_holds(workshop: Workshop, signal_id: str) -> None:
    """Judge the series of a signal once more where it was told before a signal kept the pieces that it holds.

    What is closed holds no piece by itself any more, so its pieces could not be found afterwards.
    """
    signal = newest_life(workshop, signal_id)
    if signal.found.kept is None and signal.present:
        judge_anew(workshop, [signal.series])


def _refuse(workshop: Workshop, saying: Saying, signal: SignalLife) -> None:
    """Refuse what cannot be said of a signal as it stands."""
    plan = workshop.plan
    people = known_codes(plan, workshop.store.people())
    faults = faults_of_signal_saying(saying, people=people, causes=plan.causes, state=signal.state)
    if Fault.NO_CAUSE in faults:
        raise JobError(
            f"Close a signal with its cause, or as false. {saying.cause!r} is no cause of the plan; it has: "
            f"{', '.join(plan.causes) or 'none yet'}."
        )
    if faults & {Fault.NO_ACTION, Fault.NO_OUTCOME}:
        raise UsageError(
            "With the cause goes what was done, --action TEXT, and what became of the cause, "
            "--outcome mended or --outcome stays."
        )
    if Fault.NOT_MENDED in faults:
        raise UsageError("--from names the first piece made after a mend: it goes with --outcome mended.")
    if Fault.NO_REMARK in faults:
        raise UsageError(f"The remark is empty. Say what to add: qc signals comment {signal.name} TEXT")
    if Fault.NOT_CLOSED in faults:
        raise JobError(
            f"Signal {signal.name} is {SIGNAL_WORDS[signal.state]}; only a closed one can be reopened."
        )
    if Fault.CLOSED_ALREADY in faults:
        raise JobError(
            f"Signal {signal.name} is {SIGNAL_WORDS[signal.state]} already. "
            "Reopen it first: qc signals reopen"
        )


def _refuse_early(workshop: Workshop, saying: Saying, signal: SignalLife) -> None:
    """Refuse a first piece after the mend that was made before the change began."""
    if saying.what is not What.CLOSED or not saying.first:
        return
    verdict = next((v for v in load_verdicts(workshop) if str(v.key) == signal.series), None)
    place = {p.serial: p.ordinal for p in verdict.points} if verdict else {}
    if saying.first in place and place[saying.first] <= signal.found.start and signal.present:
        raise JobError(
            f"{saying.first} was made before the change at {signal.found.start_serial} began or is its first "
            "piece. --from names the first piece made after the mend."
        )


def _refuse_elsewhere(workshop: Workshop, saying: Saying, signal: SignalLife) -> None:
    """Refuse a first piece after the mend that cannot stand in the series: the mend would never begin."""
    if saying.what is not What.CLOSED or not saying.first:
        return
    key = SeriesKey.parse(signal.series)
    figure = workshop.plan.characteristic(key.stage, key.characteristic)
    rows = workshop.store.pieces([saying.first])
    if rows.is_empty():
        return  # it may be begun tomorrow: until its card comes in the mend has not begun
    else_ = "or leave --from out: then the first piece measured after the closing counts."
    model = str(rows["model"][0] or "")
    own = workshop.plan.family_of(figure, model) if figure is not None and model else key.family
    if own != key.family:
        named = workshop.plan.model(model)
        about = f"{figure.name if figure else key.characteristic}, {key.family}"
        raise JobError(
            f"{saying.first} is {named.name if named else model}, and signal {signal.name} is about {about}: "
            f"no reading of it stands there. Name the first piece of that series made after the mend, {else_}"
        )


def tick_off(
    workshop: Workshop, signal_id: str, *, step: int = 0, piece: str = "", who: str = "", text: str = ""
) -> SignalLife:
    """Say that a reaction step is done, or that a piece made under the cause is dealt with.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    signal_id : str
        The signal, or the beginning of its id.
    step : int
        Number of the step, from 1; 0 where a piece is meant.
    piece : str
        Serial of a piece made under the cause.
    who, text : str
        The person, and a remark.

    Raises
    ------
    JobError
        There is no such step, or that piece was not made under the cause.
    """
    signal = find_signal(workshop, signal_id)
    if piece:
        made = [one.serial for one in signal.made_under]
        if piece not in made:
            raise JobError(
                f"{piece} is not among the pieces made under the cause of {signal.name}. They are: "
                f"{', '.join(made) or 'none'}."
            )
        ticked = say_of_signal(workshop, signal.id, Saying(What.PIECE_DONE, who, text, first=piece))
        return replace(ticked, done=f"Ticked by {who} at signal {signal.name}: {piece} is dealt with.")
    done = _step_named(signal, step) + (f" ({text})" if text else "")
    ticked = say_of_signal(workshop, signal.id, Saying(What.STEP_DONE, who, done))
    return replace(ticked, done=f"Ticked by {who} at signal {signal.name}: step {done}")


def tick_every_piece(workshop: Workshop, signal_id: str, *, who: str = "", text: str = "") -> SignalLife:
    """Say of all pieces made under the cause that are still to deal with that they are dealt with, at once.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    signal_id : str
        The signal, or the beginning of its id.
    who, text : str
        The person, and a remark that is kept with each.

    Raises
    ------
    JobError
        No piece is left to tick off, or nobody or an unknown person says it.
    """
    whole = find_signal(workshop, signal_id)
    with ending(NOTHING_STORED), workshop.store.writing():
        may(who, Verb.SAY, workshop.plan, workshop.store.people())
        signal = newest_life(workshop, whole.id)
        done = pieces_done(signal.events)
        left = [one.serial for one in whole.made_under if one.serial not in done]
        if not left:
            raise JobError(f"No piece made under the cause of signal {whole.name} is left to tick off.")
        _refuse(workshop, Saying(What.PIECE_DONE, who, text, first=left[0]), signal)
        for serial in left:
            saying = Saying(What.PIECE_DONE, who, text, first=serial)
            workshop.store.say(signal.id, saying, when=workshop.now)
    with ending(STORED_NOT_JUDGED):
        catch_up(workshop)
    with ending(STORED_AND_JUDGED):
        told = told_whole(at_latest(workshop), newest_life(workshop, signal.id))
        every = f"{pieces_words(len(left))}: {some_of(left)}"
        return replace(told, done=f"Ticked by {who} at signal {whole.name}: {every}")


def take_tick_back(
    workshop: Workshop, signal_id: str, *, step: int = 0, piece: str = "", who: str = "", text: str = ""
) -> SignalLife:
    """Take back the tick of a reaction step, or of a piece made under the cause; both sayings stay.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    signal_id : str
        The signal, or the beginning of its id.
    step : int
        Number of the step, from 1; 0 where a piece is meant.
    piece : str
        Serial of a piece made under the cause.
    who, text : str
        The person, and why.

    Raises
    ------
    JobError
        There is no such step, or what is named is not ticked.
    """
    signal = find_signal(workshop, signal_id)
    said = f"Tick taken back by {who} at signal {signal.name}:"
    if piece:
        undone = say_of_signal(workshop, signal.id, Saying(What.PIECE_UNDONE, who, text, first=piece))
        return replace(undone, done=f"{said} {piece} is not dealt with.")
    named = _step_named(signal, step) + (f" ({text})" if text else "")
    undone = say_of_signal(workshop, signal.id, Saying(What.STEP_UNDONE, who, named))
    return replace(undone, done=f"{said} step {named}")


def _step_named(signal: SignalLife, step: int) -> str:
    """Return a step as it stands in the list, with its number."""
    if not 0 < step <= len(signal.steps):
        raise JobError(
            f"Signal {signal.name} has steps 1 to {len(signal.steps)}, not {step}. "
            f"Look at them: qc signals show {signal.name}"
        )
    return f"{step}. {signal.steps[step - 1]}"


def _refuse_unticked(saying: Saying, signal: SignalLife) -> None:
    """Refuse to take back what is not ticked: somebody else may just have done so."""
    if saying.what is What.PIECE_UNDONE:
        ticked = sorted(pieces_done(signal.events))
        if saying.first not in ticked:
            raise JobError(
                f"{saying.first} is not ticked at signal {signal.name}, so there is no tick to take back. "
                f"Ticked are: {', '.join(ticked) or 'none'}."
            )
    if saying.what is What.STEP_UNDONE:
        stands = ticked_steps(signal.events, signal.steps)
        if not any(names_step(saying, place, signal.steps[place]) for place in stands):
            numbers = ", ".join(str(place + 1) for place in sorted(stands))
            raise JobError(
                f"That step is not ticked at signal {signal.name}, so there is no tick to take back. "
                f"Ticked are: {numbers or 'none'}."
            )

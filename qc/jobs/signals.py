"""Signals and their life: open, in hand, closed with cause and action, closed as false, reopened.

What people say of a signal is an entry of the chain and is never changed. A signal closed with a cause makes
the new level the settled state of its series; one closed as false leaves the old state as it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from qc.errors import UsageError
from qc.jobs.errors import JobError
from qc.jobs.judging import (
    NOTHING_STORED,
    STORED_NOT_JUDGED,
    SignalOfDay,
    at_latest,
    brought_up,
    catch_up,
    ending,
    present_budget,
    signals_of_day,
    verdicts_of_day,
)
from qc.jobs.roles import Verb, may
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.plan import Plan
from qc.report.terminal import signal_text, signals_text
from qc.sayings import OPEN_STATES, Fault, Said, Saying, SignalState, faults_of_signal_saying, said_already
from qc.stats import Tabled
from qc.store import signal_id as id_of_signal
from qc.watch import SeriesKey, SeriesVerdict, SignalResult, reaction_steps

STATE_WORDS: dict[SignalState, str] = {
    "open": "open",
    "in-hand": "in hand",
    "closed": "closed",
    "closed-false": "closed as a false signal",
}

SAID_ALREADY = "That stands already, word for word, so it was not recorded a second time."


@dataclass(frozen=True, slots=True)
class SignalLife:
    """One signal, what was said of it, and what to do.

    Attributes
    ----------
    id : str
        Stays the same however often the series is judged again.
    series, title : str
        Key and name of its series.
    state : str
        open, in-hand, closed or closed-false.
    found : SignalResult
        What the watch found.
    events : tuple of Said
        What was said, oldest first.
    steps : tuple of str
        Reaction steps of the plan, the three that are always the same first.
    cautions : tuple of str
        Usual cautions of the stage.
    present : bool
        False where the present readings no longer show it, for example after a correction.
    already : bool
        What was to be said stood there word for word, so it was not recorded again.
    before : tuple of str
        Ids of signals that told of the same change and were raised at another piece; it answers to them too.
    told : tuple of (date, str, str)
        What had been said on which day, sentence and what it coincided with; of one asked for by itself.
    """

    id: str
    series: str
    title: str
    state: SignalState
    found: SignalResult
    events: tuple[Said, ...]
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    present: bool
    already: bool = False
    before: tuple[str, ...] = ()
    told: tuple[tuple[date, str, str], ...] = ()

    @property
    def over(self) -> bool:
        """Whether the series came back to the old state since."""
        return self.found.ended is not None

    @property
    def standing(self) -> str:
        """Say in a word or two how it stands; one that nobody answered and that came back is over."""
        return "over" if self.state == "open" and self.over else STATE_WORDS[self.state]

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        found = self.found.to_dict()
        return {
            "id": self.id,
            "series": self.series,
            "state": self.state,
            "present": self.present,
            "over": self.over,
            **{name: found[name] for name in _TOLD},
            **({"told": [_as_told(row) for row in self.told]} if self.told else {}),
            "events": [_plain(event) for event in self.events],
            "steps": list(self.steps),
            "cautions": list(self.cautions),
            **({"already": True} if self.already else {}),
        }

    def to_text(self) -> str:
        """Say everything of the signal."""
        head = (self.id, self.title, self.standing)
        told = signal_text(head, self.found, self.steps, self.cautions, self.events, self.told)
        return f"{SAID_ALREADY}\n{told}" if self.already else told


@dataclass(frozen=True, slots=True)
class SignalList(Tabled):
    """Signals, worst first."""

    ROWS = "signals"

    signals: tuple[SignalLife, ...]
    budget: str = ""  # how often the whole board cries wolf, in words
    not_judged: str = ""  # since when something waits that could not be judged now, in words

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"budget": self.budget, "signals": [signal.to_dict() for signal in self.signals]}

    def to_text(self) -> str:
        """List them in one line each; one alone is told whole."""
        rows = [(s.id, s.standing, s.found.sentence) for s in self.signals]
        told = signals_text(rows, self.budget, self.signals[0].to_text() if len(rows) == 1 else "")
        return f"{self.not_judged}\n{told}" if self.not_judged else told


def list_signals(workshop: Workshop, *, all_states: bool = False, series: str | None = None) -> SignalList:
    """Return signals, those of the worst series first, after judging what waits.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    all_states : bool
        Closed ones too.
    series : str, optional
        Only of this series, ``stage/characteristic/family``.
    """
    waits = brought_up(workshop)
    told = waits.sentence(workshop.plan.workshop.time_zone) if waits else ""
    every = _lives(workshop, all_states=all_states, series=series)
    return SignalList(tuple(every), present_budget(workshop).sentence(), told)


def _lives(workshop: Workshop, *, all_states: bool = False, series: str | None = None) -> list[SignalLife]:
    """Return signals as they are kept, those of the worst series first."""
    verdicts = {str(v.key): v for v in verdicts_of_day(workshop)}
    rows = signals_of_day(workshop, verdicts.values(), series=series)
    found = [_life(workshop.plan, row) for row in rows if all_states or row.state in OPEN_STATES]
    kept = [signal for signal in found if signal.present or all_states or signal.events]
    kept.sort(key=lambda s: (-_weight(verdicts.get(s.series), s), s.series, s.found.raised))
    return kept


def find_signal(workshop: Workshop, signal_id: str) -> SignalLife:
    """Return one signal by its id or the beginning of it.

    Raises
    ------
    JobError
        There is none, or the beginning fits several.
    """
    signal = _find(list_signals(workshop, all_states=True).signals, signal_id)
    return replace(signal, told=_told_of(workshop, signal))


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
        # another person may be closing it at this moment: looked up, checked and written in one transaction
        with workshop.store.writing():
            may(saying.who, Verb.SAY, workshop.plan)
            signal = _newest(workshop, signal_id)
            _refuse(workshop.plan, saying, signal)
            already = said_already(signal.events, saying)
            if not already:
                workshop.store.say(signal.id, saying, when=workshop.now)
    with ending(STORED_NOT_JUDGED):
        catch_up(workshop)
        return replace(_newest(workshop, signal.id), already=already)


def _refuse(plan: Plan, saying: Saying, signal: SignalLife) -> None:
    """Refuse what cannot be said of a signal as it stands."""
    faults = faults_of_signal_saying(saying, people=codes_of(plan), causes=plan.causes, state=signal.state)
    if Fault.NO_CAUSE in faults:
        raise JobError(
            f"Close a signal with its cause, or as false. {saying.cause!r} is no cause of the plan; it has: "
            f"{', '.join(plan.causes) or 'none yet'}."
        )
    if Fault.NO_REMARK in faults:
        raise UsageError(f"The remark is empty. Say what to add: qc signals comment {signal.id} TEXT")
    if Fault.NOT_CLOSED in faults:
        raise JobError(
            f"Signal {signal.id} is {STATE_WORDS[signal.state]}; only a closed one can be reopened."
        )
    if Fault.CLOSED_ALREADY in faults:
        raise JobError(
            f"Signal {signal.id} is {STATE_WORDS[signal.state]} already. Reopen it first: qc signals reopen"
        )


def codes_of(plan: Plan) -> list[str]:
    """Return the codes of the people of a plan."""
    return [person.code for person in plan.people]


_TOLD = (
    *(
        "kind",
        "side",
        "raised_serial",
        "raised_day",
        "start_serial",
        "start_day",
        "size",
        "size_low",
        "size_high",
    ),
    *("unit", "rate", "pieces", "suspects", "unchanged", "sentence", "because", "next_step"),
)


def _find(every: Sequence[SignalLife], signal_id: str) -> SignalLife:
    fits = [s for s in every if any(own.startswith(signal_id) for own in (s.id, *s.before)) and signal_id]
    if len(fits) == 1:
        return fits[0]
    if not fits:
        raise JobError(f"There is no signal {signal_id!r}. See the list: qc signals")
    raise JobError(
        f"{signal_id!r} begins {len(fits)} signals. Type more of the id: {', '.join(s.id for s in fits)}"
    )


def _told_of(workshop: Workshop, signal: SignalLife) -> tuple[tuple[date, str, str], ...]:
    """Return what was said of a signal by the day asked about, each time it was said otherwise."""
    own = {signal.id, *signal.before}
    said: list[tuple[date, str, str]] = []
    for day, found in workshop.store.told_signals(signal.series):
        for one in found:
            words = one["sentence"], one["because"]
            mine = day <= workshop.today and (
                id_of_signal(signal.series, one["kind"], one["raised_serial"]) in own
            )
            if mine and (not said or said[-1][1:] != words):
                said.append((day, *words))
    return tuple(said)


def _newest(workshop: Workshop, signal_id: str) -> SignalLife:
    """Return a signal as it stands by all that is known, whatever day is asked about."""
    return _find(_lives(at_latest(workshop), all_states=True), signal_id)


def _life(plan: Plan, row: SignalOfDay) -> SignalLife:
    """Put a signal beside its plan; a figure that the plan dropped goes by its key."""
    key = SeriesKey.parse(row.series)
    stage = plan.stage(key.stage)
    figure = plan.characteristic(key.stage, key.characteristic)
    family = "" if key.family == "all" else f", {key.family}"
    title = f"{stage.name}: {figure.name}{family}" if stage and figure else row.series
    return SignalLife(
        id=row.id,
        series=row.series,
        title=title,
        state=row.state,
        found=row.found,
        events=row.said,
        steps=reaction_steps(figure.reaction if figure else ()),
        cautions=stage.cautions if stage else (),
        present=row.shown,
        before=row.before,
    )


def _weight(verdict: SeriesVerdict | None, signal: SignalLife) -> float:
    return 0.0 if verdict is None else verdict.worst + (signal.found.ended is None)


def _as_told(row: tuple[date, str, str]) -> JsonObject:
    day, sentence, because = row
    return {"day": day.isoformat(), "sentence": sentence, "because": because}


def _plain(event: Said) -> JsonObject:
    said = {"cause": event.cause, "action": event.action, "text": event.text}
    return {"what": event.what.value, **said, "who": event.who, "when": event.when.isoformat()}

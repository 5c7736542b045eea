"""One signal as it stands on a day: what was found, what was said, who has it, what is left to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from qc.jobs.judging import Joined, SignalOfDay, name_of, told_at_closing
from qc.jobs.signals.as_plain import TOLD, event_plain, since_plain, tick_plain, told_plain
from qc.jobs.signals.beside import beside_words, joined_plain
from qc.jobs.signals.pieces import MadeUnder, under_lines
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import SignalWords, signal_text, signals_text
from qc.sayings import (
    CLOSED_STATES,
    CLOSINGS,
    OPEN_STATES,
    OUTCOME_WORDS,
    Said,
    SignalState,
    What,
    last_closing,
    outcome_of,
    state_after,
    steps_as_ticked,
    ticked_steps,
    told_here,
)
from qc.states import OVER, SIGNAL_WORDS
from qc.stats import Tabled
from qc.watch import (
    SeriesKey,
    SeriesVerdict,
    SignalResult,
    is_good_news,
    mend_words,
    steps_for,
    without_interval,
)
from qc.words import day_words

SAID_ALREADY = "That stands already, word for word, so it was not recorded a second time."

ANSWERED_WITHIN = timedelta(days=7)
"""From the day on which a finding is first told to the one by which it is to be closed (house rule)."""


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
        What the watch finds by all that is known now.
    events : tuple of Said
        What was said, oldest first; that it opened anew by the pieces stands among it.
    steps : tuple of str
        Reaction steps, the three that are always the same first; newest piece and gauges named.
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
    age_days : int
        Since the finding was first told.
    asked_days : int
        Since an answer is asked: from when it was first told, or opened again after an answer.
    due : date or None
        By when it is to be closed; None of one that is, or that is over by itself.
    closed_as : SignalResult or None
        Of a closed one: what had been found when it was closed.
    mend : str
        How far a mend is borne out by the pieces made since, in words; empty where nothing was mended.
    not_kept : date or None
        Of one closed because the new level stays: since when its limits are not kept; it stays listed.
    made_under : tuple of MadeUnder
        Pieces made under the cause; of one asked for by itself.
    numbers : tuple of int
        Its own and those of `before`; it goes by the lowest and answers to all.
    done : str
        What was just ticked or taken back, in words; said first.
    joined : tuple of Joined
        Open signals that stand in it now, as they were told last; closing it answers them.
    waits : bool
        It is open, the readings show it no more, and nothing else tells of its pieces.
    back_of : str
        Name of the signal that it proved to be the end of: nobody is asked for an answer; empty else.
    to_tick : tuple of str
        Of one closed as mended: pieces in the house that are still to measure again or to tick off; of one
        asked for by itself.
    not_judged : str
        Since when something waits that could not be judged now, in words; of one asked for by itself.
    to_decide : tuple of str
        Likewise, pieces that have left and about which nobody has decided.
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
    age_days: int = 0
    asked_days: int = 0
    due: date | None = None
    closed_as: SignalResult | None = None
    mend: str = ""
    not_kept: date | None = None
    made_under: tuple[MadeUnder, ...] = ()
    numbers: tuple[int, ...] = ()
    done: str = ""
    joined: tuple[Joined, ...] = ()
    waits: bool = False
    back_of: str = ""
    to_tick: tuple[str, ...] = ()
    not_judged: str = ""
    to_decide: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """What people call it by: its number, or its id as long as it has none."""
        return name_of(self.id, self.numbers)

    @property
    def over(self) -> bool:
        """Whether the series came back to the old state since."""
        return self.found.ended is not None

    @property
    def overdue(self) -> bool:
        """Whether the day by which it was to be closed is past."""
        return self.due is not None and self.asked_days > ANSWERED_WITHIN.days

    @property
    def standing(self) -> str:
        """Say in a word or two how it stands; one that nobody answered and that came back is over."""
        if self.not_kept is not None:
            return f"limits not kept since {day_words(self.not_kept)}"
        if self.state == "closed" and self.outcome is not None:
            return f"closed, {OUTCOME_WORDS[self.outcome]}"
        over = self.over or bool(self.back_of)
        return OVER if self.state == "open" and over else SIGNAL_WORDS[self.state]

    @property
    def beside(self) -> tuple[str, ...]:
        """What is to be known besides, in sentences."""
        pieces = self.to_tick, self.to_decide
        return beside_words(
            self.joined, *pieces, numbers=self.numbers, waits=self.waits, back_of=self.back_of
        )

    @property
    def closing(self) -> Said | None:
        """The words that closed it, None while it is open."""
        return last_closing(self.events) if self.state in CLOSED_STATES else None

    @property
    def outcome(self) -> str | None:
        """What became of the cause: mended, stays or false; None while it is open."""
        return outcome_of(self.closing) if self.closing else None

    @property
    def owner(self) -> str | None:
        """Code of the person who took it in hand last, None where nobody has."""
        return owner_of(self.events)

    @property
    def had(self) -> str:
        """Of one that was opened anew and not taken since: code of whoever had it before; else empty."""
        return had_before(self.events) if self.owner is None else ""

    @property
    def ticked(self) -> dict[int, Said]:
        """The steps that are done, from 0, each with who said so and when."""
        return ticked_steps(self.events, self.steps)

    @property
    def sentence(self) -> str:
        """What it says: of a closed one the words it was closed by."""
        return (self.closed_as or self.found).sentence

    @property
    def because(self) -> str:
        """What it coincides with: of a closed one by the words it was closed by."""
        return (self.closed_as or self.found).because

    @property
    def anew(self) -> SignalResult | None:
        """What is found now of a closed one, where that is said otherwise."""
        was, now = self.closed_as, self.found
        same = was is None or (without_interval(was.sentence), was.because) == (
            without_interval(now.sentence),
            now.because,
        )
        return None if same else now

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        found = self.found.to_dict()
        now = {"sentence": self.anew.sentence, "because": self.anew.because} if self.anew else None
        first = self.closing.first if self.closing else ""
        return {
            "id": self.id,
            "number": min(self.numbers, default=None),
            "series": self.series,
            "state": self.state,
            "present": self.present,
            "over": self.over,
            "outcome": self.outcome,
            "from": first or None,
            "mend": self.mend or None,
            **({"joined": [joined_plain(one) for one in self.joined]} if self.joined else {}),
            **({"waits": True} if self.waits else {}),
            **({"back_of": self.back_of} if self.back_of else {}),
            **({"to_tick": list(self.to_tick)} if self.to_tick else {}),
            **({"to_decide": list(self.to_decide)} if self.to_decide else {}),
            "limits_not_kept_since": self.not_kept.isoformat() if self.not_kept else None,
            "owner": self.owner,
            **({"had_before": self.had} if self.had else {}),
            "age_days": self.age_days,
            "due": self.due.isoformat() if self.due else None,
            "overdue": self.overdue,
            **{name: found[name] for name in TOLD},
            **since_plain(self.found),
            "sentence": self.sentence,
            "because": self.because,
            "now": now,
            **({"told": [told_plain(row) for row in self.told]} if self.told else {}),
            "events": [event_plain(event) for event in self.events],
            "steps": list(self.steps),
            "ticked": [tick_plain(self.steps[place], said) for place, said in sorted(self.ticked.items())],
            **({"made_under": [piece.to_dict() for piece in self.made_under]} if self.made_under else {}),
            "cautions": list(self.cautions),
            **({"already": True} if self.already else {}),
            **({"not_judged": self.not_judged} if self.not_judged else {}),
        }

    def to_text(self) -> str:
        """Say everything of the signal."""
        words = SignalWords(
            head=(self.name, self.title, self.standing),
            sentence=self.sentence,
            because=self.because,
            rate=self.found.rate,
            steps=[(step, self.ticked.get(place)) for place, step in enumerate(self.steps)],
            cautions=self.cautions,
            events=self.events,
            told=self.told,
            owner=self.owner or "",
            had=self.had,
            age_days=self.age_days,
            due=self.due,
            overdue=self.overdue,
            mend=self.mend,
            beside=self.beside,
            anew=(self.anew.sentence, self.anew.because) if self.anew else None,
            made_under=under_lines(self.made_under),
        )
        told = signal_text(words)
        said = SAID_ALREADY if self.already else self.done or self.not_judged
        return f"{said}\n{told}" if said else told


@dataclass(frozen=True, slots=True)
class SignalList(Tabled):
    """Signals, worst first."""

    ROWS = "signals"

    signals: tuple[SignalLife, ...]
    budget: str = ""  # how often the whole board cries wolf, in words
    not_judged: str = ""  # since when something waits that could not be judged now, in words
    waits_since: datetime | None = None  # [UTC] the same for another program

    def to_dict(self) -> JsonObject:
        """Return plain values; with what could not be judged now, since when it waits."""
        since = {"not_judged_since": self.waits_since.isoformat()} if self.waits_since else {}
        return {"budget": self.budget, **since, "signals": [signal.to_dict() for signal in self.signals]}

    def to_text(self) -> str:
        """List them in one line each; one alone is told whole."""
        rows = [(s.name, s.standing, s.sentence) for s in self.signals]
        told = signals_text(rows, self.budget, self.signals[0].to_text() if len(rows) == 1 else "")
        return f"{self.not_judged}\n{told}" if self.not_judged else told


def owner_of(said: Sequence[Said]) -> str | None:
    """Return the code of who has a signal in hand after all that was said, None where nobody has."""
    if state_after(said) not in OPEN_STATES:
        return None
    since = max((n for n, one in enumerate(said) if one.what is What.REOPENED), default=-1)
    taken = [one.who for one in said[since + 1 :] if one.what is What.IN_HAND]
    return taken[-1] if taken else None


def had_before(said: Sequence[Said]) -> str:
    """Return who had a signal in hand, else who closed it, before it was opened anew; empty where nobody."""
    anew = max((n for n, one in enumerate(said) if one.what is What.REOPENED), default=0)
    if state_after(said) not in OPEN_STATES:
        return ""
    had = [one for one in said[:anew] if one.what is What.IN_HAND or one.what in CLOSINGS]
    return max(had, key=lambda one: (one.what is What.IN_HAND, one.when)).who if had else ""


def asked_since(row: SignalOfDay, zone: str) -> date:
    """Return since when an answer to a signal is asked: it was first told, or opened again after an answer.

    A mend that did not hold asks anew: the days until it failed are not counted against whoever answers.
    """
    opened = [one.when.date() for one in told_here(row.said, zone) if one.what is What.REOPENED]
    return max([row.known or row.found.raised_day, *opened])


def life_of(workshop: Workshop, row: SignalOfDay, verdict: SeriesVerdict | None) -> SignalLife:
    """Put a signal beside its plan and its series; a figure that the plan dropped goes by its key.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    row : SignalOfDay
        The signal.
    verdict : SeriesVerdict or None
        What is known of its series; None where the plan has it no more.
    """
    plan, key = workshop.plan, SeriesKey.parse(row.series)
    stage = plan.stage(key.stage)
    figure = plan.characteristic(key.stage, key.characteristic)
    family = "" if key.family == "all" else f", {key.family}"
    title = f"{stage.name}: {figure.name}{family}" if stage and figure else row.series
    known = row.known or row.found.raised_day
    said = told_here(row.said, plan.workshop.time_zone)
    asked = asked_since(row, plan.workshop.time_zone)
    points, kind = verdict.points if verdict else (), figure.kind if figure else "measured"
    closing = last_closing(said) if row.state in CLOSED_STATES else None
    reaction, better = figure.reaction if figure else (), is_good_news(row.found, kind)
    steps = steps_for(points, reaction, row.found.next_step, kind, better=better, found=row.found)
    return SignalLife(
        id=row.id,
        series=row.series,
        title=title,
        state=row.state,
        found=row.found,
        events=said,
        steps=steps_as_ticked(said, steps),
        cautions=stage.cautions if stage else (),
        present=row.shown,
        before=row.before,
        numbers=row.numbers,
        age_days=max((workshop.today - known).days, 0),
        asked_days=max((workshop.today - asked).days, 0),
        due=None if row.state in CLOSED_STATES or row.back_of or _is_over(row) else asked + ANSWERED_WITHIN,
        closed_as=told_at_closing(workshop, row, verdict),
        not_kept=_not_kept(row, verdict),
        mend=mend_words(row.found, points, first=closing.first if closing else "") if row.shown else "",
        joined=row.joined,
        waits=row.waits,
        back_of=row.back_of,
    )


def _is_over(row: SignalOfDay) -> bool:
    """Say whether a series came back while nobody had a signal of it in hand: nothing more is asked of it."""
    return row.state == "open" and row.found.ended is not None


def _not_kept(row: SignalOfDay, verdict: SeriesVerdict | None) -> date | None:
    broken = verdict.not_kept if verdict is not None else None
    same = broken is not None and row.state == "closed" and broken.root == row.found.root
    since = verdict.not_kept_since if verdict is not None and same else None
    return since.day if since is not None else None

"""Every series, worst first: whether it is the same process as before, and whether it keeps its limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from qc.jobs.backup import backup_note
from qc.jobs.in_hand import Holders, cards_of_day, who_holds
from qc.jobs.judging import (
    NotJudged,
    brought_up,
    not_judged_since,
    present_budget,
    signals_of_day,
    verdicts_of_day,
)
from qc.jobs.pieces import hold_list, hold_sentences, moved_gauges, used_by_turns
from qc.jobs.receipts import Accepted, accepted_readings
from qc.jobs.rows import waiting_note
from qc.jobs.signals import SignalLife, waiting_line, waiting_plain, waiting_signals
from qc.jobs.then import Changes, changes_since
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject, as_meant
from qc.report.terminal import status_text
from qc.sayings import OPEN_STATES
from qc.stats import Tabled
from qc.watch import (
    DECIDED,
    LevelApart,
    PersonApart,
    SeriesVerdict,
    SignalResult,
    dependence_note,
    forecast_words,
    not_kept_words,
    people_apart,
    scatter_notes,
)
from qc.words import dated_words


@dataclass(frozen=True, slots=True)
class Status(Tabled):
    """The state of the workshop on one day."""

    ROWS = "series"

    workshop: str
    as_of: date
    series: tuple[SeriesVerdict, ...]
    open_signals: dict[str, int]
    notes: tuple[str, ...] = ()
    budget: str = ""  # how often the whole board cries wolf, in words
    known: dict[str, date] = field(default_factory=dict)  # by series: day its present finding was first told
    not_judged: NotJudged | None = None  # since when something waits that could not be judged now
    holders: Holders = Holders()  # held rows and open reactions, and with whom they are
    missing: tuple[str, ...] = ()  # daily cards that are not in yet
    accepted: Accepted = Accepted()
    known_on: date | None = None  # the day whose knowledge this is, where that was asked for
    changes: Changes | None = None  # what became of each series since an earlier day
    people: tuple[
        PersonApart, ...
    ] = ()  # whose pieces differ from those made beside them, and no signal tells
    to_hold: int = 0  # pieces in the house that are to be held

    by_turns: tuple[LevelApart, ...] = ()  # batches, tools and gauges used by turns whose pieces sit apart
    waiting: tuple[SignalLife, ...] = ()  # open signals, whether or not their series drifts by them

    def to_dict(self) -> JsonObject:
        """Return the contract of ``qc status --json``."""
        waits = self.not_judged
        return {
            "as_of": self.as_of.isoformat(),
            "known": self.known_on.isoformat() if self.known_on else None,
            "compared_with": self.changes.since.isoformat() if self.changes else None,
            "not_judged_since": waits.since.isoformat() if waits else None,
            "waiting": {**self.holders.to_dict(), "cards_missing": list(self.missing)},
            "signals_waiting": [waiting_plain(one) for one in self.waiting],
            "readings": self.accepted.to_dict(),
            "series": [self._series(verdict) for verdict in self.series],
            "people_apart": [one.to_dict() for one in self.people],
            "levels_apart": [one.to_dict() for one in self.by_turns],
        }

    def _marks(self) -> dict[str, str]:
        """Return what became of each series that is not the same, by its key."""
        return {key: own for key, own in self.changes.series.items() if own != "same"} if self.changes else {}

    def _series(self, verdict: SeriesVerdict) -> JsonObject:
        key = str(verdict.key)
        plain = _series(verdict, self.open_signals.get(key, 0), self.known.get(key), self.as_of)
        return {**plain, "since": self.changes.of(key) if self.changes else "same"}

    def to_text(self) -> str:
        """Say it in one line a series, worst first."""
        budget = (self.budget,) if self.series else ()
        return status_text(
            self.workshop,
            self.as_of,
            self.series,
            (*self.notes, *budget),
            known=self.known_on,
            changes=self._marks(),
            since=self.changes.since if self.changes else None,
            waiting=[waiting_line(one) for one in self.waiting],
        )


@as_meant
def status(workshop: Workshop, *, since: date | None = None, judge: bool = True) -> Status:
    """Return the kept verdicts, worst first, after judging what waits.

    Parameters
    ----------
    workshop : Workshop
        An open workshop; its verdicts were made at the last upload, those of a past day are made anew.
    since : date, optional
        What is new is marked by what was known at the end of this day; else of the day before.
    judge : bool
        Judge what waits first, and keep what was found; False for who only looks on: nothing is written.
    """
    not_judged = brought_up(workshop) if judge else _waits(workshop)
    verdicts = sorted(verdicts_of_day(workshop), key=lambda v: -v.worst)
    counts: dict[str, int] = {}
    false: list[str] = []
    known: dict[str, date] = {}
    told = {str(v.key): v.unanswered or v.telling for v in verdicts}
    titles = {str(v.key): v.title for v in verdicts}
    signals = signals_of_day(workshop, verdicts)
    for signal in signals:
        own = told.get(signal.series)
        same = own is not None and own.raised_serial == signal.found.raised_serial
        if own is not None and same and own.kind == signal.found.kind and signal.known is not None:
            known[signal.series] = signal.known
        if signal.state in OPEN_STATES and signal.listed:
            counts[signal.series] = counts.get(signal.series, 0) + 1
        if signal.state == "closed-false" and signal.shown and _lasts(signal.found):
            false.append(_closed_false(titles[signal.series], signal.found))
    then = workshop.then
    waits = (not_judged.sentence(workshop.plan.workshop.time_zone),) if not_judged else ()
    due = None if then else backup_note(workshop)
    broken = [not_kept_words(verdict) for verdict in verdicts if verdict.not_kept is not None]
    said = (*broken, *false, *_decided(verdicts), *_dependence(workshop, verdicts), *_scatter(verdicts))
    accepted = accepted_readings(workshop)
    counted = accepted.sentence()
    moved = moved_gauges(workshop)
    turns = used_by_turns(workshop, verdicts)
    to_hold = hold_list(workshop, judge=False, verdicts=verdicts, moved=moved, apart=turns, keep=judge)
    beside = [one for one in (counted, waiting_note(workshop), due) if one]
    gauges = [one.note for one in moved]
    people = people_apart(verdicts)
    differ = [*(one.sentence for one in turns), *(one.sentence for one in people)]
    notes = (
        *(then.notes if then else ()),
        *waits,
        *hold_sentences(to_hold),
        *gauges,
        *said,
        *differ,
        *beside,
    )
    shop, budget = workshop.plan.workshop.name, present_budget(workshop).sentence()
    return Status(
        shop,
        workshop.today,
        tuple(verdicts),
        counts,
        notes,
        budget,
        known,
        not_judged,
        who_holds(workshop, signals),
        cards_of_day(workshop).missing,
        accepted,
        then.day if then else None,
        changes_since(workshop, verdicts, since),
        people,
        len({row.serial for row in to_hold.waiting}),
        turns,
        waiting_signals(workshop, signals, verdicts),
    )


def _waits(workshop: Workshop) -> NotJudged | None:
    """Return since when something waits to be judged, for who leaves it so."""
    since = not_judged_since(workshop)
    return None if since is None else NotJudged(since)


def _lasts(found: SignalResult) -> bool:
    return found.ended is None and found.kind != "single"


def _closed_false(title: str, found: SignalResult) -> str:
    """Say what the figures rest on where pieces still differ though somebody called that false."""
    since = f"{found.since_serial} ({dated_words(found.since_day)})"
    return (
        f"{title}: the change since {since} was closed as false. "
        "It holds no piece and is no drift any more; as long as the pieces since differ from those before, "
        "what is usual and the Ppk rest on the pieces since."
    )


def _decided(verdicts: Sequence[SeriesVerdict]) -> list[str]:
    """Return what a lead froze or left out; it explains a behaviour that the points alone do not."""
    return [
        f"{verdict.title}: {note}"
        for verdict in verdicts
        if verdict.baseline_first is not None or any(p.left_out for p in verdict.points)
        for note in verdict.notes
        if note.startswith(DECIDED)
    ]


def _dependence(workshop: Workshop, verdicts: Sequence[SeriesVerdict]) -> list[str]:
    by_stage = [[v for v in verdicts if v.key.stage == stage.id] for stage in workshop.plan.stages]
    return [said for own in by_stage if own and (said := dependence_note(own))]


def _scatter(verdicts: Sequence[SeriesVerdict]) -> list[str]:
    """Say which series tell no single piece, or hang together; the board says it of the others too."""
    told: dict[str, list[str]] = {}
    for verdict in verdicts:
        for note in scatter_notes(verdict.scatter) if verdict.scatter and verdict.points else ():
            told.setdefault(note, []).append(verdict.title)
    return [
        f"{'; '.join(titles)}: {note if len(titles) == 1 else note.replace('this figure', 'these figures')}"
        for note, titles in told.items()
    ]


def _series(verdict: SeriesVerdict, open_signals: int, known: date | None, today: date) -> JsonObject:
    """Give the agreed plain form, whose names are fixed; a series without limits is called unproven there."""
    signal = verdict.telling
    has_interval = verdict.ppk_low is not None and verdict.ppk_high is not None
    return {
        "stage": verdict.key.stage,
        "characteristic": verdict.key.characteristic,
        "family": verdict.key.family,
        "pieces": verdict.pieces,
        "behaviour": verdict.behaviour,
        "since_serial": signal.since_serial if signal else None,
        "since_date": signal.since_day.isoformat() if signal else None,
        "since_known": known.isoformat() if known else None,
        "limits_not_kept_since": verdict.not_kept_since.day.isoformat() if verdict.not_kept_since else None,
        "settled_since": verdict.settled_since.isoformat() if verdict.settled_since else None,
        "size": signal.size if signal else None,
        "unit": verdict.unit,
        "suspects": [
            {"kind": s.kind, "name": s.name, "before": s.before, "sentence": s.sentence}
            for s in (signal.suspects if signal else ())
        ],
        "capable": verdict.capable or "unproven",
        "ppk": verdict.ppk,
        "ppk_interval": [verdict.ppk_low, verdict.ppk_high] if has_interval else None,
        "open_signals": open_signals,
        "reason": verdict.ppk_reason or None,
        "forecast": forecast_words(verdict.forecast, today) if verdict.forecast else None,
        "shape": verdict.scatter.shape if verdict.scatter else None,
        "counts_as": verdict.scatter.counts_as if verdict.scatter else None,
    }

"""Pieces to hold: one list of every serial, figure and reason, what was released, and where each piece is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from qc.jobs.judging import brought_up, verdicts_of_day
from qc.jobs.pieces.answered import departures
from qc.jobs.pieces.by_turns import by_turns, used_by_turns
from qc.jobs.pieces.gauges_moved import MovedGauge
from qc.jobs.pieces.left import once_left, with_days
from qc.jobs.pieces.places import whereabouts
from qc.jobs.pieces.reasons import by_gauges, by_limits
from qc.jobs.pieces.rows import HAND, WHY_ORDER, HoldRow, PieceDecided, day_of, why_words
from qc.jobs.pieces.suspect_batches import by_batches
from qc.jobs.pieces.under_signals import by_answered, by_mends, by_signals, signals_that_hold
from qc.jobs.pieces.waiting_rows import by_held_rows, undecided
from qc.jobs.then import said_of_then
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import HoldLine, hold_note, hold_text
from qc.stats import Tabled
from qc.store import PieceDecision, PieceWord
from qc.watch import LevelApart, SeriesVerdict, nearest_limit
from qc.words import dated_words


@dataclass(frozen=True, slots=True)
class HoldList(Tabled):
    """The pieces to hold.

    Attributes
    ----------
    rows : tuple of HoldRow
        A row for each serial, figure and reason: those in the house first, of these the certain ones.
    near : tuple of HoldRow
        Inside their limits by less than the spread of their gauge can tell; told, not held.
    as_of : date
        The day it is asked for.
    not_judged : str
        Since when something waits that could not be judged now, in words.
    every : bool
        Whether the text lists line by line what has left and what was released.
    known : date or None
        The past day whose knowledge this is, where that was asked for.
    waits_since : datetime or None
        Since when something waits that could not be judged now. [UTC]
    """

    ROWS = "pieces"

    rows: tuple[HoldRow, ...]
    near: tuple[HoldRow, ...]
    as_of: date
    not_judged: str = ""
    every: bool = False
    known: date | None = None
    waits_since: datetime | None = None

    @property
    def waiting(self) -> tuple[HoldRow, ...]:
        """Rows in the house that nobody released."""
        return tuple(row for row in self.rows if row.waits and row.in_house)

    @property
    def shipped(self) -> tuple[HoldRow, ...]:
        """Rows of pieces that have left and that nobody released."""
        return tuple(row for row in self.rows if row.waits and not row.in_house)

    @property
    def left_held(self) -> tuple[HoldRow, ...]:
        """Rows of pieces that left while they were to be held and that nobody released; the newest first."""
        return tuple(
            sorted(
                (row for row in self.shipped if row.left_held),
                key=lambda row: row.whereabouts.shipped or self.as_of,
                reverse=True,
            )
        )

    @property
    def released(self) -> tuple[HoldRow, ...]:
        """Rows that somebody released."""
        return tuple(row for row in self.rows if not row.waits)

    def to_dict(self) -> JsonObject:
        """Return the contract of ``qc hold --json``, and beside it what is inside without proof.

        With what could not be judged now, since when it waits.
        """
        since = {"not_judged_since": self.waits_since.isoformat()} if self.waits_since else {}
        return {
            **since,
            "as_of": self.as_of.isoformat(),
            "known": self.known.isoformat() if self.known else None,
            "pieces": [row.to_dict() for row in self.rows],
            "not_proven": [row.to_dict() for row in self.near],
        }

    def to_text(self) -> str:
        """Say what is in the house line by line, what has left and what was released in one line each."""
        here = (row for row in self.near if row.in_house)
        lists = map(lines_of, (self.waiting, self.shipped, self.released, here))
        told = hold_text(self.as_of, *lists, left_held=lines_of(self.left_held), every=self.every)
        return f"{self.not_judged}\n{told}" if self.not_judged else told


def hold_list(
    workshop: Workshop,
    *,
    serials: Collection[str] | None = None,
    judge: bool = True,
    every: bool = False,
    verdicts: Sequence[SeriesVerdict] | None = None,
    moved: Sequence[MovedGauge] | None = None,
    keep: bool = True,
    apart: Sequence[LevelApart] | None = None,
) -> HoldList:
    """Return the pieces to hold, after judging what waits.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    serials : collection of str, optional
        Only these pieces.
    judge : bool
        Judge what waits first; False for who has just had that done.
    every : bool
        List in the text what has left and what was released, too.
    verdicts : sequence of SeriesVerdict, optional
        Those of the workshop's day, for who has them at hand.
    moved : sequence of MovedGauge, optional
        Gauges that read otherwise than before, for who has had their checks judged.
    keep : bool
        Keep which pieces are outside for the next who asks; False for who may not write.
    apart : sequence of LevelApart, optional
        Batches used by turns that sit apart, for who has had them looked for.

    Returns
    -------
    HoldList
        Of a past day as it stood then, by what was measured and decided by its end.
    """
    waits = brought_up(workshop) if judge else None
    keep = keep and workshop.then is None
    outside, near = by_limits(workshop, keep=keep)
    every_verdict = verdicts_of_day(workshop) if verdicts is None else verdicts
    signals, mended, answered = signals_that_hold(workshop, every_verdict)
    holding = bool(signals or mended or answered)
    gone = departures(workshop, serials) if holding else {}  # asked once, for all signals
    found = [
        *outside,
        *by_held_rows(undecided(workshop, serials)),
        *by_signals(workshop, signals, serials, gone),
        *by_mends(workshop, mended, serials, gone),
        *by_answered(workshop, [*mended, *answered], serials, gone),
        *by_gauges(workshop, moved, serials),
        *by_batches(workshop, signals, serials, gone, answered=[*mended, *answered]),
        *by_turns(workshop, used_by_turns(workshop, every_verdict) if apart is None else apart, serials),
    ]
    if serials is not None:
        wanted = set(serials)
        found, near = ([row for row in rows if row.serial in wanted] for rows in (found, near))
    decided = _decided(workshop, serials)
    zone = workshop.plan.workshop.time_zone
    found = [*_once(found), *_by_hand(decided, zone)]
    where = whereabouts(workshop, [row.serial for row in (*found, *near)])
    placed = with_days(workshop, [replace(row, whereabouts=where[row.serial]) for row in found])
    rows = [_settled(once_left(row), decided, zone) for row in placed]
    rows.sort(key=_order)
    told = waits.sentence(zone) if waits else said_of_then(workshop)
    beside = tuple(once_left(replace(row, whereabouts=where[row.serial])) for row in near)
    known = workshop.then.day if workshop.then else None
    return HoldList(tuple(rows), beside, workshop.today, told, every, known, waits.since if waits else None)


def _decided(workshop: Workshop, serials: Collection[str] | None) -> list[PieceDecision]:
    zone = workshop.plan.workshop.time_zone
    found = workshop.store.decided_of_pieces(None if serials is None else sorted(serials))
    return [one for one in found if day_of(one.when, zone) <= workshop.today]


def _once(rows: Sequence[HoldRow]) -> list[HoldRow]:
    """Keep one row for each serial, figure and reason; the first, of two signals that of the worse series."""
    kept: dict[tuple[str, str, str, str], HoldRow] = {}
    for row in rows:
        key = row.serial, row.stage, row.characteristic, row.why
        before = kept.get(key)
        if before is None:
            kept[key] = row
            continue
        # a release has to answer both reasons, so that neither goes unseen
        both = replace(before, rests_on=(*before.rests_on, *row.rests_on), since=_earlier(before, row))
        if before.released and row.waits:  # of two signals one had no cause: the other one tells what to do
            both = replace(row, rests_on=both.rests_on, since=both.since)
        if row.why == "limit":  # outside by what was accepted, and by what waits
            because, step = f"{both.because}; {row.because}", f"{row.next_step} {both.next_step}"
            both = replace(both, because=because, next_step=step, once_left=row.once_left or both.once_left)
        kept[key] = both
    return list(kept.values())


def _earlier(one: HoldRow, other: HoldRow) -> date | None:
    """Return since when the earlier of two reasons was known; None where that is still to be asked."""
    days = [row.since for row in (one, other) if row.since is not None]
    if one.why == "limit" and len(days) < 2:
        return None
    return min(days, default=None)


def _by_hand(decided: Sequence[PieceDecision], zone: str) -> list[HoldRow]:
    """Return the pieces that a lead keeps back for themselves, whatever was measured."""
    own = {one.serial: one for one in decided if one.reason == HAND and one.what is PieceWord.KEPT_BACK}
    return [
        HoldRow(
            serial,
            "",
            "",
            "Kept back by hand",
            "",
            None,
            "hand",
            one.text,
            f"Ask {one.who}, who keeps it back.",
            ((one.rests_on,),),
            since=day_of(one.when, zone),
            once_left=f"It has left. Ask {one.who}, who keeps it back.",
        )
        for serial, one in own.items()
    ]


def _settled(row: HoldRow, decided: Sequence[PieceDecision], zone: str) -> HoldRow:
    """Add what was decided last about a row, as far as it covers what the row rests on now."""
    mine = (row.serial, row.stage, row.characteristic, row.why)
    own = [one for one in decided if (one.serial, one.stage, one.characteristic, one.reason) == mine]
    # each thing it rests on has to be answered by itself: a release covers nothing that came up later
    last = [next((one for one in reversed(own) if one.rests_on in names), None) for names in row.rests_on]
    given = [one for one in last if one is not None]
    if not given:
        return row
    newest = PieceDecided.of(max(given, key=lambda one: one.when), zone)
    if any(one.what is PieceWord.KEPT_BACK for one in given):
        kept = [one for one in given if one.what is PieceWord.KEPT_BACK]
        return replace(row, kept_back=PieceDecided.of(kept[-1], zone), released=None, by_answer=False)
    if len(given) < len(last):
        return row
    step = f"Released by {newest.who} on {dated_words(newest.day)}: {newest.why}"
    return replace(row, released=newest, by_answer=False, next_step=step)


def _order(row: HoldRow) -> tuple[bool, bool, int, bool, float, str, str]:
    certain = row.why == "limit"  # what is suspected of many is told together
    worst, alike = (-_excess(row), "") if certain else (0.0, row.because)
    return (
        not row.waits,
        not row.in_house,
        WHY_ORDER.index(row.why),
        row.as_typed,
        worst,
        alike,
        row.serial,
    )


def _excess(row: HoldRow) -> float:
    """Return how far outside its limit a figure is, in parts of the limit: the worst is told first."""
    if row.figure is None:
        return 0.0
    _, limit = nearest_limit(row.figure)
    inside = row.figure.inside is not False
    return 0.0 if limit is None or inside else abs(row.figure.value - limit) / (abs(limit) or 1.0)


def counted(rows: Iterable[HoldRow]) -> int:
    """Return how many pieces some rows are about."""
    return len(Counter(row.serial for row in rows))


def hold_sentences(found: HoldList) -> tuple[str, ...]:
    """Say in short lines how many pieces are to be held, the worst and what left; none for none."""
    return hold_note(lines_of(found.waiting), counted(found.shipped), lines_of(found.left_held))


def lines_of(rows: Iterable[HoldRow]) -> list[HoldLine]:
    """Return rows as a terminal tells them: serial, figure, why, where, what to do."""
    return [(row.serial, row.name, why_words(row), row.whereabouts.words, row.next_step) for row in rows]

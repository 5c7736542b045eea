"""Everything known of one piece on one day, the judgement first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import polars as pl

from qc.jobs.errors import JobError
from qc.jobs.judging import NotJudged, brought_up, signals_of_day, told_at_closing, verdicts_of_day
from qc.jobs.pieces import HoldRow, Undecided, hold_list, undecided, whereabouts
from qc.jobs.signals import life_of
from qc.jobs.whole_piece.cards import CardOfPiece, cards_of, made_of
from qc.jobs.whole_piece.figures import FigureOfPiece, figures_of_piece
from qc.jobs.whole_piece.in_signals import SignalOfPiece, signals_of_piece
from qc.jobs.whole_piece.late import came_later
from qc.jobs.whole_piece.leaving import Leaving, leaving_of
from qc.jobs.whole_piece.left_without import left_without
from qc.jobs.whole_piece.life import (
    PieceEvent,
    Remedy,
    Return,
    events_of,
    happened_to,
    remedies_of,
    returns_of,
)
from qc.jobs.whole_piece.parts import PartOfPiece, StayOfPart, parts_of, stays_of
from qc.jobs.whole_piece.saying import PartsJudged, figure_line, form_lines, judgement_of, shared_words
from qc.jobs.whole_piece.serials import known_serial, unknown_piece
from qc.jobs.whole_piece.sharing import Genealogy, Shared, days_left
from qc.jobs.whole_piece.testers import notes_on_testers
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.plan import Plan
from qc.report.terminal import PieceLines, piece_text
from qc.sayings import CLOSED_STATES, OPEN_STATES
from qc.stats import Tabled
from qc.watch import SeriesVerdict, part_uses
from qc.words import dated_words


@dataclass(frozen=True, slots=True)
class PieceRecord(Tabled):
    """Everything known of one piece.

    Attributes
    ----------
    serial, model, model_name : str
        The piece; id and name of its model, empty for a part that has none.
    where : str
        Where it is now, in words.
    shipped : date or None
        The day it left, None while it is in the house.
    as_of : date
        The day it is asked for.
    known : date or None
        The day whose knowledge it is, None for all that is known now.
    hold : tuple of HoldRow
        Why it is to be held, what was released among it.
    figures : tuple of FigureOfPiece
        In route order.
    cards : tuple of CardOfPiece
        Who measured it, when, with what, from which batch and with which tool; oldest first.
    parts : tuple of PartOfPiece
        What is in it; those that went into another piece after these.
    stays : tuple of StayOfPart
        Of a part: what it was, and is, in.
    events : tuple of PieceEvent
        Its life.
    remedies : tuple of Remedy
        Work done again, and what it changed.
    returns : tuple of Return
        Its returns beside the others.
    signals : tuple of SignalOfPiece
        Signals it lies in, open ones first.
    shared : tuple of Shared
        Suspect batches and tools, and what else they went into.
    leaving : Leaving or None
        When it can leave.
    judgement : tuple of str
        What is to be said of it first, a sentence each.
    notes : tuple of str
        What must be said of the answer itself.
    of_parts : tuple of (str, tuple of FigureOfPiece)
        The figures of each part that is in it, by its serial.
    """

    ROWS = "figures"

    serial: str
    model: str
    model_name: str
    where: str
    shipped: date | None
    as_of: date
    known: date | None
    hold: tuple[HoldRow, ...]
    figures: tuple[FigureOfPiece, ...]
    cards: tuple[CardOfPiece, ...]
    parts: tuple[PartOfPiece, ...]
    stays: tuple[StayOfPart, ...]
    events: tuple[PieceEvent, ...]
    remedies: tuple[Remedy, ...]
    returns: tuple[Return, ...]
    signals: tuple[SignalOfPiece, ...]
    shared: tuple[Shared, ...]
    leaving: Leaving | None
    judgement: tuple[str, ...]
    notes: tuple[str, ...] = ()
    of_parts: tuple[tuple[str, tuple[FigureOfPiece, ...]], ...] = ()

    @property
    def waits(self) -> tuple[HoldRow, ...]:
        """Reasons to hold it that nobody released."""
        return tuple(row for row in self.hold if row.waits)

    @property
    def life(self) -> tuple[tuple[date, str], ...]:
        """Its cards and its events, oldest first: the day, and what was done."""
        told = [*((one.day, one.said) for one in self.cards), *((one.day, one.said) for one in self.events)]
        return tuple(sorted(told, key=lambda one: one[0]))

    def to_dict(self) -> JsonObject:
        """Return the contract of ``qc piece --json``, and beside it what the page shows."""
        return {
            "serial": self.serial,
            "model": self.model,
            "where": self.where,
            "shipped": self.shipped.isoformat() if self.shipped else None,
            "known": self.known.isoformat() if self.known else None,
            "as_of": self.as_of.isoformat(),
            "judgement": list(self.judgement),
            "hold": [row.to_dict() for row in self.hold],
            "figures": [one.to_dict() for one in self.figures],
            "cards": [one.to_dict() for one in self.cards],
            "parts": [one.to_dict() for one in self.parts if one.there],
            "moved": [one.to_dict() for one in self.parts if not one.there],
            "part_of": [one.to_dict() for one in self.stays],
            "events": [one.to_dict() for one in self.events],
            "signals": [one.to_dict() for one in self.signals],
            "remedies": [one.to_dict() for one in self.remedies],
            "returns": [one.to_dict() for one in self.returns],
            "shared": [one.to_dict() for one in self.shared],
            "leaving": self.leaving.to_dict() if self.leaving else None,
            "notes": list(self.notes),
            "of_parts": [
                {"part": part, "figures": [one.to_dict() for one in figures]}
                for part, figures in self.of_parts
            ],
        }

    def to_text(self) -> str:
        """Say it, the judgement first."""
        return piece_text(lines_of_piece(self))


def piece_record(
    workshop: Workshop,
    serial: str,
    *,
    due: date | None = None,
    judge: bool = True,
    verdicts: Sequence[SeriesVerdict] | None = None,
    hold: Sequence[HoldRow] | None = None,
) -> PieceRecord:
    """Return everything known of a piece, an instrument or a part.

    Parameters
    ----------
    workshop : Workshop
        An open workshop. Of a past day the piece is told by what was measured by its end.
    serial : str
        The piece.
    due : date, optional
        A day it was promised for: whether that can hold is told.
    judge : bool
        Judge what waits first; False where that was just done, or nothing may be written.
    verdicts : sequence of SeriesVerdict, optional
        Those of the workshop's day, for who has them at hand.
    hold : sequence of HoldRow, optional
        The list of pieces to hold, for who has it at hand.

    Raises
    ------
    JobError
        Nothing is known of such a piece; the nearest known serials are offered.
    """
    store, today = workshop.store, workshop.today
    waits = brought_up(workshop) if judge else None
    serial = known_serial(workshop, serial)
    uses = part_uses(store.events("part", until=today))
    events, cards = store.events(serials=[serial], until=today), store.around([serial], until=today)
    if cards.is_empty() and events.is_empty() and not any(use.part == serial for use in uses):
        raise JobError(unknown_piece(workshop, serial))
    own, tree = verdicts_of_day(workshop) if verdicts is None else verdicts, Genealogy(workshop, uses)
    model = next(iter([*cards["model"].drop_nulls(), *events["model"].drop_nulls()]), "")
    place = whereabouts(workshop, [serial])[serial]
    part = bool(tree.stays_of(serial)) or _is_part(workshop.plan, serial)
    came_back = bool(events.filter(pl.col("kind") == "returned").height)
    leaving = None if place.shipped or part or came_back else leaving_of(workshop, serial, model, due)
    notes = _notes(workshop, serial, place.shipped, waits)
    # what was asked is answered last, where the board looks for it
    notes += _why_no_day(due, place.shipped, part=part, came_back=came_back) if leaving is None else []
    hold, in_it = _held(workshop, serial, tree, own, hold)
    signals = signals_of_piece(workshop, serial, tree, own, [*hold, *in_it.hold])
    waiting = undecided(workshop, [serial])
    figures = _not_judged(figures_of_piece(workshop, serial, model, own), waiting)
    parts, returns = parts_of(workshop, serial, tree), returns_of(workshop, serial, tree, _suspected(signals))
    without = _without(workshop, serial, model, None if part else place.shipped, tree)
    return PieceRecord(
        serial=serial,
        model=model,
        model_name=_name_of(workshop.plan, model),
        where=place.words,
        shipped=place.shipped,
        as_of=today,
        known=workshop.then.day if workshop.then else None,
        hold=hold,
        figures=figures,
        cards=cards_of(workshop.plan, cards),
        parts=parts,
        stays=stays_of(serial, tree),
        events=events_of(events, happened_to(workshop, serial, parts)),
        remedies=remedies_of(workshop, serial, events),
        returns=returns,
        signals=signals,
        shared=_shared(workshop, serial, tree, own, came_back=bool(returns)),
        leaving=leaving,
        judgement=judgement_of(
            *(hold, place.shipped, figures, signals, returns, leaving, waiting, without),
            parts=in_it,
        ),
        notes=tuple(notes),
        of_parts=in_it.figures,
    )


def _held(
    workshop: Workshop,
    serial: str,
    tree: Genealogy,
    verdicts: Sequence[SeriesVerdict],
    hold: Sequence[HoldRow] | None,
) -> tuple[tuple[HoldRow, ...], PartsJudged]:
    """Return why a piece is to be held, and what is in it: who has it asks by its own serial alone."""
    inside = tree.inside(serial)
    if hold is None:
        hold = hold_list(workshop, serials=[serial, *inside], judge=False, verdicts=verdicts, keep=False).rows
    figures = []
    for part in inside:
        own = figures_of_piece(workshop, part, "", verdicts)
        if own:
            figures.append((part, _not_judged(own, undecided(workshop, [part]))))
    held = tuple(row for row in hold if row.serial in inside)
    return tuple(row for row in hold if row.serial == serial), PartsJudged(held, tuple(figures))


def _notes(workshop: Workshop, serial: str, shipped: date | None, waits: NotJudged | None) -> list[str]:
    """Return what must be said beside the record: of the day asked for, what waits, what came later."""
    notes = [*(workshop.then.notes if workshop.then else ())]
    notes += [waits.sentence(workshop.plan.workshop.time_zone)] if waits else []
    # one that left is told with what came after that day, as `--known shipped` tells it
    notes += came_later(workshop, serial, shipped) if shipped else []
    return [*notes, *notes_on_testers(workshop.store.readings(serials=[serial], until=workshop.today))]


def _without(
    workshop: Workshop, serial: str, model: str, shipped: date | None, tree: Genealogy
) -> tuple[str, ...]:
    said = left_without(workshop, serial, model, shipped, tree) if shipped is not None else ""
    return (said,) if said else ()


def _name_of(plan: Plan, model: str) -> str:
    return next((one.name for one in plan.models if one.id == model), model)


def _not_judged(figures: Sequence[FigureOfPiece], waiting: Sequence[Undecided]) -> tuple[FigureOfPiece, ...]:
    """Take back that a figure is inside where a reading of it still waits as a held row."""
    of: dict[tuple[str, str], list[int]] = {}
    for row in waiting:
        of.setdefault((row.stage, row.characteristic), []).append(row.row)
    told = []
    for one in figures:
        rows = tuple(of.get((one.stage, one.characteristic), ()))
        told.append(replace(one, rows=rows, inside=None if one.inside else one.inside) if rows else one)
    return tuple(told)


def _why_no_day(due: date | None, shipped: date | None, *, part: bool, came_back: bool) -> list[str]:
    if due is None:
        return []
    if shipped is not None:
        why = f"it left on {dated_words(shipped)}"
    elif part:
        why = "it is a part"
    elif came_back:
        why = "it came back, and what a mend takes is not known from what is made"
    else:
        why = "too few of its like left from where it stands"
    return [f"Whether it can leave by {dated_words(due)} is not told: {why}."]


def _is_part(plan: Plan, serial: str) -> bool:
    prefix = plan.workshop.serial_prefix
    return bool(prefix) and not serial.startswith(prefix)


def _suspected(signals: Sequence[SignalOfPiece]) -> dict[tuple[str, str], str]:
    """Return what the signals of a piece coincide with, open or answered: kind and name, and the signal."""
    return {(one.kind, one.name): signal.name for signal in signals for one in signal.found.suspects}


def _shared(
    workshop: Workshop, serial: str, tree: Genealogy, verdicts: Sequence[SeriesVerdict], *, came_back: bool
) -> tuple[Shared, ...]:
    """Return the batches and tools of a piece that an open signal suspects, and what else bears them.

    Of one that came back those of answered signals too: what else its batch went into may come back as well.
    """
    own = tree.own(serial)
    by_key = {str(verdict.key): verdict for verdict in verdicts}
    why: dict[tuple[str, str], str] = {}
    signals = [one for one in signals_of_day(workshop, verdicts) if one.series in by_key]
    open_, closed = [one for one in signals if one.stands and one.state in OPEN_STATES], []
    if came_back:
        closed = [one for one in signals if one.state in CLOSED_STATES]
    for signal in (*open_, *closed):
        verdict = by_key[signal.series]
        told = told_at_closing(workshop, signal, verdict) if came_back else None
        for suspect in (*(told.suspects if told else ()), *signal.suspects):
            if (suspect.kind, suspect.name) in own:
                standing = f" ({life_of(workshop, signal, verdict).standing})" if told else ""
                because = f"suspect of signal {signal.name}{standing}, {verdict.title}"
                why.setdefault((suspect.kind, suspect.name), because)
    found = []
    for (kind, name), because in why.items():
        others = tree.others(serial, kind, name)
        left = days_left(workshop, others)
        found.append(Shared(kind, name, because, tuple((one, left.get(one)) for one in others)))
    return tuple(found)


def lines_of_piece(record: PieceRecord) -> PieceLines:
    """Return a piece in the words of a terminal or a sheet of paper."""
    parts = [(one.part, one.serial, one.made_of, one.gone or one.since) for one in record.parts]
    sections = {
        "Batches and tools": [f"{kind} {name}, {stages}" for kind, name, stages in made_of(record.cards)],
        "Built into": [one.said for one in record.stays],
        "Forms": [line for one in record.figures for line in form_lines(one)],
        "Signals": [
            f"{one.name} ({one.standing}): {one.title}: {one.sentence} {one.became}".rstrip()
            for one in record.signals
        ],
        "Remedies": [
            f"{dated_words(one.day)} {one.said}: {'; '.join(one.effects) or 'nothing was measured since'}"
            for one in record.remedies
        ],
        "Came back": [
            f"{dated_words(one.day)}, {one.cause or 'no cause'}. {one.said}" for one in record.returns
        ],
        "Shared": [shared_words(one) for one in record.shared],
        "Leaving": [record.leaving.said] if record.leaving else [],
        "Its life": [f"{dated_words(day)} {said}" for day, said in record.life],
        "Notes": list(record.notes),
    }
    state = "" if record.known is None else f", as known on {dated_words(record.known)}"
    title = f"{record.serial}, {record.model_name or 'part'}: {record.where}{state}"
    return PieceLines(
        title,
        record.judgement,
        tuple(figure_line(one) for one in record.figures)
        + tuple(figure_line(one, part) for part, figures in record.of_parts for one in figures),
        tuple(one.row for one in record.cards),
        tuple(parts),
        tuple((name, tuple(lines)) for name, lines in sections.items() if lines),
    )

"""A card that was typed at the bench goes the way of every sheet, and comes in once however often sent."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import polars as pl

from qc.errors import QcError
from qc.ingest import DOUBTS
from qc.jobs.bench.asked import BenchCard, asked_of, bench_plan
from qc.jobs.bench.doubts import EVERY
from qc.jobs.bench.spelt import spelt_on_record
from qc.jobs.bench.typed import TypedCard, card_bytes, card_rows, file_name, read_back, read_typed, row_of
from qc.jobs.errors import JobError
from qc.jobs.judging import STORED_AND_JUDGED, STORED_NOT_JUDGED, catch_up, ending
from qc.jobs.pieces import LeftPiece, hold_list, left_before, left_pieces, whereabouts, with_parts
from qc.jobs.roles import Verb, may
from qc.jobs.rows import Decision, piece_words, settle_rows
from qc.jobs.upload import upload
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.plan import Plan
from qc.store import HeldRecord
from qc.words import count_words

UNANSWERED = (
    "The card is stored and judged, what was answered to its doubts is not. Hand it in again: it comes in "
    "once."
)


@dataclass(frozen=True, slots=True)
class WaitingRow:
    """A held row of a card: its number, what it is, why it waits and what to do."""

    row: int
    what: str
    sentence: str
    mend: str


@dataclass(frozen=True, slots=True)
class BenchOutcome:
    """What became of a card that was typed at the bench.

    Attributes
    ----------
    entry, card, title, serial : str
        Its id, the card's, and the piece; empty serial where it is of none.
    accepted : int
        Figures and events of it that are accepted.
    waiting : tuple of WaitingRow
        What waits as held rows.
    left : tuple of LeftPiece
        What left by it although something holds it, or had left when it showed that.
    """

    entry: str
    card: str
    title: str
    serial: str
    accepted: int
    waiting: tuple[WaitingRow, ...]
    left: tuple[LeftPiece, ...] = ()

    @property
    def sentence(self) -> str:
        """Say it."""
        of = f"{self.title} of {self.serial}" if self.serial else self.title
        if not self.accepted and not self.waiting:
            return f"{of}: all of this was on record already; nothing was stored twice."
        kept = f"{of}: {count_words(self.accepted, 'entry', 'entries')} kept"
        if not self.waiting:
            return f"{kept}."
        rows = count_words(len(self.waiting), "row")
        return f"{kept}; {rows} {'waits' if len(self.waiting) == 1 else 'wait'} for an answer."


def card_of(plan: Plan, card_id: str) -> BenchCard:
    """Return a card of the plan as the bench asks for it.

    Raises
    ------
    JobError
        The plan has no such card.
    """
    found = next((one for one in plan.cards if one.id == card_id), None)
    if found is None:
        raise JobError(
            f"The plan has no card {card_id[:40]}. The cards it has stand on the page of the bench."
        )
    return asked_of(found, plan)


def enter_card(workshop: Workshop, sent: object, *, who: str = "") -> JsonObject:
    """Take in what was typed at the bench: as a sheet, by the one way sheets come in.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    sent : object
        What the tablet sent, see `read_typed`. The same id twice is one entry.
    who : str
        Code of the person who hands it in.

    Returns
    -------
    dict
        ``entry`` and ``sentence``.

    Raises
    ------
    JobError
        The card is not of the plan, or cannot be read; nothing was stored then.
    """
    typed = read_typed(sent)
    workshop = replace(workshop, plan=bench_plan(workshop.plan))
    card = card_of(workshop.plan, typed.card)
    if not workshop.store.entered(typed.entry):
        data = card_bytes(card_rows(card, typed))
        receipt = upload(workshop, [(file_name(card, typed), data)], who=who, entered_as=typed.entry)
        if receipt.refused:
            raise JobError(f"{' '.join(receipt.refused)} Nothing was stored.")
    # asked of the store, so that what a cut-off worker left undone is done when the card is sent again
    sure = [row.id for row in _held(workshop, typed.entry) if _is_sure(row, card, typed)]
    if sure and _may_answer(workshop, who):
        settle_rows(workshop, sure, Decision.AS_TYPED, who=who, failing=UNANSWERED)
        with ending(STORED_NOT_JUDGED):
            catch_up(workshop)
    with ending(STORED_AND_JUDGED):
        found = outcome_of(workshop, typed.entry)
    said = [found.sentence, *(one.sentence for one in found.left)] if found else []
    return {"entry": typed.entry, "sentence": " ".join(said)}


def outcome_of(workshop: Workshop, entry: str) -> BenchOutcome | None:
    """Return what became of a card that was typed under an id, None where nothing was.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    entry : str
        The id that the tablet gave it.
    """
    digest = workshop.store.entered(entry)
    if not digest:
        return None
    (record,) = [one for one in workshop.store.sheets() if one.sheet == digest]
    held = _held(workshop, entry)
    title = next((one.title for one in bench_plan(workshop.plan).cards if one.id == record.card), record.card)
    serial = read_back(workshop.store.sheet_bytes(digest)).get("Serial", "")
    accepted = sum(_own(frame, digest) for frame in _frames(workshop, serial))
    waiting = tuple(_waiting(row, workshop.plan) for row in held)
    left = _left_by(workshop, digest, serial)
    return BenchOutcome(entry, record.card, title, serial, accepted, waiting, left)


def _left_by(workshop: Workshop, digest: str, serial: str) -> tuple[LeftPiece, ...]:
    """Return what left by a sheet although something holds it, or had left when that showed it outside."""
    shipped = workshop.store.events("shipped").filter(pl.col("sheet") == digest)
    gone = set(shipped["serial"].drop_nulls())
    asked = with_parts(workshop, gone)
    if serial and whereabouts(workshop, [serial])[serial].shipped is not None:
        asked.add(serial)
    if not asked:
        return ()
    found = hold_list(workshop, serials=asked, judge=False, keep=False)
    return (*left_pieces(found.rows, gone), *left_before(workshop, found.rows, [digest], gone))


def _may_answer(workshop: Workshop, who: str) -> bool:
    """Tell whether doubts can be answered in somebody's name; of a card without one its rows wait."""
    try:
        may(who, Verb.MEND, workshop.plan, workshop.store.people())
    except QcError:
        return False
    return True


def _frames(workshop: Workshop, serial: str) -> Iterable[pl.DataFrame]:
    serials = [serial, *spelt_on_record(workshop, serial)] if serial else None
    if serials is not None:
        yield workshop.store.readings(serials=serials)
    yield workshop.store.events(serials=serials)


def _own(frame: pl.DataFrame, digest: str) -> int:
    return frame.filter(pl.col("sheet") == digest).height


def _held(workshop: Workshop, entry: str) -> list[HeldRecord]:
    digest = workshop.store.entered(entry)
    return [row for row in workshop.store.held() if digest and row.sheet == digest]


def _waiting(row: HeldRecord, plan: Plan) -> WaitingRow:
    first = row.reasons[0]
    told = first.sentence.partition(": ")[2] or first.sentence
    return WaitingRow(row.id, piece_words(row.as_typed(), plan), f"{told[:1].upper()}{told[1:]}", first.mend)


def _is_sure(row: HeldRecord, card: BenchCard, typed: TypedCard) -> bool:
    """Tell whether every doubt of a row was answered with "it is really so"; a fault cannot be."""
    place = row_of(card, row.row or 0, typed), row.column
    own = [f.number for f in card.fields if (f.row, card.blank.headings[f.column]) == place]
    fields = {*own, EVERY}
    return bool(row.reasons) and all(
        reason.id in DOUBTS and any((number, reason.id) in typed.sure for number in fields)
        for reason in row.reasons
    )

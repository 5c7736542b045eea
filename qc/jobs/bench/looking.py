"""What a tablet asks of the house while a card is typed: pieces, doubts, what became of it."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import polars as pl

from qc.ingest import Known, SheetError, Unfolded
from qc.jobs.bench.asked import BenchCard, bench_plan, note_of
from qc.jobs.bench.doubts import EVERY, BenchDoubt, doubts_of, unfolded_card
from qc.jobs.bench.entering import BenchOutcome, card_of, outcome_of
from qc.jobs.bench.spelt import spelt_on_record
from qc.jobs.bench.typed import TypedCard, faults_of
from qc.jobs.past import known_of_parts
from qc.jobs.workshop import Workshop
from qc.plan import PLACE
from qc.watch import place_words

SHOWN_PIECES: Final = 40
"""Newest pieces offered while a serial is typed; chosen."""

LIKE_IT: Final = 6
"""Newest cards of a figure on a model that say which places are usually read; chosen: one odd card among
them neither adds a place nor takes one away."""

ASKED_BY: Final = frozenset({"Serial", "Model", "Date", "Part"})
"""Boxes by which the past of a card is looked up."""

KEPT: Final = 8  # chosen: so many cards are typed at once in a shop of fifteen benches


@dataclass(frozen=True, slots=True)
class BenchPiece:
    """A piece as the bench meets it: its model, empty for one that is new, and the fields usually filled."""

    serial: str
    model: str
    usual: tuple[int, ...]
    notes: tuple[str, ...] = ()


class BenchData:
    """Answers a tablet's questions from the workshop as it stands.

    Parameters
    ----------
    current : callable
        Gives the open workshop.
    """

    def __init__(self, current: Callable[[], Workshop]) -> None:
        self._workshop = current
        self._lock = threading.Lock()
        self._looking = threading.Lock()  # one card at a time: pages are to stay quick while benches type
        self._known: dict[tuple[object, ...], Known] = {}

    def _current(self) -> Workshop:
        workshop = self._workshop()
        return replace(workshop, plan=bench_plan(workshop.plan))

    def cards(self) -> tuple[BenchCard, ...]:
        """Return the plan's cards in its order."""
        plan = self._current().plan
        return tuple(card_of(plan, one.id) for one in plan.cards)

    def card(self, card_id: str) -> BenchCard | None:
        """Return one card, None where the plan has none of this id."""
        return next((one for one in self.cards() if one.id == card_id), None)

    def pieces(self) -> tuple[str, ...]:
        """Return the newest pieces."""
        return tuple(self._current().store.recent_pieces(2_000)["serial"].head(SHOWN_PIECES))

    def serial(self, typed: str) -> str:
        """Return a serial as it is on record, however it is spelt; empty where there is none such."""
        found = spelt_on_record(self._current(), typed)
        return found[0] if len(found) == 1 else ""

    def piece(self, card_id: str, serial: str, model: str = "") -> BenchPiece:
        """Return a piece: its model, and the fields of a card that are usually filled on such a one.

        Parameters
        ----------
        card_id, serial : str
            The card, and the piece as typed.
        model : str
            As chosen, for a piece that is not on record.
        """
        workshop = self._current()
        card = card_of(workshop.plan, card_id)
        spelt = self.serial(serial) or serial.strip()
        known = {s: m for s, m in workshop.store.pieces([spelt]).select("serial", "model").iter_rows()}
        model = known.get(spelt) or model
        own = workshop.plan.model(model)
        notes = tuple(note_of(own, one.at) if own else "" for one in card.fields)
        return BenchPiece(spelt, model, _usual(workshop, card, model, spelt), notes)

    def doubts(self, typed: TypedCard) -> tuple[BenchDoubt, ...]:
        """Return what an upload of a card so far would hold it for; nothing is stored.

        Parameters
        ----------
        typed : TypedCard
            What was typed so far.

        Raises
        ------
        JobError
            The plan has no such card.
        """
        workshop = self._current()
        card = card_of(workshop.plan, typed.card)
        if card.fields and not any(text.strip() for text in typed.figures.values()):
            return ()
        try:
            part = unfolded_card(card, typed, workshop.plan)
        except SheetError as error:
            return (BenchDoubt(EVERY, "unreadable", str(error), "", {}, sure=False),)
        known = self._known_of(workshop, typed, part)
        with self._looking:
            return tuple(doubts_of(card, typed, part, workshop.plan, known))

    def faults(self, typed: TypedCard) -> tuple[str, ...]:
        """Return what is missing before a card can be handed in.

        Raises
        ------
        JobError
            The plan has no such card.
        """
        return tuple(faults_of(card_of(self._current().plan, typed.card), typed))

    def outcome(self, entry: str) -> BenchOutcome | None:
        """Return what became of a card that was typed under an id, None where nothing was."""
        return outcome_of(self._current(), entry)

    def _known_of(self, workshop: Workshop, typed: TypedCard, part: Unfolded) -> Known:
        """Return what is on record that bears on a card; asked once as long as nothing comes in."""
        boxes = tuple(sorted((k, v) for k, v in typed.boxes.items() if k in ASKED_BY))
        kinds = frozenset(part.readings["characteristic"])
        key = (workshop.store.pulse(), workshop.today, typed.card, boxes, kinds)
        with self._lock:
            found = self._known.get(key)
        if found is None:
            found = known_of_parts(workshop, [part])
            with self._lock:
                while len(self._known) >= KEPT:
                    self._known.pop(next(iter(self._known)))
                self._known[key] = found
        return found


def _usual(workshop: Workshop, card: BenchCard, model: str, serial: str) -> tuple[int, ...]:
    """Return the fields that most of the newest cards of a model had filled; all where there is none.

    Where pieces whose serials begin alike are on record only these speak: on the card of a slide a loose tube
    of the rack has one leg, and says nothing of what a slide has.
    """
    own = [one for one in card.fields if not model or not one.models or model in one.models]
    wanted: set[int] = set()
    for column, name in card.blank.figures.items():
        fields = [one for one in own if one.column == column]
        stage = next((c.stage for c in workshop.plan.cards if c.id == card.id), None) or ""
        rows = workshop.store.recent_readings([(stage, name, model or None, 60 * LIKE_IT)])
        alike = rows.filter(pl.col("serial").str.extract(_BEGINS, 1) == _beginning(serial))
        rows = rows if alike.is_empty() else alike
        cards = rows.group_by("serial", "day", maintain_order=True).agg(pl.struct(*PLACE).alias("at"))
        seen: dict[str, int] = {}
        for places in cards["at"].tail(LIKE_IT):  # the newest card stands last
            for place in {place_words(at) for at in places}:
                seen[place] = seen.get(place, 0) + 1
        most = min(LIKE_IT, cards.height) // 2 + 1
        usual = {one.number for one in fields if seen.get(one.place, 0) >= most}
        wanted |= usual or {one.number for one in fields}
    return tuple(sorted(wanted))


_BEGINS: Final = r"^(\D*)"
"""What a serial begins with, before its first digit."""


def _beginning(serial: str) -> str:
    found = re.match(_BEGINS, serial)
    return found[1] if found else ""

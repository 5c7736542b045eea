"""The day as it ends: what the benches measured, what was told and decided, what left the shop."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

import polars as pl

from qc import clock
from qc.jobs.in_hand.cards_in import CardsIn, cards_of_day
from qc.jobs.judging import SignalOfDay
from qc.jobs.workshop import Workshop
from qc.sayings import REMARKS, WORDS
from qc.store import PieceWord
from qc.words import count_words, listed

COUNTED: Mapping[str, tuple[str, str]] = {
    "mend": ("decision about held rows", "decisions about held rows"),
    "correction": ("reading put right", "readings put right"),
    "withdrawal": ("reading taken back", "readings taken back"),
    "plan": ("change of the plan", "changes of the plan"),
}
"""Entries that are counted, not told one by one, and what they are called."""


@dataclass(frozen=True, slots=True)
class BenchDay:
    """What one kind of card brought on a day: its title, who wrote it, pieces, readings, rows still held."""

    card: str
    people: str
    pieces: int
    readings: int
    held: int


@dataclass(frozen=True, slots=True)
class DayView:
    """One day of the workshop.

    Attributes
    ----------
    cards : CardsIn
        The day itself, and the cards that are missing.
    benches : tuple of BenchDay
        What was measured on it, in the plan's order of cards.
    told : tuple of str
        Findings that were first told on it, a sentence each.
    done : tuple of str
        What was decided or put right on it, a line each with who.
    shipped, returned : tuple of str
        Serials.
    """

    cards: CardsIn
    benches: tuple[BenchDay, ...]
    told: tuple[str, ...]
    done: tuple[str, ...]
    shipped: tuple[str, ...]
    returned: tuple[str, ...]


def day_view(workshop: Workshop, signals: Iterable[SignalOfDay]) -> DayView:
    """Return the workshop's day, or the last before it on which any card came in.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    signals : iterable of SignalOfDay
        All of that day.
    """
    cards = cards_of_day(workshop)
    every = list(signals)
    events = workshop.store.events(["shipped", "returned"], since=cards.day, until=cards.day)
    left = {kind: tuple(sorted(own["serial"].unique())) for (kind,), own in events.group_by("kind")}
    return DayView(
        cards,
        _benches(workshop, cards.day),
        tuple(one.found.sentence for one in every if one.shown and one.known == cards.day),
        tuple(_done(workshop, every, cards.day)),
        left.get("shipped", ()),
        left.get("returned", ()),
    )


def _benches(workshop: Workshop, day: date) -> tuple[BenchDay, ...]:
    """Count what each card brought on a day; held rows count too, so that a card all held is not missing."""
    store = workshop.store
    card_of = {one.sheet: one.card for one in store.sheets()}
    held = Counter(card_of.get(row.sheet, "") for row in store.held() if row.day == day)
    read = store.readings(since=day, until=day).select("sheet", "serial", "person")
    happened = store.events(since=day, until=day).select("sheet", "serial", "person")
    own = pl.concat([read.with_columns(reading=1), happened.with_columns(reading=0)])
    names = {"sheet": list(card_of), "card": list(card_of.values())}
    own = own.join(pl.DataFrame(names, schema={"sheet": pl.String, "card": pl.String}), on="sheet")
    found = []
    for card in workshop.plan.cards:
        rows = own.filter(pl.col("card") == card.id)
        if rows.height or held[card.id]:
            people = listed(sorted(rows["person"].drop_nulls().unique()))
            pieces = rows["serial"].drop_nulls().n_unique()
            found.append(BenchDay(card.title, people, pieces, int(rows["reading"].sum()), held[card.id]))
    return tuple(found)


def _done(workshop: Workshop, signals: Iterable[SignalOfDay], day: date) -> list[str]:
    """Tell what was said of signals and decided about pieces, then count what was put right, by person."""
    zone, store = workshop.plan.workshop.time_zone, workshop.store
    stages = {stage.id: stage.name for stage in workshop.plan.stages}
    lines = []
    for one in signals:
        for said in one.said:
            if clock.day_of(said.when, zone) == day and said.what not in REMARKS:
                where = stages.get(one.series.split("/")[0], one.series)
                lines.append(f"{said.who}, {WORDS[said.what]}: {where}, {one.found.sentence}")
    for decision in store.decided_of_pieces():
        if clock.day_of(decision.when, zone) == day:
            did = "keeps back" if decision.what is PieceWord.KEPT_BACK else "released"
            lines.append(f"{decision.who} {did} {decision.serial}: {decision.text}")
    of_day = (one for one in store.entries() if clock.day_of(one.when, zone) == day)
    counts = Counter((one.who, one.kind) for one in of_day if one.kind in COUNTED)
    for (who, kind), number in sorted(counts.items()):
        lines.append(f"{who or 'Nobody named'}: {count_words(number, *COUNTED[kind])}")
    return list(dict.fromkeys(lines))

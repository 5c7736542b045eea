"""The cards of a day: which came in, which of those that come daily are missing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from qc.jobs.workshop import Workshop

LOOK_BACK = timedelta(days=10)
"""How far back the last day with cards is looked for; a longer pause is a holiday."""


@dataclass(frozen=True, slots=True)
class CardsIn:
    """The cards of one day.

    Attributes
    ----------
    day : date
        The workshop's day, or the last day before it on which any card came in.
    came : int
        Kinds of card that came in; of those that are expected daily, where the plan has such.
    missing : tuple of str
        Titles of those that are expected daily, did not come, and that nobody said there would be none of.
    """

    day: date
    came: int
    missing: tuple[str, ...]


def cards_of_day(workshop: Workshop) -> CardsIn:
    """Return the cards of the workshop's day, or of the last day on which any came."""
    plan, store, today = workshop.plan, workshop.store, workshop.today
    expected = {card.id: card for card in plan.cards if card.expected == "daily"}
    since = today - LOOK_BACK
    frames = [
        store.readings(since=since).select("day", "sheet"),
        store.events(since=since).select("day", "sheet"),
    ]
    recent = pl.concat(frames).filter((pl.col("day") <= today) & pl.col("sheet").is_not_null())
    newest = recent["day"].max()
    day = newest if isinstance(newest, date) else today
    of_day = set(recent.filter(pl.col("day") == day)["sheet"].to_list())
    came = {sheet.card for sheet in store.sheets() if sheet.sheet in of_day}
    excused = set(store.events("no-card", since=day, until=day)["stage"].to_list())
    missing = [c.title for c in expected.values() if c.id not in came and c.stage not in excused]
    return CardsIn(day, len(came & set(expected)) if expected else len(came), tuple(missing))

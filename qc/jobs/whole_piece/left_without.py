"""Cards that a piece left without: asked for by the plan, and on record of most of its like."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

import polars as pl

from qc import clock
from qc.jobs.pieces import rows_words
from qc.jobs.whole_piece.sharing import Genealogy, days_left
from qc.jobs.workshop import Workshop
from qc.plan import Plan, Stage, figures_written
from qc.words import dated_words, listed

LIKE = 40
"""Newest pieces that left whose cards are looked at; chosen: a few months of a small workshop."""

FEWEST = 3
"""With fewer of its own model that left, every model is looked at, then what is in the house. Chosen."""


class _Waiting(NamedTuple):
    """A held reading: its stage, when it was measured and handed in, the number of its row."""

    stage: str
    measured: date
    handed_in: date
    number: int


def left_without(workshop: Workshop, serial: str, model: str, left: date, tree: Genealogy) -> str:
    """Say which cards were not on record of a piece when it left, empty where none is missed.

    Parameters
    ----------
    workshop : Workshop
        An open workshop, or one as it was known on a day.
    serial, model : str
        The piece, and its model where it has one.
    left : date
        The day it left; what was measured after it is no card of that life.
    tree : Genealogy
        What is built into what: a card of a part is one of the piece.

    Notes
    -----
    The plan says which figures are measured on a model, not on which of its pieces: a card is missed where
    more than half of its like have one. A stage of which a row still waits is told as such.
    """
    plan = workshop.plan
    asked = [one for one in plan.stages if is_asked(plan, one, model)]
    like = _like(workshop, serial, model)
    if not asked or not like:
        return ""
    days = {one: day for one, day in days_left(workshop, like).items() if day is not None}
    have = stages_of(workshop, [serial, *like], {serial: left, **days}, tree)
    waits = {row.stage for row in waiting_of(workshop, serial)}
    missed = []
    for stage in asked:
        with_card = sum(stage.id in have.get(one, ()) for one in like)
        if stage.id not in have.get(serial, ()) and stage.id not in waits and 2 * with_card > len(like):
            missed.append((stage.name, with_card))
    if not missed:
        return ""
    if len(missed) == 1:
        [(name, with_card)] = missed
        share = f"{with_card} of {len(like)} others have one"
        return f"It left without a card of {name}, which the plan asks for: {share}."
    return f"It left without the cards of {listed([name for name, _ in missed])}, which the plan asks for."


def held_since(workshop: Workshop, serial: str, day: date) -> list[str]:
    """Say which cards of a piece, measured by a day, were handed in after it and wait as held rows.

    Parameters
    ----------
    workshop : Workshop
        An open workshop, with all that is known now.
    serial : str
        The piece.
    day : date
        What had been handed in by its end is passed over.
    """
    cards: dict[tuple[str, date, date], list[int]] = {}
    for row in waiting_of(workshop, serial):
        if row.handed_in > day >= row.measured:
            cards.setdefault((row.stage, row.measured, row.handed_in), []).append(row.number)
    names = {one.id: one.name for one in workshop.plan.stages}
    return [
        f"Its {names.get(stage, stage)} card of {dated_words(measured)} came on {dated_words(handed_in)} and "
        f"waits as {rows_words(sorted(rows))}, on which nobody has decided: qc held list. "
        f"Not known here on {dated_words(day)}."
        for (stage, measured, handed_in), rows in cards.items()
    ]


def is_asked(plan: Plan, stage: Stage, model: str) -> bool:
    """Say whether a card of the plan asks for a figure of a stage on this model."""
    cards = [one for one in plan.cards if one.stage == stage.id and one.event is None]
    return any(
        not model or model in {m.id for m in plan.models_of(figure)}
        for card in cards
        for figure in figures_written(plan, card)
    )


def _like(workshop: Workshop, serial: str, model: str) -> list[str]:
    """Return the newest other pieces that left: of its model, else of all, else what was begun at all."""
    left = days_left(workshop)
    left.pop(serial, None)
    newest = sorted(left, key=lambda one: (left[one], one), reverse=True)
    pieces = workshop.store.pieces()
    models = dict(pieces.select("serial", "model").iter_rows())
    own = [one for one in newest if model and models.get(one) == model]
    for like in (own, newest):
        if len(like) >= FEWEST:
            return like[:LIKE]
    begun = pieces.filter(pl.col("serial") != serial, pl.col("first_day") <= workshop.today)
    if model:
        begun = begun.filter(pl.col("model") == model)
    prefix = workshop.plan.workshop.serial_prefix
    return [one for one in begun["serial"] if not prefix or one.startswith(prefix)][-LIKE:]


def stages_of(
    workshop: Workshop, serials: Sequence[str], left: dict[str, date], tree: Genealogy
) -> dict[str, set[str]]:
    """Return the stages at which each piece, or a part of it, was measured before it left."""
    home = {part: one for one in serials for part in (one, *tree.inside(one))}
    rows = workshop.store.around(sorted(home), until=workshop.today)
    found: dict[str, set[str]] = {}
    for own, stage, day in rows.select("serial", "stage", "day").drop_nulls().unique().iter_rows():
        whole = home[own]
        if day <= left.get(whole, day):
            found.setdefault(whole, set()).add(stage)
    return found


def waiting_of(workshop: Workshop, serial: str) -> list[_Waiting]:
    """Return the readings of a piece that wait as held rows."""
    zone = workshop.plan.workshop.time_zone
    found = []
    for held in workshop.store.held():
        row = held.as_typed() if held.table == "reading" else {}
        if row.get("serial") == serial and row.get("stage"):
            handed_in = clock.day_of(held.entered, zone)
            # a day to come is a slip: the row counts as of the day it was handed in
            found.append(_Waiting(row["stage"], min(held.day, handed_in), handed_in, held.id))
    return found

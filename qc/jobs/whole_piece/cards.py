"""The cards of a piece: who measured it at each stage, when and with what, its batches and its tools."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from qc.plain import JsonObject
from qc.plan import Plan
from qc.words import dated_words, listed

NAMED = ("person", "gauge", "batch", "tool")
"""What of a card is told, as it stands in its columns."""


@dataclass(frozen=True, slots=True)
class CardOfPiece:
    """What was measured on a piece at one stage on one day.

    Attributes
    ----------
    stage, stage_name : str
        Where, by its id and in words.
    day : date
        When it was measured.
    person, gauge, batch, tool : str
        As on the card; several are joined by `` + ``, empty where nothing is written.
    """

    stage: str
    stage_name: str
    day: date
    person: str
    gauge: str
    batch: str
    tool: str

    @property
    def said(self) -> str:
        """What was done and by whom, in words."""
        return f"{self.stage_name} measured{f', by {self.person}' if self.person else ''}"

    @property
    def told(self) -> str:
        """What was done, by whom, with which gauge, from which batch and with which tool, in words."""
        named = (("gauge", self.gauge), ("batch", self.batch), ("tool", self.tool))
        return ", ".join([self.said, *(f"{kind} {name}" for kind, name in named if name)])

    @property
    def row(self) -> tuple[str, ...]:
        """The card as a row of a table."""
        return (self.stage_name, dated_words(self.day), *(getattr(self, name) or "-" for name in NAMED))

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        own = {name: getattr(self, name) for name in ("stage", *NAMED)}
        return {**own, "day": self.day.isoformat()}


def cards_of(plan: Plan, around: pl.DataFrame) -> tuple[CardOfPiece, ...]:
    """Return the cards of a piece in order of the days.

    Parameters
    ----------
    plan : Plan
        The names of its stages, and their order where two were measured on one day.
    around : polars.DataFrame
        What was recorded around its readings (`qc.store.Store.around`).
    """
    names = {one.id: (place, one.name) for place, one in enumerate(plan.stages)}
    dated = around.filter(pl.col("day").is_not_null())
    found = []
    for (stage, day), rows in dated.group_by("stage", "day", maintain_order=True):
        joined = {name: " + ".join(filter(None, rows[name].unique(maintain_order=True))) for name in NAMED}
        place, said = names.get(str(stage), (len(names), str(stage or "")))
        found.append((day, place, CardOfPiece(str(stage or ""), said, day, **joined)))
    return tuple(card for *_, card in sorted(found, key=lambda one: one[:2]))


def made_of(cards: Sequence[CardOfPiece]) -> list[tuple[str, str, str]]:
    """Return the batches and tools on the cards: kind, name, and the stages whose cards name them.

    Examples
    --------
    >>> from datetime import date
    >>> made_of([CardOfPiece("draw", "Draw", date(2026, 5, 4), "IS", "M-1", "", "D-1 + D-2")])
    [('tool', 'D-1', 'Draw'), ('tool', 'D-2', 'Draw')]
    """
    found: dict[tuple[str, str], list[str]] = {}
    for kind in ("batch", "tool"):
        for card in cards:
            for name in filter(None, getattr(card, kind).split(" + ")):
                stages = found.setdefault((kind, name), [])
                stages += [card.stage_name] if card.stage_name not in stages else []
    return [(kind, name, listed(stages)) for (kind, name), stages in found.items()]

"""What an upload would ask of a card, asked while the piece is still on the bench."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from qc.ingest import DOUBTS, Known, Unfolded, check, unfold
from qc.jobs.bench.asked import BenchCard
from qc.jobs.bench.typed import TypedCard, card_grid, card_rows, file_name, row_of
from qc.jobs.rows import value_words
from qc.plain import JsonObject
from qc.plan import Plan

EVERY: Final = -1
"""The number of the field of a doubt that is about the card as a whole."""

BOX_OF: Final[Mapping[str, tuple[str, ...]]] = {
    "serial": ("Serial",),
    "model": ("Model",),
    "day": ("Date", "Shipped", "Returned"),
    "person": ("Person", "Tester"),
    "tool": ("Tool",),
    "batch": ("Batch",),
}
"""Column of a row -> the box in which it was typed."""

NOT_YET: Final = frozenset({"missing-value"})
"""Reasons that only say that the card is not finished."""


@dataclass(frozen=True, slots=True)
class BenchDoubt:
    """A question about what was typed.

    Attributes
    ----------
    field : int
        Number of the field, `EVERY` for the card.
    reason : str
        Stable name.
    sentence, mend : str
        What is wrong, and what to do.
    change : mapping of str to str
        What one press would change: ``value`` for the figure, else label of a box -> text.
    sure : bool
        Whether it may be answered with "it is really so".
    """

    field: int
    reason: str
    sentence: str
    mend: str
    change: Mapping[str, str]
    sure: bool

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        said = {"field": self.field, "reason": self.reason, "sentence": self.sentence, "mend": self.mend}
        return {**said, "change": dict(self.change), "sure": self.sure}


def unfolded_card(card: BenchCard, typed: TypedCard, plan: Plan) -> Unfolded:
    """Return the rows of what was typed, read as an uploaded card is.

    Raises
    ------
    SheetError
        The card cannot be read so, for want of a serial, say.
    """
    return unfold(card_grid(card_rows(card, typed), file_name(card, typed)), plan)


def doubts_of(
    card: BenchCard, typed: TypedCard, part: Unfolded, plan: Plan, known: Known
) -> list[BenchDoubt]:
    """Return what an upload of the card so far would hold it for.

    Parameters
    ----------
    card, typed : BenchCard, TypedCard
        What was asked and typed.
    part : Unfolded
        The same as rows.
    plan : Plan
        The measuring plan.
    known : Known
        What is on record.

    Returns
    -------
    list of BenchDoubt
        In the order of the card; what is the same of several rows is asked once, of the card. What was
        answered with "it is really so" is left out.
    """
    (checked,) = check([part], plan, known)
    found: dict[tuple[str, str], list[BenchDoubt]] = {}
    for row in checked.held.to_dicts():
        number = _field_of(card, typed, row)
        for reason in json.loads(row["reasons"]):
            if reason["id"] in NOT_YET or {(number, reason["id"]), (EVERY, reason["id"])} & typed.sure:
                continue
            doubt = _doubt(card, number, row, reason)
            found.setdefault((doubt.reason, doubt.sentence), []).append(doubt)
    return [_one_of(alike) for alike in found.values()]


def _field_of(card: BenchCard, typed: TypedCard, row: Mapping[str, Any]) -> int:
    place = row_of(card, row["row"], typed), _without_unit(row["column"])
    return next(
        (f.number for f in card.fields if (f.row, _without_unit(card.blank.headings[f.column])) == place),
        EVERY,
    )


def _without_unit(heading: str) -> str:
    """Return a heading without the unit behind it, which a card that was laid out plainly does not keep."""
    return heading.partition(" [")[0]


def _doubt(card: BenchCard, number: int, row: Mapping[str, Any], reason: Mapping[str, Any]) -> BenchDoubt:
    where = f"{row['file']}, {row['cell']}: "
    told = str(reason["sentence"]).removeprefix(where)
    labels = {box.label for box in card.boxes}
    change: dict[str, str] = {}
    for column, value in dict(reason.get("proposal") or {}).items():
        if column == "value":
            change["value"] = value_words(float(value) if isinstance(value, int | float) else value)
            continue
        label = next((name for name in BOX_OF.get(column, ()) if name in labels), "")
        if not label:
            change = {}  # half a mend is none: the sentence says what to do
            break
        change[label] = str(value)
    if "value" in change and number == EVERY:
        change = {}
    sentence = f"{told[:1].upper()}{told[1:]}"
    if change and "value" not in change:
        number = EVERY  # a box is of the whole card
    return BenchDoubt(
        number, str(reason["id"]), sentence, str(reason["mend"]), change, reason["id"] in DOUBTS
    )


def _one_of(alike: list[BenchDoubt]) -> BenchDoubt:
    """Ask once what is the same of several rows."""
    first = alike[0]
    return first if len(alike) == 1 or "value" in first.change else replace(first, field=EVERY)

"""A whole card of figures that is on record already: of the same piece on another day, or of another piece.

`copied_run` looks for runs in one upload and must hold against a year of sheets at once. Here a whole card
is weighed against those of the month before it, on record or in the upload, so that a copy of few figures is
seen too, and on the day it is handed in.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.known import IDENTITY
from qc.ingest.reasons import Finding, Reason
from qc.plan import PLACE

BY_CHANCE = 1e-4
"""Accepted chance that an honest card equals one of the month before it."""

FEWEST = 5
"""A card of fewer figures is not asked about; chosen."""

DIFFERENT = 3
"""It must show so many different figures: a row of equal ones is a coarse gauge."""

BACK = timedelta(days=31)

AT = [*PLACE, "repeat"]
CARD = ["stage", "characteristic", "serial", "day"]


@dataclass(frozen=True, slots=True)
class Whole:
    """All figures of one characteristic of a piece on a day; `rows` are empty for a card on record."""

    serial: str
    day: date
    figures: tuple[tuple[str, float], ...]
    rows: tuple[int, ...]


def find_same_card(facts: Facts, doubted: Doubts) -> Doubted:
    """Find cards whose figures are, place by place, those of an earlier one."""
    if facts.readings.is_empty():
        return Doubted()
    own = facts.readings.filter((pl.col("_kind") == "measured") & ~pl.col(INDEX).is_in(list(doubted)))
    names = own.select("stage", "characteristic").unique()
    past = facts.known.past.join(names, on=["stage", "characteristic"], how="semi")
    past = past.with_columns(pl.lit(None, dtype=pl.Int64).alias(INDEX))
    columns = [*IDENTITY, "value", INDEX]
    schema = {name: own.schema[name] for name in columns if name != INDEX}
    every = pl.concat(
        [
            past.select(pl.col(c).cast(schema[c]) if c in schema else pl.col(c) for c in columns),
            own.select(*(pl.col(c) for c in columns if c != INDEX), pl.col(INDEX).cast(pl.Int64)),
        ]
    ).filter(pl.col("value").is_not_null() & pl.col("day").is_not_null() & (pl.col("serial") != ""))
    place = pl.concat_str([pl.col(n).cast(pl.String).fill_null("") for n in AT], separator="|")
    every = every.with_columns(place.alias("_place"))
    found: list[Finding] = []
    for _, group in every.group_by(["stage", "characteristic"], maintain_order=True):
        found += _in_characteristic(_wholes(group))
    return Doubted(found)


def _wholes(group: pl.DataFrame) -> list[Whole]:
    wholes = []
    new = pl.col(INDEX).is_not_null()
    for (_, _, serial, day, _), rows in group.group_by([*CARD, new], maintain_order=True):
        if rows.height < FEWEST or not isinstance(day, date):
            continue
        ordered = rows.sort("_place")
        figures = tuple(zip(ordered["_place"], ordered["value"], strict=True))
        indexes = tuple(i for i in ordered[INDEX] if i is not None)
        wholes.append(Whole(str(serial), day, figures, indexes))
    return sorted(wholes, key=lambda whole: (bool(whole.rows), whole.day, whole.rows[:1]))


def _in_characteristic(wholes: list[Whole]) -> list[Finding]:
    if len(wholes) < 2:
        return []
    agree = _agreement(wholes)
    seen: dict[tuple[tuple[str, float], ...], list[Whole]] = defaultdict(list)
    found = []
    for whole in wholes:
        before = seen[whole.figures]
        if whole.rows and before and len({value for _, value in whole.figures}) >= DIFFERENT:
            same = next((b for b in before if b.serial == whole.serial), None)
            other = next((b for b in reversed(before) if abs(b.day - whole.day) <= BACK), None)
            if same is not None and same.day != whole.day:
                found += _findings(whole, same)
            elif other is not None and other.serial != whole.serial:
                near = sum(abs(w.day - whole.day) <= BACK for w in wholes)
                if near * agree ** len(whole.figures) < BY_CHANCE:
                    found += _findings(whole, other)
        before.append(whole)
    return found


def _agreement(wholes: list[Whole]) -> float:
    """Return the chance that two pieces of equal mean show the same figure at a place, as in `copied_run`."""
    at: dict[str, list[float]] = defaultdict(list)
    for whole in wholes:
        for place, value in whole.figures:
            at[place].append(value)
    usual = {place: sorted(values)[len(values) // 2] for place, values in at.items()}
    scatter: Counter[float] = Counter()
    for whole in wholes:
        off = [value - usual[place] for place, value in whole.figures]
        middle = sorted(off)[len(off) // 2]
        scatter.update(round(value - middle, 6) for value in off)
    total = sum(scatter.values())
    return min(0.95, max(0.02, sum((n / total) ** 2 for n in scatter.values())))


def _findings(whole: Whole, source: Whole) -> list[Finding]:
    count = len(whole.figures)
    if source.serial == whole.serial:
        reason = Reason.SAME_CARD_TWICE
        problem = f"all {count} figures of {whole.serial} are those of its card of {source.day}"
        mend = "Leave the card out if it was handed in before; if it was measured again, confirm it."
    else:
        reason = Reason.COPIED_RUN
        of = f"{source.serial} of {source.day}"
        problem = f"all {count} figures of {whole.serial} are the same in the same order as those of {of}"
        mend = "Measure the piece again; if both really read the same, confirm it."
    return [Finding(index, reason, problem, mend) for index in whole.rows]

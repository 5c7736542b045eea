"""A card of a piece that was shipped before and has not come back, or a part built into it since."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason


def find_after_shipping(facts: Facts, doubted: Doubts) -> Doubted:
    """Find readings of pieces that had left by then, and parts built into them."""
    if facts.readings.is_empty() and facts.events.is_empty():
        return Doubted()
    left = dict(facts.known.left)
    moves = facts.events.filter(pl.col("kind").is_in(["shipped", "returned"]) & pl.col("day").is_not_null())
    for kind, serial, day in moves.sort("day").select("kind", "serial", "day").rows():
        if kind == "shipped":
            left[serial] = day
        elif serial in left and left[serial] <= day:
            del left[serial]
    if not left:
        return Doubted()
    rows = facts.readings.filter(
        pl.col("serial").is_in(list(left)) & pl.col("day").is_not_null() & ~pl.col(INDEX).is_in(list(doubted))
    )
    found = []
    for row in rows.to_dicts():
        gone = left[row["serial"]]
        if row["day"] <= gone:
            continue
        problem = f"{row['serial']} was shipped on {gone}, and this card is of {row['day']}"
        mend = "Check the serial and the day; if the piece came back, enter the return or confirm it."
        found.append(Finding(row[INDEX], Reason.AFTER_SHIPPING, problem, mend))
    return Doubted(found, _parts_fitted(facts, left))


def _parts_fitted(facts: Facts, left: Mapping[str, date]) -> list[Finding]:
    """Find parts built into an instrument that is gone; what is on record just so is not asked again."""
    rows = facts.events.filter(
        (pl.col("kind") == "part") & pl.col("serial").is_in(list(left)) & pl.col("day").is_not_null()
    )
    found = []
    for row in rows.to_dicts():
        piece, part, day = row["serial"], row["subject"], row["day"]
        if day <= left[piece] or (piece, day) in facts.known.stays.get(part, ()):
            continue
        problem = f"{piece} was shipped on {left[piece]}, and this card builds {part} into it on {day}"
        mend = "Check the serial and the day; if the piece came back, enter the return or confirm it."
        found.append(Finding(row[INDEX], Reason.AFTER_SHIPPING, problem, mend))
    return found

"""A card of a piece that was shipped before and has not come back."""

from __future__ import annotations

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason


def find_after_shipping(facts: Facts, doubted: Doubts) -> Doubted:
    """Find readings of pieces that had left by then."""
    if facts.readings.is_empty():
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
    return Doubted(found)

"""Dates 1462 days off: two spreadsheet programs counted days from different beginnings."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason

BETWEEN_EPOCHS = timedelta(days=1462)
"""1900-01-01 (with the leap day that never was) to 1904-01-01."""

NEAR = 60
"""So close to the other days of the upload a shifted date must come. [day]"""


def find_epoch_1904(facts: Facts, doubted: Doubts) -> Doubted:
    """Find dates that fit among the others once they are shifted."""
    days = pl.concat([facts.readings["day"], facts.events["day"]]).drop_nulls()
    if days.is_empty():
        return Doubted()
    usual = facts.known.newest_day or facts.known.today
    middle = days.sort()[days.len() // 2]
    return Doubted(_shifted(facts.readings, middle, usual), _shifted(facts.events, middle, usual))


def _shifted(rows: pl.DataFrame, middle: date, usual: date) -> list[Finding]:
    found = []
    far = (pl.col("day") - middle).abs() > BETWEEN_EPOCHS / 2
    alone = (pl.col("day") - usual).abs() > BETWEEN_EPOCHS / 2
    for row in rows.filter(far | alone).to_dicts():
        for shift in (BETWEEN_EPOCHS, -BETWEEN_EPOCHS):
            try:
                day = row["day"] + shift
            except OverflowError:  # a slip such as 9999-12-31, beyond which no calendar goes
                continue
            if min(abs((day - middle).days), abs((day - usual).days)) <= NEAR:
                problem = f"the date {row['day']} is 1462 days off, the gap between two spreadsheet calendars"
                mend = f"Accept {day.isoformat()}, or write the date on the card."
                found.append(Finding(row[INDEX], Reason.EPOCH_1904, problem, mend, {"day": day.isoformat()}))
    return found

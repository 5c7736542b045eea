"""A row typed twice on one sheet, or one place of a piece with two figures on it."""

from __future__ import annotations

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.known import IDENTITY
from qc.ingest.reasons import Finding, Reason

SAME_EVENT = ["_part", "kind", "serial", "subject", "code", "day", "text", "stage"]


def find_doubled_row(facts: Facts, doubted: Doubts) -> Doubted:
    """Find rows of one sheet that speak of the same measurement or event."""
    return Doubted(_readings(facts.readings, doubted), _events(facts.events))


def _readings(readings: pl.DataFrame, doubted: Doubts) -> list[Finding]:
    if readings.is_empty():
        return []
    at = ["_part", *IDENTITY]
    sound = readings.filter((pl.col("serial") != "") & ~pl.col(INDEX).is_in(list(doubted)))
    twice = sound.with_columns(pl.len().over(at).alias("_times")).filter(pl.col("_times") > 1)
    found = []
    for _, group in twice.group_by(at, maintain_order=True):
        rows = group.to_dicts()
        first = rows[0]
        differ = len({row["value"] for row in rows}) > 1
        for number, row in enumerate(rows):
            if number == 0 and not differ:
                continue  # what was typed first stands; its copies are held
            other = rows[1] if number == 0 else first
            problem = (
                f"{row['serial']} is typed twice here: {row['text']}, and {other['text']} in {other['cell']}"
            )
            repeat = (row["repeat"] or 1) + number
            proposal: dict[str, object] = {"repeat": repeat} if number and differ else {}
            if not differ:
                mend = f"Drop it; if it was really measured again, set repeat to {repeat}."
            elif number == 0:
                mend = "Keep the figure that is right and drop the other one."
            else:
                mend = "Drop the wrong one; if it was really measured again, accept this as a repeat."
            found.append(Finding(row[INDEX], Reason.DOUBLED_ROW, problem, mend, proposal))
    return found


def _events(events: pl.DataFrame) -> list[Finding]:
    if events.is_empty():
        return []
    turn = pl.int_range(pl.len()).over(SAME_EVENT)
    first = pl.col("cell").first().over(SAME_EVENT)
    copies = events.with_columns(turn.alias("_turn"), first.alias("_first")).filter(pl.col("_turn") > 0)
    found = []
    for row in copies.to_dicts():
        problem = f"the same line stands already at {row['_first']}"
        mend = "Leave it out, or add a note that tells the two apart."
        found.append(Finding(row[INDEX], Reason.DOUBLED_ROW, problem, mend))
    return found

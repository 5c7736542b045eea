"""A count many times as large as any before: a nought too many, a key struck twice."""

from __future__ import annotations

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason

LEAST = 10
"""A count below this has one digit and is not asked about."""

TIMES = 2.5
"""It must be so many times the largest but one of those before; chosen, so that a dusty week passes."""

NOUGHT_TIMES = 2.0
"""The same for a whole ten whose tenth is usual, as a nought too many makes it; chosen."""

SEVERAL = 3
"""So many counts of two digits, and one in a hundred, are no slips but usual there; chosen."""

TOLD = 20
"""So many counts say what is usual; chosen."""

KEYS = ["stage", "characteristic"]


def find_many_counted(facts: Facts, doubted: Doubts) -> Doubted:
    """Find counts beyond anything counted before."""
    if facts.readings.is_empty():
        return Doubted()
    counts = facts.readings.filter((pl.col("_kind") == "count") & pl.col("value").is_not_null())
    found = []
    for (stage, name), group in counts.group_by(KEYS, maintain_order=True):
        same = (pl.col("stage") == stage) & (pl.col("characteristic") == name)
        before = pl.concat([facts.known.past.filter(same)["value"], group["value"]]).drop_nulls().sort()
        if before.len() < TOLD:
            continue
        # of the upload's own counts the odd ones must not be their own measure
        most = float(before.filter(before < LEAST).max() or 0.0)  # type: ignore[arg-type]
        tens = before.filter(before >= LEAST)
        if tens.len() >= SEVERAL and tens.len() * 100 > before.len():
            most = max(most, float(before.quantile(0.99) or 0.0))
        value = pl.col("value")
        nought = (value % 10 == 0) & (value <= 10 * most) & (value >= NOUGHT_TIMES * max(most, 1.0))
        many = (value >= LEAST) & ((value >= TIMES * max(most, 1.0)) | nought)
        for row in group.filter(many).to_dicts():
            if row[INDEX] in doubted:
                continue
            problem = f"{row['serial']} has {row['text']} counted, where the most usual is {most:g}"
            mend = "Count again or look at the card; if it is so, confirm it."
            tenth = row["value"] / 10
            proposal: dict[str, object] = {}
            if tenth == int(tenth) and tenth <= most:
                proposal = {"value": tenth}
                mend = f"If a nought too many was typed, accept {tenth:g}; if it is so, confirm it."
            found.append(Finding(row[INDEX], Reason.MANY_COUNTED, problem, mend, proposal))
    return Doubted(found)

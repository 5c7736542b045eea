"""A decimal comma that could not be read for certain: it parts thousands, or it split a figure in two."""

from __future__ import annotations

import re

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts, usual_value
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason

GROUPED = re.compile(r"^[+-]?\d{1,3},\d{3}$")


def find_comma_decimal(facts: Facts, doubted: Doubts) -> Doubted:
    """Find figures whose comma is not certain."""
    if facts.readings.is_empty():
        return Doubted()
    found = []
    joined = pl.col("hint").str.starts_with("joined=")
    unread = pl.col("value").is_null() & (joined | pl.col("text").str.contains(",", literal=True))
    for row in facts.readings.filter(unread).to_dicts():
        if row["hint"].startswith("joined="):
            value = float(row["hint"].removeprefix("joined="))
            problem = f"the comma of {row['text']} split the figure over two cells of a comma-separated line"
            mend = f"Accept {value:g}, and save such sheets with semicolons or decimal points."
        elif GROUPED.match(row["text"]):
            value = _nearer(row["text"], usual_value(row))
            problem = (
                f"{row['text']} can mean {row['text'].replace(',', '.')} or {row['text'].replace(',', '')}"
            )
            mend = f"Accept {value:g}, or type the figure with a decimal point."
        else:
            continue
        proposal = {"value": value, "hint": ""}
        found.append(Finding(row[INDEX], Reason.COMMA_DECIMAL, problem, mend, proposal))
    return Doubted(found)


def _nearer(text: str, usual: float | None) -> float:
    small, large = float(text.replace(",", ".")), float(text.replace(",", ""))
    if usual is None:
        return small
    return min((small, large), key=lambda value: abs(value - usual))

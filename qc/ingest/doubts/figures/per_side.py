"""A clearance per side where it is kept on diameter: the heading says so, or the figure is half the usual."""

from __future__ import annotations

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts, rounded
from qc.ingest.doubts.figures.scale import scaled_fits
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.words import unit_words


def find_per_side(facts: Facts, doubted: Doubts) -> Doubted:
    """Find clearances that are meant per side."""
    if facts.readings.is_empty():
        return Doubted()
    found = []
    said = facts.readings.filter((pl.col("hint") == "per side") & pl.col("value").is_not_null())
    for row in said.to_dicts():
        value = rounded(2.0 * row["value"], None)
        unit = unit_words(row["unit"])
        problem = f"the sheet gives the clearance per side, {row['text']} {unit}; it is kept on diameter"
        mend = f"Accept {value:g} {unit} on diameter, or type the figure on diameter."
        found.append(Finding(row[INDEX], Reason.PER_SIDE, problem, mend, {"value": value, "hint": ""}))
    for row in scaled_fits(facts, 2.0, pl.col("_clearance") & (pl.col("hint") != "per side")):
        value = rounded(row["scaled"], None)
        unit = unit_words(row["unit"])
        problem = f"{row['text']} {unit} is half the usual clearance of {row['usual']:.4g} {unit}"
        mend = f"If it was meant per side, accept {value:g} on diameter; else type the figure on the card."
        found.append(Finding(row[INDEX], Reason.PER_SIDE, problem, mend, {"value": value}))
    return Doubted(found)

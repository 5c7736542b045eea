"""Inches in a column of millimetres: 0.5532 for 14.051."""

from __future__ import annotations

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts, rounded
from qc.ingest.doubts.figures.scale import scaled_fits
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason

MM_PER_INCH = 25.4
"""Exact, by the definition of the inch."""


def find_inch_for_mm(facts: Facts, doubted: Doubts) -> Doubted:
    """Find figures in mm that are usual once read as inches."""
    found = []
    for row in scaled_fits(facts, MM_PER_INCH, pl.col("unit") == "mm"):
        value = rounded(row["scaled"], row["_step"])
        problem = f"{row['text']} mm is usual only as inches: {row['text']} in are {value:g} mm"
        mend = f"If the gauge stood on inches, accept {value:g} mm; else type the figure on the card."
        found.append(Finding(row[INDEX], Reason.INCH_FOR_MM, problem, mend, {"value": value}))
    return Doubted(found)

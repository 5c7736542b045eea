"""A radius where a diameter is asked: 7.026 for 14.052."""

from __future__ import annotations

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts, rounded
from qc.ingest.doubts.figures.scale import scaled_fits
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.words import unit_words


def find_radius_for_diameter(facts: Facts, doubted: Doubts) -> Doubted:
    """Find diameters that are usual once doubled."""
    found = []
    for row in scaled_fits(facts, 2.0, pl.col("_diameter")):
        value = rounded(row["scaled"], None)
        unit = unit_words(row["unit"])
        problem = f"{row['text']} {unit} is half the usual {row['usual']:.5g} {unit}"
        mend = f"If the radius was typed, accept {value:g}; else type the diameter."
        found.append(Finding(row[INDEX], Reason.RADIUS_FOR_DIAMETER, problem, mend, {"value": value}))
    return Doubted(found)

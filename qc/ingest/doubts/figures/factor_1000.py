"""Micrometres in a column of millimetres or the other way round: 14052 for 14.052, 0.152 for 152."""

from __future__ import annotations

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts, rounded
from qc.ingest.doubts.figures.scale import scaled_fits
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.words import unit_words

SMALLER = {"mm": "um", "g": "mg"}
LARGER = {"um": "mm"}


def find_factor_1000(facts: Facts, doubted: Doubts) -> Doubted:
    """Find figures a thousand times too large or too small."""
    found = []
    for factor, names in ((0.001, SMALLER), (1000.0, LARGER)):
        for row in scaled_fits(facts, factor, pl.col("unit").is_in(list(names)), below_step=True):
            value = rounded(row["scaled"], None)
            typed_in = names[row["unit"]]
            unit = unit_words(row["unit"])
            problem = f"{row['text']} {unit} is usual only as {typed_in}: that is {value:g} {unit}"
            mend = f"If it was typed in {typed_in}, accept {value:g} {unit}; else type the right figure."
            found.append(Finding(row[INDEX], Reason.FACTOR_1000, problem, mend, {"value": value}))
    return Doubted(found)

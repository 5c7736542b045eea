"""The decimal point one or two places off: 140.52 for 14.052."""

from __future__ import annotations

from qc.ingest.doubts.facts import Doubted, Doubts, Facts, rounded
from qc.ingest.doubts.figures.scale import scaled_fits
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason

TIMES = {0.1: "ten times", 10.0: "a tenth of", 0.01: "a hundred times", 100.0: "a hundredth of"}


def find_decimal_slip(facts: Facts, doubted: Doubts) -> Doubted:
    """Find figures about 10, 100, 1/10 or 1/100 of what is usual."""
    best: dict[int, tuple[float, Finding]] = {}
    for factor, words in TIMES.items():
        for row in scaled_fits(facts, factor):
            value = rounded(row["scaled"], None)
            problem = f"{row['text']} {row['unit']} is {words} the usual {row['usual']:.4g} {row['unit']}"
            mend = f"If the decimal point slipped, accept {value:g}; else type the figure on the card."
            finding = Finding(row[INDEX], Reason.DECIMAL_SLIP, problem, mend, {"value": value})
            off = row["off"] if row["off"] is not None else 0.0
            if row[INDEX] not in best or off < best[row[INDEX]][0]:
                best[row[INDEX]] = (off, finding)
    return Doubted([finding for _, finding in best.values()])

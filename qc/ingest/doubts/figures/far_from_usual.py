"""A figure far from its place, its card and the tails of its series, which no known slip explains."""

from __future__ import annotations

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.doubts.figures.far import FAR, far_figures
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.plain import FrameRow

ALONE = 12.0
"""Spreads at which a figure with no others of its card beside it is asked about; chosen: a change of a series
shows on such a card just as a slip does, and a change must not be held."""


def find_far_from_usual(facts: Facts, doubted: Doubts) -> Doubted:
    """Find figures that stand alone, whatever made them."""
    found = []
    for row in far_figures(facts, doubted, FAR):
        if row["_near"] is None and not _alone(row):
            continue
        problem = f"{row['serial']} reads {row['text']} {row['unit']} where about {row['usual']:.4g} is usual"
        if row["_near"] is not None:
            problem += " beside the other figures of this card"
        mend = "Look at the card or measure again and type what is right; if it is so, confirm it."
        found.append(Finding(row[INDEX], Reason.FAR_FROM_USUAL, problem, mend))
    return Doubted(found)


def _alone(row: FrameRow) -> bool:
    return bool(row["off"] > ALONE)

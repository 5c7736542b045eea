"""The sign left off: 14 where the place reads -14."""

from __future__ import annotations

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.doubts.figures.far import FAR_WITH_MEND, agrees, far_figures
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.words import unit_words


def find_sign_lost(facts: Facts, doubted: Doubts) -> Doubted:
    """Find figures far from usual that agree with the others once their sign is turned."""
    found = []
    for row in far_figures(facts, doubted, FAR_WITH_MEND):
        turned = -row["value"]
        if not turned or not agrees(row, turned):
            continue
        unit = unit_words(row["unit"])
        problem = f"{row['serial']} reads {row['text']} {unit} where about {row['usual']:.4g} is usual"
        mend = f"If the sign was left off, accept {turned:g}; else confirm the figure."
        found.append(Finding(row[INDEX], Reason.SIGN_LOST, problem, mend, {"value": turned}))
    return Doubted(found)

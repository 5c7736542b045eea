"""The body of an inner tube measured where the stocking was meant.

The stocking is the slightly swollen working end; the body lies about 0.1 mm below it, so the clearance comes
out that much too big on every station of the leg (trade forum on stockings, and common practice).
"""

from __future__ import annotations

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason

BELOW_MM = (0.06, 0.16)
"""How far below the usual stocking a body lies. [mm]"""

LEG = ["_part", "serial", "leg"]


def find_body_for_stocking(facts: Facts, doubted: Doubts) -> Doubted:
    """Find legs whose stocking readings all lie where a body would."""
    if facts.readings.is_empty():
        return Doubted()
    below = pl.col("_center") - pl.col("value")
    stocking = (pl.col("characteristic") == "inner_od") & (pl.col("surface") == "stocking")
    legs = (
        facts.readings.filter(stocking & ~pl.col(INDEX).is_in(list(doubted)) & below.is_not_null())
        .with_columns(below.alias("_below"))
        .with_columns(
            pl.col("_below").is_between(*BELOW_MM).all().over(LEG).alias("_all"),
            (pl.col("_below") > 6 * pl.col("_spread")).all().over(LEG).alias("_clear"),
            pl.len().over(LEG).alias("_n"),
        )
        .filter(pl.col("_all") & pl.col("_clear") & (pl.col("_n") >= 2))
    )
    found = []
    for row in legs.to_dicts():
        problem = (
            f"all {row['_n']} stocking readings of the {row['leg']} leg lie about {row['_below']:.2f} mm "
            "below the usual stocking, where the body is"
        )
        mend = "If the body was measured, accept that; the stocking is then still to be measured."
        found.append(Finding(row[INDEX], Reason.BODY_FOR_STOCKING, problem, mend, {"surface": "body"}))
    return Doubted(found)

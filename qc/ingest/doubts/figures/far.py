"""Finds figures far from their place, from the rest of their card and from the tails of the series."""

from __future__ import annotations

import math
from typing import cast

import polars as pl

from qc.ingest.doubts.facts import Doubts, Facts, scaled
from qc.ingest.frames import INDEX
from qc.plain import FrameRow

FAR = 8.0
"""Spreads from its place, and from where its card lies, at which a figure is asked about; chosen, as the
next two, on drawn workshops whose figures have tails, lots and real changes."""

FAR_WITH_MEND = 5.5
"""The same where a slip of the hand would explain it."""

BEYOND_TAIL = 2.5
"""It must also lie so many times as far off as one in a hundred of the series does."""

BEYOND_WITH_MEND = 2.0
"""The same where a slip of the hand would explain it."""

CLOSE = 2.5
"""The same for a moved point, where another figure of the same digits may be meant; chosen."""

APART = 10.0
"""Spreads of the figures of a card about its middle at which one stands apart: outside the limits, and inside
them where a slip explains it; chosen."""

FEWEST_OTHERS = 4
"""So many other figures of the card say where it lies before one of them is said to stand apart; chosen."""

BEYOND_CARD = 3.0
"""It must also lie so many times as far off as one in a hundred figures lies off the middle of its card."""

WITH_MEND_BEYOND_CARD = 2.5
"""The same where a slip of the hand would explain it."""

NEAR = 3.5
"""Spreads within which a mended figure agrees with its place and card."""


FEW_OTHERS = 3
"""So many other pieces say where a figure lies, as far as which way its point slipped; chosen."""

AROUND = 1.5
"""So many times beyond the least and the greatest of them it may lie then; chosen."""


def far_figures(facts: Facts, doubted: Doubts, spreads: float) -> list[FrameRow]:
    """Return measured figures far from usual that no doubt explains yet.

    Parameters
    ----------
    facts : Facts
        The upload's rows.
    doubted : Doubts
        Rows to leave out.
    spreads : float
        How many spreads are far.

    Returns
    -------
    list of dict
        The rows, with ``usual`` added: the figure one would expect there, in its unit.
    """
    if facts.readings.is_empty():
        return []
    if (far_figures, spreads) not in facts.odd:
        facts.odd[far_figures, spreads] = _far(facts.readings, spreads)
    return [dict(row) for row in facts.odd[far_figures, spreads] if row[INDEX] not in doubted]


def _far(readings: pl.DataFrame, spreads: float) -> list[FrameRow]:
    """Return all of them, in doubt already or not."""
    tails = BEYOND_TAIL if spreads >= FAR else BEYOND_WITH_MEND
    x = scaled(pl.col("value"))
    alone = (x - pl.col("_at")).abs()
    beside = (x - pl.col("_at") - pl.col("_near")).abs()
    off = pl.min_horizontal(alone, pl.coalesce(beside, alone))
    far = (off > spreads * pl.col("_at_spread")) & (off > tails * pl.col("_tail"))
    # a figure that the plan allows is left to the charts, as one that a moved point would explain is
    low, high = pl.col("value") < pl.col("_lower"), pl.col("value") > pl.col("_upper")
    below = x < pl.col("_at") + pl.col("_near").fill_null(0.0)
    far = far & pl.when(below).then(low.fill_null(True)).otherwise(high.fill_null(True))
    apart = (beside > APART * pl.col("_within")) & (beside > BEYOND_CARD * pl.col("_within_tail"))
    barred = pl.when(below).then(low.fill_null(False)).otherwise(high.fill_null(False))
    several = (pl.col("_others") >= FEWEST_OTHERS) & pl.lit(spreads < FAR)
    apart = apart & (several | (barred & (pl.col("_others") >= 2)))
    if spreads < FAR:  # a slip explains it: then a card that says well where it lies is enough
        beyond = beside > WITH_MEND_BEYOND_CARD * pl.col("_within_tail")
        mended = (pl.col("_others") >= FEWEST_OTHERS) & beyond & (beside > spreads * pl.col("_within"))
        apart = apart | (mended & pl.when(below).then(low.fill_null(True)).otherwise(high.fill_null(True)))
    far = far.fill_null(False) | apart.fill_null(False)
    rows = readings.filter((pl.col("_kind") == "measured") & far.fill_null(False))
    expected = pl.col("_at") + pl.col("_near").fill_null(0.0)
    usual = pl.when("_log").then(expected.exp()).otherwise(expected)
    spread = off / pl.col("_at_spread")
    return rows.with_columns(usual.alias("usual"), spread.alias("off"), x.alias("_scaled")).to_dicts()


def like_the_few(facts: Facts, row: FrameRow, value: float) -> bool | None:
    """Tell whether a figure is like the few others on record, None where they are too few to say.

    While they are few the plan's target stands for what is usual; it may be nought where no piece comes near.
    """
    same = (pl.col("stage") == row["stage"]) & (pl.col("characteristic") == row["characteristic"])
    other = same & (pl.col("serial") != row["serial"]) & (pl.col("value") > 0)
    few = pl.concat([f.filter(other).select("serial", "value") for f in (facts.known.past, facts.readings)])
    if few["serial"].n_unique() < FEW_OTHERS:
        return None
    least, most = (float(cast(float, edge)) for edge in (few["value"].min(), few["value"].max()))
    return least / AROUND <= value <= AROUND * most


def beside_others(row: FrameRow, value: float) -> bool:
    """Tell whether a figure agrees with its place and card, as far as anything is known of them."""
    return row["_at"] is None or row["_near"] is None or agrees(row, value, CLOSE)


def agrees(row: FrameRow, value: float, spreads: float = NEAR) -> bool:
    """Tell whether a figure would agree with its place and the other figures of its card."""
    if row["_log"] and value <= 0:
        return False
    x = math.log(value) if row["_log"] else value
    expected = row["_at"] + (row["_near"] or 0.0)
    allowed = spreads * row["_at_spread"]
    if row["_near"] is not None and row["_within"] is not None:
        # the others of the card say more than the series does
        allowed = min(allowed, CLOSE * row["_within"], max(row["_within_tail"], row["_within"]))
    return bool(abs(x - expected) <= allowed)

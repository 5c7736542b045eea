"""Two figures of one row in each other's column: an outside diameter under the bore and the bore there."""

from __future__ import annotations

import math

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts, distance
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.plain import FrameRow
from qc.words import unit_words

FAR = 6.0
"""Spreads from the usual figure at which a figure is not one of its column; chosen."""

FAR_OUTSIDE = 3.0
"""The same for a figure that the plan does not allow in its column; chosen."""

NEAR = 4.0
"""Spreads from the other column's usual figure within which it is one of that; chosen."""

LINE = ["_part", "row", "serial", "stage"]


def find_columns_swapped(facts: Facts, doubted: Doubts) -> Doubted:
    """Find rows in which each of two figures is usual in the other's column and far off in its own."""
    if facts.readings.is_empty():
        return Doubted()
    usable = facts.readings.filter(
        (pl.col("_kind") == "measured")
        & pl.col("value").is_not_null()
        & pl.col("_center").is_not_null()
        & (pl.col("_spread") > 0)
        & (pl.col("serial") != "")
    ).with_columns(distance(pl.col("value")).alias("_off"))
    value = pl.col("value")
    outside = ((value < pl.col("_lower")) | (value > pl.col("_upper"))).fill_null(False)
    # only a line with two figures far off can hold such a pair
    usable = usable.filter((pl.col("_off") > FAR) | (outside & (pl.col("_off") > FAR_OUTSIDE))).filter(
        pl.len().over(LINE) > 1
    )
    found = []
    for _, group in usable.group_by(LINE, maintain_order=True):
        rows = group.to_dicts()
        for one in rows:
            fits = [two for two in rows if two is not one and _swapped(one, two)]
            if len(fits) == 1:
                found.append(_finding(one, fits[0]))
    return Doubted(found)


def _swapped(one: FrameRow, two: FrameRow) -> bool:
    return _fits(one["value"], two) and _fits(two["value"], one)


def _fits(value: float, row: FrameRow) -> bool:
    # the plan's limits speak too: a spread on record may be narrow while the level is new
    lower, upper = row["_lower"], row["_upper"]
    inside = lower is not None and upper is not None and lower <= value <= upper
    if row["_log"] and value <= 0:
        return False
    x = math.log(value) if row["_log"] else value
    return inside or bool(abs(x - row["_center"]) <= NEAR * row["_spread"])


def _finding(one: FrameRow, two: FrameRow) -> Finding:
    value = two["value"]
    unit = unit_words(one["unit"])
    problem = (
        f"{one['serial']} has {one['text']} {unit} under {one['characteristic']} and {two['text']} "
        f"{unit_words(two['unit'])} under {two['characteristic']}: each is usual in the other column"
    )
    mend = f"If the two were changed over, accept {value:g} {unit}; else confirm the figure."
    return Finding(one[INDEX], Reason.COLUMNS_SWAPPED, problem, mend, {"value": value})

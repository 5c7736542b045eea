"""A figure far from its place, its card and the tails of its series, which no known slip explains."""

from __future__ import annotations

from collections.abc import Collection

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts, finer_than_gauge, rounded, scaled
from qc.ingest.doubts.figures.far import FAR, far_figures, like_the_few
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.plain import FrameRow
from qc.words import unit_words

ALONE = 12.0
"""Spreads at which a figure with no others of its card beside it is asked about; chosen: a change of a series
shows on such a card just as a slip does, and a change must not be held."""

SEVERAL_SPREADS = 4.0
"""So far off, a figure that another stage of the piece shows is asked about; chosen."""


TELLING = 3
"""So many digits of a figure do not fall on those of another stage by chance; chosen."""

SHORT_SPREADS = 6.0
"""So far off must a figure of fewer digits be: in tails 21 is soon that of another stage too; chosen."""


def find_far_from_usual(facts: Facts, doubted: Doubts) -> Doubted:
    """Find figures that stand alone, whatever made them."""
    found = []
    told: set[int] = set()
    for row in far_figures(facts, doubted, FAR):
        if row["_near"] is None and not _alone(row):
            continue
        told.add(row[INDEX])
        usual = f"where about {row['usual']:.4g} is usual"
        if row["_near"] is not None:
            usual += " beside the other figures of this card"
        elif row["_by_plan"]:
            usual = f"where the plan aims at {row['usual']:.4g}"
        unit = unit_words(row["unit"])
        problem = f"{row['serial']} reads {row['text']} {unit} {usual}"
        meant = _moved_point(row, facts) if row["_by_plan"] else None
        if meant is None:
            mend = "Look at the card or measure again and type what is right; if it is so, confirm it."
            found.append(Finding(row[INDEX], Reason.FAR_FROM_USUAL, problem, mend))
        else:
            mend = f"If the decimal point slipped, accept {meant:g}; else type the figure on the card."
            found.append(Finding(row[INDEX], Reason.DECIMAL_SLIP, problem, mend, {"value": meant}))
    return Doubted([*found, *_of_another_stage(facts, {*doubted, *told})])


def _of_another_stage(facts: Facts, left_out: Collection[int]) -> list[Finding]:
    """Find figures outside the plan that stand, to the last digit, at another stage of the same piece."""
    if facts.readings.is_empty():
        return []
    value = pl.col("value")
    outside = ((value < pl.col("_lower")) | (value > pl.col("_upper"))).fill_null(False)
    off = (scaled(value) - pl.col("_at")).abs()
    rows = facts.readings.with_columns(_far=off / pl.col("_at_spread")).filter(
        (pl.col("_kind") == "measured")
        & outside
        & (pl.col("_far") > SEVERAL_SPREADS).fill_null(False)
        & ~pl.col(INDEX).is_in(list(left_out))
    )
    if rows.is_empty():
        return []
    columns = ["serial", "stage", "characteristic", "unit", "value"]
    every = pl.concat(
        [facts.known.past.select(columns), facts.readings.select(columns)], how="vertical_relaxed"
    ).unique()
    found = []
    for row in rows.to_dicts():
        digits = sum(sign.isdigit() for sign in row["text"].lstrip("+-−0.,"))
        if digits < TELLING and row["_far"] <= SHORT_SPREADS:
            continue
        same = every.filter(
            (pl.col("serial") == row["serial"])
            & (pl.col("unit") == row["unit"])
            & (pl.col("value") == row["value"])
            & ((pl.col("stage") != row["stage"]) | (pl.col("characteristic") != row["characteristic"]))
        )
        if same.is_empty():
            continue
        other = facts.plan.characteristic(same["stage"][0], same["characteristic"][0])
        name = other.name if other is not None else same["characteristic"][0]
        unit = unit_words(row["unit"])
        problem = f"{row['serial']} reads {row['text']} {unit} here, and so does its {name}"
        mend = "Look whether the figure belongs there and measure this one; if both read so, confirm it."
        found.append(Finding(row[INDEX], Reason.FAR_FROM_USUAL, problem, mend))
    return found


def _moved_point(row: FrameRow, facts: Facts) -> float | None:
    """Return what a figure is with its point moved by one place, where the few others known are like that."""
    for times in (0.1, 10.0):
        value = rounded(times * row["value"], None)
        low, high = row["_lower"], row["_upper"]
        inside = (low is None or value >= low) and (high is None or value <= high)
        if inside and not finer_than_gauge(value, row["_step"]) and like_the_few(facts, row, value):
            return value
    return None


def _alone(row: FrameRow) -> bool:
    return bool(row["off"] > ALONE)

"""A figure that is out of the question for its own model and just right for another one."""

from __future__ import annotations

from datetime import date
from math import inf

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts, distance
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.plain import FrameRow
from qc.plan import Plan
from qc.words import unit_words

FAR = 6.0
"""Spreads from what its own model shows, besides lying outside its limits; chosen."""


def find_other_model(facts: Facts, doubted: Doubts) -> Doubted:
    """Find figures outside their model's limits that lie within another model's."""
    if facts.readings.is_empty():
        return Doubted()
    value = pl.col("value")
    outside = (value < pl.col("_lower")) | (value > pl.col("_upper"))
    rows = facts.readings.filter(
        (pl.col("_kind") == "measured")
        & outside.fill_null(False)
        & (distance(value) > FAR).fill_null(False)
        & ~pl.col(INDEX).is_in(list(doubted))
    )
    found = []
    for row in rows.to_dicts():
        other = _fitting(row, facts.plan)
        if other is None:
            continue
        unit = unit_words(row["unit"])
        reads = f"{row['text']} {unit}"
        problem = f"{row['serial']} is {row['model']} and reads {reads}, which is a figure of {other}"
        mend = "Look at the serial, the model and the figure, and type what is right; else confirm it."
        found.append(Finding(row[INDEX], Reason.OTHER_MODEL, problem, mend))
    return Doubted(found)


def _fitting(row: FrameRow, plan: Plan) -> str | None:
    """Return a model whose limits at the row's place, apart from those of its own model, hold the figure."""
    characteristic = plan.characteristic(row["stage"], row["characteristic"])
    if characteristic is None:
        return None
    for model in plan.models:
        limits = plan.usual_limits_at(characteristic, model.id, row["day"] or date.max, row)
        if model.id == row["model"] or limits.lower is None or limits.upper is None:
            continue
        # models whose limits overlap are not told apart by one figure
        if not (
            limits.upper < (row["_lower"] if row["_lower"] is not None else -inf)
            or limits.lower > (row["_upper"] if row["_upper"] is not None else inf)
        ):
            continue
        if limits.lower <= row["value"] <= limits.upper:
            return model.id
    return None

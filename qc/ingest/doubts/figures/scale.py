"""Finds figures that are out of the question as they stand and quite usual after one multiplication."""

from __future__ import annotations

import polars as pl

from qc.ingest.doubts.facts import Facts, distance, usual_value
from qc.ingest.doubts.figures.far import like_the_few
from qc.plain import FrameRow

FAR = 6.0
"""Spreads from the usual figure at which one that also breaks the plan's limits is out of the question.
Chosen, as the next three: a slip by a factor of two or more lies far beyond it, a bad piece hardly ever
does."""

FARTHER = 8.0
"""The same where the plan has no limit on that side."""

ABOUT_ZERO = 5.0
"""A usual figure within so many spreads of zero is a deviation, not a size."""

FARTHEST = 20.0
"""Spreads from the usual figure at which a deviation is out of the question too. Chosen: a size whose level
has just moved looks like a deviation for a while, and ten times of it went in unasked."""

NEAR = 4.0
"""Spreads from the usual figure within which a multiplied figure counts as usual."""


def scaled_fits(
    facts: Facts, factor: float, only: pl.Expr | None = None, *, below_step: bool = False
) -> list[FrameRow]:
    """Return the rows whose figure is out of the question, and usual when multiplied.

    Parameters
    ----------
    facts : Facts
        The upload's rows.
    factor : float
        What the figure is multiplied by.
    only : Expr, optional
        Which rows come into question.
    below_step : bool
        A figure smaller than half of what its gauge can tell apart is out of the question too.

    Returns
    -------
    list of dict
        The rows, with ``scaled`` (the multiplied figure), ``usual``, and ``off`` (how many spreads the
        multiplied figure lies from the usual one, None where nothing is known) added.
    """
    if facts.readings.is_empty() or (rows := _out_of_the_question(facts)).is_empty():
        return []
    times = pl.col("value") * factor
    asked = pl.col("_senseless") if not below_step else pl.lit(True)
    rows = rows.filter(asked & (only if only is not None else pl.lit(True)) & _possible(times))
    # what is meant must be much nearer to what is usual than what was typed
    nearer = (2 * distance(times) < distance(pl.col("value"))).fill_null(True)
    rows = rows.filter(nearer).drop("_senseless")
    found = []
    for row in rows.with_columns(times.alias("scaled"), distance(times).alias("off")).to_dicts():
        row["usual"] = usual_value(row)
        if not (row["_by_plan"] and like_the_few(facts, row, row["scaled"]) is False):
            found.append(row)
    return found


def _out_of_the_question(facts: Facts) -> pl.DataFrame:
    """Return measured figures that cannot stay (marked so) or that are too small for their gauge.

    What they are multiplied by does not matter here, and mostly there are none.
    """
    if "scale" not in facts.odd:
        value = pl.col("value")
        tiny = ((value > 0) & (value < pl.col("_step") / 2)).fill_null(False)
        marked = facts.readings.filter(pl.col("_kind") == "measured").with_columns(
            _impossible(value).alias("_senseless")
        )
        facts.odd["scale"] = marked.filter(pl.col("_senseless") | tiny)
    found: pl.DataFrame = facts.odd["scale"]
    return found


def _impossible(value: pl.Expr) -> pl.Expr:
    low_side = scaled_below(value)
    limit = pl.when(low_side).then(pl.col("_lower")).otherwise(pl.col("_upper"))
    beyond = pl.when(low_side).then(value < limit).otherwise(value > limit)
    # A positive figure that fell to nothing has no logarithm: it is as far away as can be.
    far = distance(value).fill_null(pl.when(pl.col("_log") & (value <= 0)).then(99.0))
    out = pl.when(limit.is_null()).then(far > FARTHER).otherwise(beyond & (far > FAR)).fill_null(False)
    # A figure that is a deviation can be anything near zero: ten times a small one says nothing.
    about_zero = (~pl.col("_log") & (pl.col("_center").abs() < ABOUT_ZERO * pl.col("_spread"))).fill_null(
        False
    )
    # What cannot be is held by its rule anyhow: here it is only a question of what to offer.
    senseless = ~value.is_between(pl.col("_sensible_low"), pl.col("_sensible_high")).fill_null(True)
    return senseless | (out & (~about_zero | (far > FARTHEST).fill_null(False)))


def _possible(value: pl.Expr) -> pl.Expr:
    inside = value.is_between(pl.col("_lower"), pl.col("_upper"))
    can_be = value.is_between(pl.col("_sensible_low"), pl.col("_sensible_high")).fill_null(True)
    return can_be & ((distance(value) <= NEAR).fill_null(False) | inside.fill_null(False))


def scaled_below(value: pl.Expr) -> pl.Expr:
    """Tell whether a figure lies below the usual one."""
    center = pl.when("_log").then(pl.col("_center").exp()).otherwise(pl.col("_center"))
    return value < center

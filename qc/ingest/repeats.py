"""Numbers repeated readings at one place where the sheet has no column for it."""

from __future__ import annotations

import polars as pl

from qc.plan import PLACE

PIECE = ["serial", "stage", "characteristic", "gauge", "day"]
AT = [*PIECE, *PLACE]


def number_repeats(readings: pl.DataFrame) -> pl.DataFrame:
    """Fill `repeat` where it was not typed.

    A card on which every place of a piece (two places or more) was read the same number of times, with
    readings that differ, is a card of repeats: they are numbered in order. Anything else is left at 1, so
    that a row typed twice is not taken for a second measurement.

    Parameters
    ----------
    readings : DataFrame
        Unfolded readings of one sheet.

    Returns
    -------
    DataFrame
        The same rows with `repeat` filled.
    """
    if readings.is_empty() or not readings["repeat"].is_null().any():
        return readings
    at, piece = AT, PIECE
    counted = readings.with_columns(
        pl.len().over(at).alias("_times"),
        pl.int_range(1, pl.len() + 1).over(at).alias("_turn"),
        (pl.col("text").n_unique() > 1).over(at).alias("_differ"),
        pl.struct(list(PLACE)).n_unique().over(piece).alias("_places"),
    ).with_columns(
        (
            (pl.col("_times").min().over(piece) == pl.col("_times").max().over(piece))
            & (pl.col("_times") > 1)
            & (pl.col("_places") > 1)
            & pl.col("_differ").any().over(piece)
        ).alias("_design")
    )
    turn = pl.when("_design").then(pl.col("_turn")).otherwise(1)
    filled = counted.with_columns(pl.coalesce(pl.col("repeat"), turn).cast(pl.Int64).alias("repeat"))
    return filled.select(readings.columns)

"""Puts beside each figure what its own place usually shows, and what the other figures of its card show.

The record and the upload are looked at together, so that a figure is judged the same whether the sheets come
in one by one or all at once.
"""

from __future__ import annotations

import polars as pl

from qc.ingest.known import SPREAD_OF_MAD
from qc.plan import PLACE

FINE = ["stage", "characteristic", "model", "surface", "valve", "partial", "station", "area"]
"""What has a level of its own."""

COARSE = ["stage", "characteristic", "model"]
CARD = ["_part", "serial", "stage", "characteristic", "day"]

BESIDE = ["_at", "_at_spread", "_tail", "_near", "_n", "_others", "_within", "_within_tail"]
"""``_at`` and ``_at_spread``: the median of its place and the robust spread about it; ``_tail``: what one
figure in a hundred of the series lies off its place; ``_near``: how far the other figures of the card lie off
their places, by their median, null where there are fewer than two; ``_n``: figures of the series looked at;
``_others``: other figures of the card; ``_within`` and ``_within_tail``: the robust spread of the figures of
a card about its middle, and what one in a hundred of them lies off it. On the scale of `scaled`, but for
numbers of figures."""

TOLD = 12
"""So many figures of a series say how far its tails reach; chosen."""

PIECES = 8
"""They come from so many pieces at least; chosen."""


def beside_place(frame: pl.DataFrame, past: pl.DataFrame) -> pl.DataFrame:
    """Add the columns `BESIDE`.

    Parameters
    ----------
    frame : DataFrame
        The upload's readings with ``_x`` (the figure on its scale, null where it cannot be used), ``_log``
        and ``_step``.
    past : DataFrame
        READING columns of what is on record.

    Returns
    -------
    DataFrame
        The same rows in the same order; null where too little is known.
    """
    every = pl.concat([frame.select(*FINE, "serial", "day", "_x"), _on_scale(frame, past)])
    every = every.filter(pl.col("_x").is_not_null()).with_columns(
        pl.col("_x").median().over(FINE).alias("_at"), pl.len().over(FINE).alias("_here")
    )
    every = every.with_columns((pl.col("_x") - pl.col("_at")).abs().alias("_off"))
    places = every.group_by(FINE).agg(pl.col("_at").first(), pl.col("_here").first())
    series = every.group_by(COARSE).agg(
        (pl.col("_off").median() * SPREAD_OF_MAD).alias("_at_spread"),
        pl.col("_off").quantile(0.99, interpolation="lower").alias("_tail"),
        pl.len().alias("_n"),
        pl.col("serial").n_unique().alias("_pieces"),
    )
    within = _within(every, frame)
    told = (pl.col("_n") >= TOLD) & (pl.col("_pieces") >= PIECES)
    floor = pl.when("_log").then(0.10).otherwise(pl.col("_step").fill_null(0.0))
    joined = (
        frame.join(
            places.filter(pl.col("_here") >= PIECES),
            on=FINE,
            how="left",
            nulls_equal=True,
            maintain_order="left",
        )
        .join(series.filter(told), on=COARSE, how="left", nulls_equal=True, maintain_order="left")
        .join(within, on=COARSE, how="left", nulls_equal=True, maintain_order="left")
        .with_columns(
            pl.max_horizontal("_at_spread", floor).alias("_at_spread"),
            pl.when(pl.col("_within").is_not_null())
            .then(pl.max_horizontal("_within", floor / 2))
            .alias("_within"),
        )
        .with_columns(pl.when(pl.col("_n").is_not_null()).then("_at").alias("_at"))
    )
    return _with_near(_from_plan(joined))


def _within(every: pl.DataFrame, frame: pl.DataFrame) -> pl.DataFrame:
    """Return how far the figures of a card lie from their middle, for each series with enough such cards."""
    card = ["serial", "stage", "characteristic", "day"]
    off = (pl.col("_x") - pl.col("_at")).alias("_r")
    cards = every.with_columns(off, pl.len().over(card).alias("_size")).filter(pl.col("_size") >= 3)
    apart = (pl.col("_r") - pl.col("_r").median().over(card)).abs().alias("_w")
    series = (
        cards.with_columns(apart)
        .group_by(COARSE)
        .agg(
            (pl.col("_w").filter(pl.col("_w") > 0).median() * SPREAD_OF_MAD).alias("_within"),
            pl.col("_w").quantile(0.99, interpolation="lower").alias("_within_tail"),
            pl.col("serial").n_unique().alias("_cards"),
        )
    )
    return series.filter(pl.col("_cards") >= PIECES).drop("_cards")


def _from_plan(frame: pl.DataFrame) -> pl.DataFrame:
    """Take the usual figure of the model where a figure has no places and too few pieces to say more."""
    plain = pl.all_horizontal(pl.col(name).cast(pl.String).fill_null("") == "" for name in PLACE)
    bare = plain & pl.col("_at").is_null() & ~pl.col("_log") & (pl.col("_spread") > 0)
    width = pl.max_horizontal(
        (pl.col("_upper") - pl.col("_center")).abs(), (pl.col("_lower") - pl.col("_center")).abs()
    )
    bare = (bare & width.is_not_null()).fill_null(False)
    return frame.with_columns(
        pl.when(bare).then("_center").otherwise("_at").alias("_at"),
        pl.when(bare).then("_spread").otherwise("_at_spread").alias("_at_spread"),
        pl.when(bare).then(width / 2).otherwise("_tail").alias("_tail"),
    )


def _on_scale(frame: pl.DataFrame, past: pl.DataFrame) -> pl.DataFrame:
    # the record has the plan's scale of each figure that the upload has; others are not needed
    scale = frame.select("stage", "characteristic", "_log").unique(["stage", "characteristic"])
    kept = past.join(scale, on=["stage", "characteristic"], how="inner")
    value = pl.col("value")
    x = pl.when("_log").then(pl.when(value > 0).then(value).log()).otherwise(value)
    return kept.select(
        *(pl.col(name).cast(frame.schema[name]) for name in FINE),
        "serial",
        pl.col("day").cast(frame.schema["day"]),
        x.alias("_x"),
    )


def _with_near(frame: pl.DataFrame) -> pl.DataFrame:
    """Add the median distance of the other figures of the card from their places."""
    off = frame["_x"] - frame["_at"]
    near: list[float | None] = [None] * frame.height
    groups = frame.select(CARD).with_row_index("_row").with_columns(off.alias("_r"))
    known = groups.filter(pl.col("_r").is_not_null())
    cards = known.group_by(CARD, maintain_order=True).agg("_row", "_r")
    for rows, values in cards.select("_row", "_r").iter_rows():
        if len(rows) < 3:
            continue
        ordered = sorted(values)
        for row, value in zip(rows, values, strict=True):
            near[row] = _median_without(ordered, value)
    # a figure that cannot be used itself is weighed against the whole card
    whole = groups.group_by(CARD).agg(pl.col("_r").median().alias("_whole"), pl.col("_r").count().alias("_k"))
    filled = frame.with_columns(pl.Series("_near", near, dtype=pl.Float64)).join(
        whole, on=CARD, how="left", nulls_equal=True, maintain_order="left"
    )
    usable = pl.when(off.is_null() & (pl.col("_k") >= 2)).then("_whole")
    others = pl.col("_k").fill_null(0) - off.is_not_null().cast(pl.Int64)
    return filled.with_columns(pl.coalesce("_near", usable).alias("_near"), others.alias("_others"))


def _median_without(ordered: list[float], value: float) -> float:
    rest = list(ordered)
    rest.remove(value)
    middle = len(rest) // 2
    return rest[middle] if len(rest) % 2 else (rest[middle - 1] + rest[middle]) / 2

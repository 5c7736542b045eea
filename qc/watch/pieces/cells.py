"""What a piece measures at each place as it is now, with the limits of that place and what its gauge adds."""

from __future__ import annotations

from datetime import date

import polars as pl

from qc.plan import PLACE, Characteristic, DatedLimits, Gauge, Plan, Stage
from qc.stats import guard_band
from qc.watch.series import derived_readings
from qc.words import IN_UNIT

LAST_BITS = 1e-9
"""A figure over its limit by less than this share of it is on it: 14.050 - 13.850 is no 0.2 in binary."""

TOLD = ("gauge", "tool", "batch", "person")
"""What is kept of the cards a figure stands on; several values are joined by `` + ``."""

PLAIN = {"clearance"}
"""Derived figures in which the spreads of their gauges add up as squares; a fit of notes weighs them anew."""


def cells_of(
    readings: pl.DataFrame, plan: Plan, stage: Stage, characteristic: Characteristic
) -> pl.DataFrame:
    """Return one row for each place of each piece: `value`, `lower`, `upper`, `target`, `margin`, `guard`.

    Parameters
    ----------
    readings : polars.DataFrame
        Rows of the tidy table that hold at least the readings the figure is made of.
    plan, stage, characteristic
        Which figure.

    Returns
    -------
    polars.DataFrame
        Of a place read on several days only the newest counts: that is what the piece is now. Readings of
        one day are averaged, and counts added up over the whole piece. `margin` is how far inside the nearer
        limit a figure lies, negative outside, null without limits; `guard` is what ISO 14253-1 takes off a
        limit, null where the spread of its gauge is not known; `step` is what its gauge shows, null for a
        figure that is computed. [unit of the figure]
    """
    newest = pl.col("day") == pl.col("day").max().over("serial", "characteristic", *PLACE)
    own = derived_readings(readings.filter(newest), plan, stage, characteristic)
    own = own.filter(pl.col("value").is_finite(), pl.col("serial").is_not_null())
    counted = characteristic.kind == "count"
    places = [] if counted else list(PLACE)
    words = [pl.col(name).drop_nulls().unique(maintain_order=True).str.join(" + ") for name in TOLD]
    cells = own.group_by("serial", *places, maintain_order=True).agg(
        pl.col("value").sum() if counted else pl.col("value").mean(),
        pl.col("model").drop_nulls().first(),
        pl.col("day").max(),
        *words,
    )
    if counted:
        cells = cells.with_columns(pl.lit(None, readings.schema[name]).alias(name) for name in PLACE)
    guarded = _guarded(_limited(cells, plan, characteristic), plan, characteristic)
    return _stepped(guarded, plan, characteristic)


def with_margin(cells: pl.DataFrame) -> pl.DataFrame:
    """Add how far inside the nearer limit each value lies; on a limit, to the last bits, is 0."""
    near = pl.min_horizontal(pl.col("value") - pl.col("lower"), pl.col("upper") - pl.col("value"))
    slack = LAST_BITS * pl.max_horizontal(pl.col("lower").abs(), pl.col("upper").abs())
    return cells.with_columns(margin=pl.when(near.abs() <= slack).then(0.0).otherwise(near))


def _limited(cells: pl.DataFrame, plan: Plan, characteristic: Characteristic) -> pl.DataFrame:
    """Join the limits of each place, asked once for each model, stretch of days and named place."""
    turns = sorted({entry.since for entry in characteristic.limits if entry.since is not None})
    named = sorted({part for entry in characteristic.limits for part in entry.at})
    passed = pl.sum_horizontal([pl.lit(0), *((pl.col("day") >= turn).cast(pl.Int32) for turn in turns)])
    cells = cells.with_columns(turn=passed.cast(pl.Int32))
    keys = ["model", "turn", *named]
    asked = cells.select(keys).unique(maintain_order=True)
    found = [_limits(plan, characteristic, row, turns) for row in asked.iter_rows(named=True)]
    kinds = {"lower": pl.Float64, "upper": pl.Float64, "target": pl.Float64}
    figures = [(one.lower, one.upper, one.target) for one in found]
    limits = asked.hstack(pl.DataFrame(figures, schema=kinds, orient="row"))
    joined = cells.join(limits, on=keys, how="left", nulls_equal=True, maintain_order="left")
    return with_margin(joined.drop("turn"))


def _limits(
    plan: Plan, characteristic: Characteristic, row: dict[str, object], turns: list[date]
) -> DatedLimits:
    turn = int(str(row["turn"]))
    day = turns[turn - 1] if turn else date.min
    return plan.limits_at(characteristic, str(row["model"] or ""), day, row)


def _guarded(cells: pl.DataFrame, plan: Plan, characteristic: Characteristic) -> pl.DataFrame:
    derive = characteristic.derive
    known = {}
    if characteristic.kind == "measured" and (derive is None or derive.what in PLAIN):
        known = {words: _guard(plan, characteristic, words) for words in cells["gauge"].unique().drop_nulls()}
    given = {words: width for words, width in known.items() if width is not None}
    guard = pl.col("gauge").replace_strict(given, default=None, return_dtype=pl.Float64)
    return cells.with_columns(guard=guard if given else pl.lit(None, pl.Float64))


def _stepped(cells: pl.DataFrame, plan: Plan, characteristic: Characteristic) -> pl.DataFrame:
    found = {}
    if characteristic.derive is None and characteristic.kind == "measured":
        names = cells["gauge"].unique().fill_null("")
        found = {words: _step(plan, characteristic, words) for words in names}
    given = {words: step for words, step in found.items() if step is not None}
    step = pl.col("gauge").fill_null("").replace_strict(given, default=None, return_dtype=pl.Float64)
    return cells.with_columns(step=step if given else pl.lit(None, pl.Float64))


def _step(plan: Plan, characteristic: Characteristic, words: str) -> float | None:
    """Return the finest step of the gauges named, what the plan says of the figure where none is known."""
    steps = []
    for name in filter(None, words.split(" + ")):
        gauge = plan.gauge(name)
        scale = _scale(gauge, characteristic) if gauge else None
        if gauge and scale is not None:
            steps.append(gauge.resolution * scale)
    return min(steps, default=characteristic.resolution)


def _scale(gauge: Gauge, characteristic: Characteristic) -> float | None:
    """Return what turns the unit of a gauge into that of a figure, None where nothing does."""
    return 1.0 if gauge.unit == characteristic.unit else IN_UNIT.get((gauge.unit, characteristic.unit))


def _guard(plan: Plan, characteristic: Characteristic, words: str) -> float | None:
    """Return the uncertainty of what these gauges read together, None where a spread is not known."""
    squares = 0.0
    for name in words.split(" + "):
        gauge = plan.gauge(name)
        if gauge is None or gauge.spread is None:
            return None
        scale = _scale(gauge, characteristic)
        if scale is None:
            return None
        squares += (gauge.spread * scale) ** 2
    return guard_band(lower=0.0, gauge_sd=squares**0.5).uncertainty if squares else None

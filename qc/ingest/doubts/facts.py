"""What every doubt looks at: the upload's rows beside what is usual for each of them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import polars as pl

from qc.ingest.doubts.beside import BESIDE, FINE, beside_place
from qc.ingest.known import SPREAD_OF_MAD, Known
from qc.ingest.reasons import Finding, Reason
from qc.plain import FrameRow
from qc.plan import Characteristic, Plan

ENOUGH = 12
"""So many readings of its own kind say better what is usual than the plan's target does. Chosen: the median
of twelve is good to about a third of a spread (1.25 / root 12 of a normal figure)."""

PIECES = 4
"""They must come from so many pieces, so that one that is off does not become its own measure."""

COARSE = ["stage", "characteristic", "model", "surface", "valve", "partial"]
SOURCES = ("fine", "coarse", "record")
"""Where what is usual may come from, before the plan's target is taken for it."""

_PLAN = ("_target", "_lower", "_upper")
_SENSIBLE = ("_sensible_low", "_sensible_high")


@dataclass(frozen=True, slots=True)
class Facts:
    """The rows of one upload with what is usual for them.

    Attributes
    ----------
    readings : DataFrame
        Readings with origin, and for each row: ``_kind``, ``_diameter``, ``_clearance`` (bool),
        ``_step`` (resolution), ``_target``, ``_lower``, ``_upper`` (plan), ``_center`` and ``_spread`` (usual
        figure and its spread, null where nothing is known), ``_log`` (both are of logarithms),
        ``_sensible_low`` and ``_sensible_high``, and the columns `BESIDE`.
    events : DataFrame
        Events with origin.
    plan, known : Plan, Known
        What was planned and what is on record.
    records : dict
        What `gather_record` brought together for the doubts asked before, by the rows in doubt by then.
    odd : dict
        The few figures that several doubts ask about, found once: out of the question, or far from usual.
    """

    readings: pl.DataFrame
    events: pl.DataFrame
    plan: Plan
    known: Known
    records: dict[frozenset[int], Any] = field(default_factory=dict, repr=False, compare=False)
    odd: dict[object, Any] = field(default_factory=dict, repr=False, compare=False)


Doubts = Mapping[int, frozenset[Reason]]
"""Readings that failed a rule or were doubted already, by index, with the reasons so far."""


@dataclass(frozen=True, slots=True)
class Doubted:
    """What one doubt found in readings and in events."""

    readings: Sequence[Finding] = field(default_factory=list)
    events: Sequence[Finding] = field(default_factory=list)


def gather_facts(readings: pl.DataFrame, events: pl.DataFrame, plan: Plan, known: Known) -> Facts:
    """Put beside each reading what is usual for it.

    The usual figure is the median of the readings of the same characteristic, model and place, in the upload
    and on record, with their median absolute deviation as spread; where there are too few, of the same
    characteristic and model; else what the store knows; else the plan's target with an eighth of its limits'
    width.

    Parameters
    ----------
    readings, events : DataFrame
        Unfolded rows of the upload.
    plan : Plan
        The measuring plan.
    known : Known
        What the store knows.

    Returns
    -------
    Facts
    """
    if readings.is_empty():
        return Facts(readings, events, plan, known)
    keys = ["stage", "characteristic", "model", "day", *_ruling_places(plan)]
    planned = _planned(readings, plan, keys)
    frame = readings.join(planned, on=keys, how="left", nulls_equal=True, maintain_order="left")
    usable = pl.when(_is_usable()).then(_scaled("value"))
    frame = frame.with_columns(usable.alias("_x"))
    for name, keys in (("_fine", FINE), ("_coarse", COARSE)):
        frame = _with_group(frame, known.past, keys, name)
    on_record = ["stage", "characteristic", "model"]
    frame = frame.join(_on_record(known), on=on_record, how="left", maintain_order="left")
    # On the logarithmic scale a spread is relative to the median.
    center, spread = pl.col("_record_center"), pl.col("_record_spread")
    frame = frame.with_columns(
        pl.when("_log")
        .then(pl.when(center > 0).then(center).log())
        .otherwise(center)
        .alias("_record_center"),
        pl.when("_log")
        .then(pl.when(center > 0).then(spread / center))
        .otherwise(spread)
        .alias("_record_spread"),
    )
    frame = frame.with_columns(
        _first("center", "_target_x").alias("_center"), _first("spread", "_target_spread").alias("_spread")
    )
    pooled = _over_models(frame, known)
    frame = frame.join(pooled, on=["stage", "characteristic"], how="left", maintain_order="left")
    unknown = pl.col("_center").is_null() & pl.col("_pooled")
    frame = frame.with_columns(
        pl.when(unknown).then("_any_center").otherwise("_center").alias("_center"),
        pl.when(unknown).then("_any_spread").otherwise("_spread").alias("_spread"),
        _by_plan=pl.all_horizontal(pl.col(f"_{source}_center").is_null() for source in SOURCES) & ~unknown,
    )
    # Never narrower than the gauge can tell apart: coarse readings often have no spread at all.
    floor = pl.when("_log").then(0.10).otherwise(pl.col("_step").fill_null(0.0))
    frame = frame.with_columns(pl.max_horizontal("_spread", floor).alias("_spread"))
    frame = beside_place(frame, known.past)
    extra = ["_kind", "_diameter", "_clearance", "_step", "_log", *_PLAN, *_SENSIBLE, "_center", "_spread"]
    extra += ["_by_plan", *BESIDE]
    return Facts(frame.select([*readings.columns, *extra]), events, plan, known)


def scaled(value: pl.Expr) -> pl.Expr:
    """Return a figure on the scale its spread is given in: its logarithm where `_log` says so."""
    return pl.when("_log").then(pl.when(value > 0).then(value).log()).otherwise(value)


def distance(value: pl.Expr) -> pl.Expr:
    """Return how many spreads a figure lies from the usual one; null where nothing is known."""
    return (scaled(value) - pl.col("_center")).abs() / pl.col("_spread")


def usual_value(row: FrameRow) -> float | None:
    """Return the usual figure of a row in its own unit."""
    center = row["_center"]
    if center is None:
        return None
    return math.exp(center) if row["_log"] else float(center)


def rounded(value: float, step: float | None) -> float:
    """Return a figure with as many digits as its gauge has.

    Examples
    --------
    >>> rounded(0.5532 * 25.4, 0.001), rounded(140.52 / 10, None)
    (14.051, 14.052)
    """
    if step:
        value = round(value / step) * step
    return float(f"{value:.9g}")


def finer_than_gauge(value: float, step: float | None) -> bool:
    """Tell whether a figure has more digits than its gauge shows.

    Examples
    --------
    >>> finer_than_gauge(1.33, 0.1), finer_than_gauge(1.3, 0.1), finer_than_gauge(0.85, 0.05)
    (True, False, False)
    """
    if not step:
        return False
    return abs(value / step - round(value / step)) > 1e-3 and len(f"{value:.9g}") > len(f"{step:.9g}")


def _is_usable() -> pl.Expr:
    inside = pl.col("value").is_between(pl.col("_sensible_low"), pl.col("_sensible_high"))
    return (pl.col("_kind") == "measured") & pl.col("value").is_not_null() & inside.fill_null(True)


def _scaled(name: str) -> pl.Expr:
    return scaled(pl.col(name))


def _with_group(frame: pl.DataFrame, past: pl.DataFrame, keys: list[str], name: str) -> pl.DataFrame:
    """Put beside each reading the middle and the spread of its kind, in the upload and on record together.

    So that a card handed in by itself is asked what it would be asked among a year's cards; of an upload of a
    few pieces alone, one that is off would widen its own measure.
    """
    scale = frame.select(*keys, "_log").unique(keys)
    own = frame.select("serial").unique()
    before = past.select(*keys, "serial", "value").join(own, on="serial", how="anti")
    before = before.join(scale, on=keys, how="inner", nulls_equal=True)
    every = pl.concat(
        [frame.select(*keys, "serial", "_x"), before.select(*keys, "serial", _scaled("value").alias("_x"))],
        how="vertical_relaxed",
    )
    return frame.join(_usual(every, keys, name), on=keys, how="left", nulls_equal=True, maintain_order="left")


def _usual(every: pl.DataFrame, keys: list[str], name: str) -> pl.DataFrame:
    """Return the middle and the robust spread of each kind that has enough figures of enough pieces."""
    told = every.group_by(keys).agg(
        pl.col("_x").median().alias(f"{name}_center"),
        ((pl.col("_x") - pl.col("_x").median()).abs().median() * SPREAD_OF_MAD).alias(f"{name}_spread"),
        # One piece read at many places says nothing of the others: it must not be its own measure.
        ((pl.col("serial").n_unique() >= PIECES) & (pl.col("_x").count() >= ENOUGH)).alias("_enough"),
    )
    return told.filter("_enough").drop("_enough")


def _first(what: str, planned: str) -> pl.Expr:
    """Take centre and spread from the same source: own kind, coarser kind, record, plan."""
    choice = pl.when(pl.col("_fine_center").is_not_null()).then(f"_fine_{what}")
    choice = choice.when(pl.col("_coarse_center").is_not_null()).then(f"_coarse_{what}")  # type: ignore[assignment]
    choice = choice.when(pl.col("_record_center").is_not_null()).then(f"_record_{what}")  # type: ignore[assignment]
    return choice.otherwise(planned)


def _on_record(known: Known) -> pl.DataFrame:
    rows = [(*key, usual.median, usual.spread) for key, usual in known.usual.items() if usual.count >= ENOUGH]
    schema = {
        "stage": pl.String,
        "characteristic": pl.String,
        "model": pl.String,
        "_record_center": pl.Float64,
        "_record_spread": pl.Float64,
    }
    return pl.DataFrame(rows, schema=schema, orient="row")


def _over_models(frame: pl.DataFrame, known: Known) -> pl.DataFrame:
    """Return what is usual over all models together, for figures of one series whatever the model."""
    keys = ["stage", "characteristic"]
    scale = frame.filter(pl.col("_pooled")).select(*keys, "_log").unique(keys)
    past = known.past.select(*keys, "serial", "value").join(scale, on=keys, how="inner")
    every = pl.concat(
        [
            past.select(*keys, "serial", _scaled("value").alias("_x")),
            frame.filter(pl.col("_pooled")).select(*keys, "serial", "_x"),
        ],
        how="vertical_relaxed",
    ).filter(pl.col("_x").is_not_null())
    return _usual(every, keys, "_any")


def _ruling_places(plan: Plan) -> list[str]:
    """Return the parts of a place for which any figure of the plan has limits of their own."""
    figures = (figure for stage in plan.stages for figure in stage.characteristics)
    return sorted({part for figure in figures for entry in figure.limits for part in entry.at})


def _planned(readings: pl.DataFrame, plan: Plan, names: list[str]) -> pl.DataFrame:
    """Return the plan's words for every stage, characteristic, model, day and ruling place that occurs."""
    keys = readings.select(names).unique(maintain_order=True)
    rows = [
        _plan_row(plan, stage, name, model, day, dict(zip(names[4:], place, strict=True)))
        for stage, name, model, day, *place in keys.rows()
    ]
    schema = {
        "_kind": pl.String,
        "_diameter": pl.Boolean,
        "_clearance": pl.Boolean,
        "_log": pl.Boolean,
        "_pooled": pl.Boolean,
        "_step": pl.Float64,
        "_target": pl.Float64,
        "_lower": pl.Float64,
        "_upper": pl.Float64,
        "_target_x": pl.Float64,
        "_target_spread": pl.Float64,
        "_sensible_low": pl.Float64,
        "_sensible_high": pl.Float64,
    }
    return keys.hstack(pl.DataFrame(rows, schema=schema, orient="row"))


def _plan_row(
    plan: Plan, stage: str, name: str, model: str, day: date | None, place: Mapping[str, object]
) -> tuple[object, ...]:
    # where the plan alone speaks, a limit is taken to lie four spreads off its target
    characteristic = plan.characteristic(stage, name)
    if characteristic is None:
        return ("measured", False, False, False, False, *[None] * 8)
    limits = plan.usual_limits_at(characteristic, model, day or date.max, place)
    target = limits.target
    if target is None and limits.lower is not None and limits.upper is not None:
        target = (limits.lower + limits.upper) / 2
    widths = [
        abs(side - target) for side in (limits.lower, limits.upper) if side is not None and target is not None
    ]
    log = characteristic.shape == "positive"
    spread = min(widths) / 4 if widths and not log else None
    return (
        characteristic.kind,
        is_diameter(characteristic),
        is_clearance(characteristic),
        log,
        characteristic.pool == "all",
        characteristic.resolution,
        target,
        limits.lower,
        limits.upper,
        target if spread else None,
        spread,
        *(characteristic.sensible or (None, None)),
    )


def is_diameter(characteristic: Characteristic) -> bool:
    """Tell whether a figure is a diameter, from its unit and its name in the plan."""
    words = _words(characteristic)
    return characteristic.unit == "mm" and bool(words & {"od", "id", "bore", "diameter"})


def is_clearance(characteristic: Characteristic) -> bool:
    """Tell whether a figure is a clearance, which can be meant on diameter or per side."""
    return bool(_words(characteristic) & {"clearance", "play"}) and characteristic.unit in {"um", "mm"}


def _words(characteristic: Characteristic) -> set[str]:
    noun = characteristic.words.get("noun", "")
    text = f"{characteristic.id} {characteristic.name} {noun}".casefold()
    return set(text.replace("_", " ").replace("-", " ").split())

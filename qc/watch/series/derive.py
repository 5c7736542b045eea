"""Charted figures that come from other readings of the same piece.

The slide clearance is the outer tube's bore less the stocking of the inner tube, station by station; the
length errors and partial offsets of an instrument come from a joint fit of its whole note set, never from one
note or one wrap alone.
"""

from __future__ import annotations

from collections.abc import Callable

import polars as pl

from qc.plan import CLEARANCE_READ, TUBE_FIGURES, Characteristic, Derive, Plan, Stage
from qc.watch.series.notes import note_figures

NOTE = "note"
INNER, OUTER = TUBE_FIGURES
UM_PER_MM = 1000.0
CARRIED = ("person", "gauge", "tool", "batch")
"""What a derived figure takes over from all the readings it comes from, joined by `` + ``."""


def derived_readings(
    readings: pl.DataFrame, plan: Plan, stage: Stage, characteristic: Characteristic
) -> pl.DataFrame:
    """Return the readings that a series is made of.

    Parameters
    ----------
    readings : polars.DataFrame
        Rows of the tidy table.
    plan, stage, characteristic
        What is charted. Without ``derive`` these are the characteristic's own readings; with it they are
        worked out here, one row a piece (and place), carrying person, gauge, tool, batch and day along.

    Returns
    -------
    polars.DataFrame
        Rows with the columns of the tidy table, `value` in the characteristic's unit.
    """
    own = readings.filter(pl.col("stage") == stage.id)
    if characteristic.derive is None:
        return own.filter(pl.col("characteristic") == characteristic.id)
    return _RULES[characteristic.derive.what](own, plan, characteristic.derive)


def sources_of(characteristic: Characteristic) -> tuple[str, ...]:
    """Return the characteristics of its stage whose readings a series is made of.

    Examples
    --------
    >>> sources_of(Characteristic(id="ovality", name="Ovality", unit="um", derive={"what": "ovality"}))
    ('outer_bore',)
    """
    return characteristic.sources


def _clearance(rows: pl.DataFrame, plan: Plan, rule: Derive) -> pl.DataFrame:
    """Mean bore less mean stocking diameter of each station [um]; clearances read as such join them."""
    keys = ["serial", "leg", "station"]
    inner = rows.filter(
        pl.col("characteristic") == INNER, pl.col("surface").fill_null("stocking") == "stocking"
    )
    outer = rows.filter(pl.col("characteristic") == OUTER)
    means = inner.group_by(keys, maintain_order=True).agg(
        pl.col("value").mean().alias("inner"),
        *[pl.col(n).first().alias(f"inner_{n}") for n in CARRIED],
    )
    paired = (
        outer.group_by(keys, maintain_order=True)
        .agg(pl.exclude("value", *keys).first(), pl.col("value").mean())
        .join(means, on=keys, how="inner", nulls_equal=True)
        .with_columns(
            value=(pl.col("value") - pl.col("inner")) * UM_PER_MM,
            **{n: _both(n, f"inner_{n}") for n in CARRIED},
            direction=pl.lit(None, pl.String),
            unit=pl.lit("um"),
        )
        .select(rows.columns)
    )
    read = rows.filter(pl.col("characteristic") == CLEARANCE_READ)
    return pl.concat([paired, read], how="vertical_relaxed")


def _both(first: str, second: str) -> pl.Expr:
    a, b = pl.col(first).fill_null(""), pl.col(second).fill_null("")
    return pl.when((a == b) | (b == "")).then(a).when(a == "").then(b).otherwise(a + " + " + b)


def _all_of(name: str) -> pl.Expr:
    """Return every word of a group of readings, each once; nothing where none is recorded."""
    words = pl.col(name).drop_nulls().unique(maintain_order=True).str.join(" + ")
    return pl.when(words != "").then(words).alias(name)


def _ovality(rows: pl.DataFrame, plan: Plan, rule: Derive) -> pl.DataFrame:
    """Greatest less least two-point diameter of the outer bore at each station [um]."""
    keys = ["serial", "leg", "station"]
    return (
        rows.filter(pl.col("characteristic") == OUTER)
        .group_by(keys, maintain_order=True)
        .agg(
            pl.exclude("value", *keys, *CARRIED).first(),
            *[_all_of(n) for n in CARRIED],
            (pl.col("value").max() - pl.col("value").min()) * UM_PER_MM,
            pl.len().alias("directions"),
        )
        .filter(pl.col("directions") > 1)
        .with_columns(direction=pl.lit(None, pl.String), unit=pl.lit("um"))
        .select(rows.columns)
    )


def _tuning(rows: pl.DataFrame, plan: Plan, rule: Derive) -> pl.DataFrame:
    """One figure of the fitted note set of each instrument [mm or cent]."""
    notes = rows.filter(pl.col("characteristic") == NOTE)
    if notes.is_empty():
        return notes
    figures = note_figures(notes, {m.id: m for m in plan.models}, plan.workshop.reference_temperature_c)
    part = rule.valve if rule.what == "wrap-length" else rule.partial if rule.what == "partial" else None
    name = rule.what if part is None else f"{rule.what}:{part}"
    unit = "cent" if rule.what in {"partial", "note-scatter"} else "mm"
    joined = [_all_of(n) for n in CARRIED]
    first = notes.group_by("serial", maintain_order=True).agg(
        pl.exclude("value", "serial", *CARRIED).first(), *joined
    )
    found = figures.filter(pl.col("figure") == name).select("serial", "value")
    blank = [pl.lit(None, notes.schema[c]).alias(c) for c in ("valve", "position", "partial")]
    return (
        first.join(found, on="serial", how="inner")
        .with_columns(*blank, unit=pl.lit(unit))
        .select(notes.columns)
    )


_RULES: dict[str, Callable[[pl.DataFrame, Plan, Derive], pl.DataFrame]] = {
    "clearance": _clearance,
    "ovality": _ovality,
    **dict.fromkeys(("main-length", "wrap-length", "partial", "note-scatter"), _tuning),
}

"""Readings become the points of a series: one per piece, in order of making.

Repeats at one place on one day are averaged; a place read again on a later day keeps its first figure, so
that a piece is charted as it came from the bench and not as it was put right afterwards. Nested places are
reduced by `qc.watch.series.nesting`. Where models with different targets share a series, the target is
taken off; so it is of one model whose pieces followed when its target was changed (`qc.watch.series.aims`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import polars as pl

from qc.plan import PLACE, Characteristic, Plan, Stage
from qc.watch.results import Point
from qc.watch.series.aims import Aims, aims_of
from qc.watch.series.derive import derived_readings
from qc.watch.series.nesting import fit_nested
from qc.watch.series.order import ORDER, in_order
from qc.watch.series.steps import step_of

CARRIED: tuple[str, ...] = ("person", "gauge", "tool", "batch", "note")
"""What a point inherits from its readings as text; several values are joined by `` + ``."""


@dataclass(frozen=True, slots=True)
class Points:
    """The points of one series and what the reduction found.

    Attributes
    ----------
    points : tuple of Point
        One per piece, in order of making.
    centered : bool
        True where values are deviations from the target of each model. [unit]
    within, between : float or None
        Standard deviations within and between pieces; None where readings are not nested. [unit]
    left_out : tuple of str
        Serials with too few places read to give a point.
    step : float or None
        Step that the gauge leaves in the values, None where it is not known. [unit]
    aims : Aims
        What is taken off, and the targets that were changed between its pieces.
    """

    points: tuple[Point, ...]
    centered: bool
    within: float | None = None
    between: float | None = None
    left_out: tuple[str, ...] = ()
    step: float | None = None
    aims: Aims = Aims({})


def series_points(
    readings: pl.DataFrame, plan: Plan, stage: Stage, characteristic: Characteristic, family: str
) -> Points:
    """Reduce the readings of one characteristic and family to points.

    Parameters
    ----------
    readings : polars.DataFrame
        Rows of the tidy table holding at least this stage's readings; other rows are passed over.
    plan : Plan
        The plan in force.
    stage, characteristic, family
        Which series (see `Plan.charted`).

    Returns
    -------
    Points
        Empty where nothing of this series has been measured.
    """
    models = _models(plan, characteristic, family)
    wanted = derived_readings(readings, plan, stage, characteristic)
    wanted = wanted.filter(_of_family(models, family), pl.col("value").is_finite())
    if wanted.is_empty():
        return Points((), centered=False)
    begun = wanted.with_columns(pl.col("day").min().over("serial"))
    aims = aims_of(plan, characteristic, begun)
    centered = aims.centered
    cells = _first_reading_per_place(wanted.with_columns(target=_bases(aims, begun)), characteristic)
    value = pl.col("value") - pl.col("target") if centered else pl.col("value")
    cells = cells.with_columns(charted=value)
    if len(characteristic.places) == 0 or characteristic.kind != "measured":
        areas = {m.id: m.area_factor for m in plan.models} if "area" in characteristic.places else {}
        found = _flat(cells, characteristic, areas, centered=centered)
    else:
        found = _nested(cells, centered=centered)
    return replace(found, aims=aims, step=step_of(found.points, plan, stage, characteristic))


def _models(plan: Plan, characteristic: Characteristic, family: str) -> list[str]:
    own = plan.models_of(characteristic)
    return [m.id for m in own if plan.family_of(characteristic, m.id) == family]


def _of_family(models: Sequence[str], family: str) -> pl.Expr:
    fits = pl.col("model").is_in(list(models))
    return fits | (pl.col("model").fill_null("") == "") if family == "all" else fits


def _bases(aims: Aims, rows: pl.DataFrame) -> pl.Series:
    """Return what is taken off each row."""
    column = [aims.bases[model or "", day] for model, day in rows.select("model", "day").iter_rows()]
    return pl.Series("target", column, dtype=pl.Float64)


def _first_reading_per_place(rows: pl.DataFrame, characteristic: Characteristic) -> pl.DataFrame:
    """Average the repeats of a place on its first day; carry along who, with what and when."""
    places = [name for name in PLACE if name in characteristic.places]
    rows = rows.with_columns(place=_place_label(places))
    first = pl.col("day") == pl.col("day").min().over("serial", "place")
    joined = [pl.col(name).fill_null("").unique(maintain_order=True) for name in CARRIED]
    counted = pl.col("value").sum() if characteristic.kind == "count" else pl.col("value").mean()
    return (
        in_order(rows.filter(first))
        .with_row_index("made")
        .group_by("serial", "place", maintain_order=True)
        .agg(
            counted,
            pl.len().alias("repeats"),
            *[pl.col(n).first() for n in (*ORDER[:-1], "model", "made", "target", "air_c")],
            *joined,
        )
    )


def _place_label(places: Sequence[str]) -> pl.Expr:
    if not places:
        return pl.lit("")
    return pl.concat_str([pl.col(p).cast(pl.String).fill_null("") for p in places], separator="/")


def _by_piece(cells: pl.DataFrame, *extra: pl.Expr) -> pl.DataFrame:
    carried = [pl.col(n).explode().unique(maintain_order=True).alias(n) for n in CARRIED]
    firsts = ("day", "model", "made", "tool_count", "air_c", "target")
    return (
        cells.group_by("serial", maintain_order=True)
        .agg(*[pl.col(n).first() for n in firsts], *carried, *extra)
        .sort("made")
    )


def _flat(
    cells: pl.DataFrame, characteristic: Characteristic, areas: Mapping[str, float], *, centered: bool
) -> Points:
    """Add up counts and average the rest; `areas` says over how much of a surface each model is looked at."""
    total = pl.col("charted").sum() if characteristic.kind == "count" else pl.col("charted").mean()
    tested = pl.col("repeats").sum() if characteristic.kind == "pass-fail" else pl.lit(None, pl.Int64)
    pieces = _by_piece(cells, total.alias("charted"), pl.col("repeats").sum(), tested.alias("tested"))
    if characteristic.kind == "pass-fail":
        pieces = pieces.with_columns((pl.col("charted") * pl.col("tested")).round().alias("charted"))
    elif characteristic.kind == "count" and areas:
        looked_at = pl.col("model").replace_strict(areas, default=1.0, return_dtype=pl.Float64)
        pieces = pieces.with_columns(looked_at.alias("tested"))
    rows = pieces.with_columns(spread=pl.lit(None, pl.Float64))
    return Points(_to_points(rows, centered=centered), centered=centered)


def _nested(cells: pl.DataFrame, *, centered: bool) -> Points:
    """Take the pattern of the places off, so that a piece with a place left out is not shifted by it."""
    pieces = _by_piece(cells)
    code = {serial: number for number, serial in enumerate(pieces["serial"])}
    place = {label: number for number, label in enumerate(sorted(set(cells["place"])))}
    fit = fit_nested(
        np.array([code[s] for s in cells["serial"]], dtype=np.int64),
        np.array([place[p] for p in cells["place"]], dtype=np.int64),
        cells["charted"].to_numpy().astype(np.float64),
    )
    rows = pieces.with_columns(
        charted=pl.Series(fit.piece),
        spread=pl.Series(fit.spread),
        repeats=pl.Series(fit.readings),
        tested=pl.lit(None, pl.Int64),
    ).with_columns(pl.col("charted", "spread").fill_nan(None))
    left_out = tuple(rows.filter(pl.col("charted").is_null())["serial"])
    rows = rows.filter(pl.col("charted").is_not_null())
    return Points(
        _to_points(rows, centered=centered),
        centered=centered,
        within=fit.within,
        between=fit.between,
        left_out=left_out,
    )


def _to_points(rows: pl.DataFrame, *, centered: bool) -> tuple[Point, ...]:
    """Turn rows in order of making into points; `measured` gets the target back that was taken off."""

    @cache  # few benches, many pieces
    def told(values: tuple[str, ...]) -> str:
        return " + ".join(sorted({v for v in values if v}))

    @cache
    def apart(values: tuple[str, ...]) -> tuple[str, ...]:
        # a derived figure brings the words of all its readings, joined already
        return tuple(each for v in values if v for each in v.split(" + "))

    def words(values: Sequence[str]) -> str:
        return told(tuple(values))

    def levels(values: Sequence[str]) -> str:
        return told(apart(tuple(values)))

    return tuple(
        Point(
            ordinal=number,
            serial=row["serial"],
            day=row["day"],
            model=row["model"] or "",
            value=float(row["charted"]),
            measured=float(row["charted"] + (row["target"] or 0.0 if centered else 0.0)),
            readings=int(row["repeats"]),
            spread=row["spread"],
            size=None if row["tested"] is None else float(row["tested"]),
            tool_count=row["tool_count"],
            air_c=row["air_c"],
            person=levels(row["person"]),
            gauge=levels(row["gauge"]),
            tool=levels(row["tool"]),
            batch=levels(row["batch"]),
            note=words(row["note"]),
        )
        for number, row in enumerate(rows.iter_rows(named=True), start=1)
    )

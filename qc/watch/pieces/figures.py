"""Is a piece inside its limits: at every place, by its mean or by the house rule, as its plan says.

A mean hides a place: an instrument with lacquer of 8.4 at one spot under a limit of 10 has a mean of 11.8.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from qc.plain import FrameRow
from qc.plan import Characteristic, DatedLimits, Plan, Stage
from qc.trade import house_80_20
from qc.watch.pieces.cells import LAST_BITS, TOLD, cells_of, with_margin
from qc.words import listed

PLACE_WORDS = {
    "leg": "{} leg",
    "station": "{}",
    "direction": "{}°",
    "surface": "{}",
    "valve": "valve {}",
    "position": "position {}",
    "partial": "partial {}",
    "area": "{}",
    "spot": "spot {}",
}
"""How the parts of a place are said, in the order of the plan."""

LEAST_SPOT, MOST_SPOT = 0.8, 3.0
"""Shares of the nominal between which every spot lies by the house rule, see `qc.trade.house_80_20`."""

_BARE_NUMBER = ("station",)  # a station may be a number, which by itself says nothing


@dataclass(frozen=True, slots=True)
class PieceFigure:
    """One figure of one piece, where it is worst.

    Attributes
    ----------
    serial, model : str
        The piece.
    stage, characteristic, unit : str
        Ids of the figure, and its unit in the plan.
    place : str
        Where it is worst, in words; how many places went in where the mean decides.
    value : float
        The figure there. [unit]
    lower, upper : float or None
        The limits there. [unit]
    inside : bool or None
        Whether the piece keeps its limits by what decides in the plan; None without limits.
    guard : float or None
        What is taken off a limit for the spread of the gauge (ISO 14253-1). [unit]
    near : bool
        Inside by less than that: not proven.
    rule : str
        What of the house rule it breaks, in words; empty where places or their mean decide.
    day : date
        Newest day on which any of its places was read.
    gauge, tool, batch, person : str
        Of the worst place, or of all where the mean decides; several joined by `` + ``.
    step : float or None
        What its gauge shows, None for a figure that is computed. [unit]
    """

    serial: str
    model: str
    stage: str
    characteristic: str
    unit: str
    place: str
    value: float
    lower: float | None
    upper: float | None
    inside: bool | None
    guard: float | None
    near: bool
    rule: str
    day: date
    gauge: str = ""
    tool: str = ""
    batch: str = ""
    person: str = ""
    step: float | None = None


def limited(characteristic: Characteristic) -> bool:
    """Say whether the plan has limits for a figure, on any day and at any place."""
    return any(entry.lower is not None or entry.upper is not None for entry in characteristic.limits) or (
        characteristic.decides == "80-20"
    )


def place_words(place: Mapping[str, object]) -> str:
    """Say a place in words.

    Examples
    --------
    >>> place_words({"leg": "upper", "station": "mouth", "direction": "90"})
    'upper leg, mouth, 90°'
    >>> place_words({"station": "3", "direction": None}), place_words({"area": "flare", "spot": 2})
    ('station 3', 'flare, spot 2')
    """
    said = []
    for part, words in PLACE_WORDS.items():
        value = place.get(part)
        if value is not None and value != "":
            bare = part in _BARE_NUMBER and str(value).isdecimal()
            said.append(f"{part} {value}" if bare else words.format(value))
    return ", ".join(said)


def piece_figures(
    readings: pl.DataFrame,
    plan: Plan,
    stage: Stage,
    characteristic: Characteristic,
    *,
    wanted: Collection[str] = (),
) -> tuple[PieceFigure, ...]:
    """Return the pieces that are outside their limits, or inside without proof, each where it is worst.

    Parameters
    ----------
    readings : polars.DataFrame
        Rows of the tidy table that hold at least the readings the figure is made of.
    plan, stage, characteristic
        Which figure; one without limits has only what is `wanted`.
    wanted : collection of str
        Serials of pieces to be told in any case.

    Returns
    -------
    tuple of PieceFigure
        In order of the serials. A figure on a limit is inside.

    References
    ----------
    .. [1] ISO 14253-1 (pattern read in summaries): inside is proven only where a figure lies further inside
       than the uncertainty of measuring it, here twice the spread of the gauge.
    """
    cells = cells_of(readings, plan, stage, characteristic).with_columns(
        stage=pl.lit(stage.id), characteristic=pl.lit(characteristic.id), unit=pl.lit(characteristic.unit)
    )
    if cells.is_empty():
        return ()
    if characteristic.decides == "80-20":
        found = _by_house_rule(cells, plan, characteristic)
    else:
        worst = _means(cells, plan, characteristic) if characteristic.decides == "mean" else _worst(cells)
        proven = pl.col("margin") >= pl.col("guard").fill_null(0.0)
        doubtful = pl.col("margin").is_not_null() & ~proven
        kept = worst.filter(doubtful | pl.col("serial").is_in(list(wanted)))
        found = [_told(row) for row in kept.iter_rows(named=True)]
    own = [one for one in found if one.inside is False or one.near or one.serial in wanted]
    return tuple(sorted(own, key=lambda one: one.serial))


def _worst(cells: pl.DataFrame) -> pl.DataFrame:
    """Return the place of each piece that is furthest out or least inside; of equals the first read."""
    newest = pl.col("day").max().over("serial")
    ordered = cells.with_columns(newest=newest).sort("margin", nulls_last=True, maintain_order=True)
    return ordered.unique("serial", keep="first", maintain_order=True)


def _means(cells: pl.DataFrame, plan: Plan, characteristic: Characteristic) -> pl.DataFrame:
    """Return the mean of each piece over its places, against the limits for a whole piece."""
    joined = [pl.col(name).unique(maintain_order=True).str.join(" + ") for name in TOLD]
    means = cells.group_by("serial", "stage", "characteristic", "unit", maintain_order=True).agg(
        pl.col("value").mean(),
        pl.len().alias("places"),
        pl.col("model").drop_nulls().first(),
        pl.col("day").max(),
        pl.col("guard").max(),
        pl.col("step").min(),
        *joined,
    )
    limits = [_whole(plan, characteristic, row) for row in means.select("model", "day").iter_rows()]
    sides = {"lower": [one.lower for one in limits], "upper": [one.upper for one in limits]}
    return with_margin(means.with_columns(pl.Series(n, v, pl.Float64) for n, v in sides.items()))


def _whole(plan: Plan, characteristic: Characteristic, row: tuple[str | None, date]) -> DatedLimits:
    return plan.limits(characteristic, row[0] or "", row[1])


def _told(row: FrameRow) -> PieceFigure:
    """Turn the worst place (or the mean) of a piece into its record."""
    margin, guard, places = row["margin"], row["guard"], row.get("places")
    return _figure(
        row,
        place=place_words(row) if places is None else f"mean of {places} places",
        inside=None if margin is None else margin >= 0,
        near=margin is not None and guard is not None and 0 <= margin < guard * (1 - LAST_BITS),
    )


def _by_house_rule(cells: pl.DataFrame, plan: Plan, characteristic: Characteristic) -> list[PieceFigure]:
    """Judge each piece by the house 80/20 rule; what it breaks first is told with its place and limit."""
    found = []
    newest = cells.with_columns(newest=pl.col("day").max().over("serial"))
    for _, own in newest.group_by("serial", maintain_order=True):
        rows = own.sort("value", maintain_order=True).to_dicts()
        nominal = plan.limits(characteristic, rows[0]["model"] or "", rows[0]["newest"]).target
        if nominal is not None:
            found.append(_broken([row["value"] for row in rows], rows, nominal))
    return found


def _broken(values: Sequence[float], rows: Sequence[FrameRow], nominal: float) -> PieceFigure:
    """Tell by which clause of the rule a piece fails, and show the place that fails it."""
    rule = house_80_20(values, nominal)
    least, greatest, mean = rows[0], rows[-1], sum(values) / len(values)
    below = round(rule.share_below_nominal * len(values))
    clauses = [
        (rule.none_under_80_percent, "a place under 80 % of nominal"),
        (rule.none_over_three_nominals, "a place over three times nominal"),
        (rule.mean_reaches_nominal, "the mean under nominal"),
        (rule.few_below_nominal, f"{below} of {len(values)} places below nominal"),
    ]
    said = listed([words for kept, words in clauses if not kept])
    place, ends = place_words(least), {"lower": LEAST_SPOT * nominal, "upper": MOST_SPOT * nominal}
    if rule.none_under_80_percent and not rule.none_over_three_nominals:
        return _figure({**greatest, **ends}, place=place_words(greatest), inside=False, rule=said)
    if rule.none_under_80_percent and not rule.passes:
        ends["lower"] = nominal
        if not rule.mean_reaches_nominal:
            place, least = f"mean of {len(values)} places", {**least, "value": mean}
    return _figure({**least, **ends}, place=place, inside=rule.passes, rule=said)


def _figure(
    row: FrameRow, *, place: str, inside: bool | None, near: bool = False, rule: str = ""
) -> PieceFigure:
    """Turn a row with its answer into the figure of a piece."""
    return PieceFigure(
        serial=row["serial"],
        model=row["model"] or "",
        stage=row["stage"],
        characteristic=row["characteristic"],
        unit=row["unit"],
        place=place,
        value=row["value"],
        lower=row["lower"],
        upper=row["upper"],
        inside=inside,
        guard=row["guard"],
        near=near,
        rule=rule,
        day=row.get("newest") or row["day"],
        gauge=row["gauge"] or "",
        tool=row["tool"] or "",
        batch=row["batch"] or "",
        person=row["person"] or "",
        step=row["step"],
    )

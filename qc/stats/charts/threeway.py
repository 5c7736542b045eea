"""Three-way chart: several readings on each piece, pieces that differ, and both spreads kept apart.

Readings along one piece are not independent samples of the process; limits from the range within a piece are
absurdly tight for the piece means. Here the means are charted against the spread from piece to piece (moving
range) and the spread within pieces has a chart of its own. A pattern that every piece shares (the far end is
always tighter) is no spread and is taken out first.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import ArrayLike

from qc.stats.charts.chart import Chart
from qc.stats.charts.measured import individuals_table, subgroup_table
from qc.stats.charts.table import ChartTable, arrange, series_of
from qc.stats.errors import StatisticsError
from qc.stats.numbers import AS_THEY_ARE, Flags, Floats, Places, Setting, as_readings, number, numbers
from qc.stats.tabled import Tabled


@dataclass(frozen=True, slots=True)
class Pattern(Tabled):
    """A pattern that all pieces share: effect of each place (they sum to 0) and readings without it."""

    effects: Mapping[str, float]
    readings: Floats
    kept: Flags


def three_way(
    values: ArrayLike,
    piece: ArrayLike,
    place: ArrayLike | None = None,
    setting: Setting = AS_THEY_ARE,
    *,
    within: str = "range",
) -> Chart:
    """Three-way chart of nested readings.

    Parameters
    ----------
    values : array-like of float, length n
        Readings in order of making. [any unit]
    piece : array-like, length n
        Piece that a reading is of.
    place : array-like, length n, optional
        Place on the piece; the pattern over places is taken out first.
    setting : Setting
        Baseline (in pieces), limits, given centre and sigma (of a piece mean).
    within : {"range", "sd"}
        What the spread within pieces is taken from.

    Returns
    -------
    Chart
        Piece means with limits from their moving range; `sigma` is that of a piece mean. `extras` holds the
        chart within pieces and the components of variance.

    Raises
    ------
    StatisticsError
        Fewer than two pieces, no piece with two readings, or no spread.

    References
    ----------
    .. [1] Wheeler, "Understanding Statistical Process Control" (three-way charts); the components are those
       of a one-way random model, floored at 0.

    Examples
    --------
    >>> readings = [150, 152, 149, 151, 158, 157, 160, 157, 146, 148, 147, 147]
    >>> chart = three_way(readings, [1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3])
    >>> round(chart.upper - chart.center, 2)  # 2.66 times the mean moving range
    24.59
    """
    columns: dict[str, Any] = {"value": as_readings(values), "subgroup": np.asarray(piece)}
    if place is not None:
        columns["place"] = np.asarray(place)
    if len({len(column) for column in columns.values()}) != 1:
        raise StatisticsError("every reading needs its piece, and its place where places are given")
    return three_way_table(pl.DataFrame(columns), setting, within=within).only()


def three_way_table(
    frame: pl.DataFrame, setting: Setting = AS_THEY_ARE, *, within: str = "range"
) -> ChartTable:
    """Three-way charts of many series in one pass; setting, `within`, errors and source as for `three_way`.

    Parameters
    ----------
    frame : DataFrame
        `value`, `subgroup` (the piece) in order of making and, as there are, `series` and `place`.

    Examples
    --------
    >>> frame = pl.DataFrame({"value": [1.0, 2.0, 4.0, 3.0], "subgroup": [1, 1, 2, 2]})
    >>> three_way_table(frame).levels["center"].to_list()
    [2.5]
    """
    rows = arrange(frame, "subgroup", *("place",) * ("place" in frame.columns))
    patterns: dict[str, Pattern] = {}
    if "place" in rows.columns:
        rows, patterns = _without_patterns(rows)
    # centre and sigma that were given are those of the piece means, not of the spread within
    inner_setting = Setting(baseline=setting.baseline, resolution=setting.resolution)
    inner = subgroup_table(rows, inner_setting, spread=within)
    means = individuals_table(inner.points.select("series", "value"), setting)
    extras: dict[str, Mapping[str, Any]] = {}
    warnings: dict[str, tuple[str, ...]] = {}
    rows_of = (table.levels.iter_rows(named=True) for table in (means, inner))
    for level, spread, part in zip(*rows_of, series_of(inner.points), strict=True):
        name = str(level["series"])
        if level["reason"] is None:
            extras[name], said = _parts(level["sigma"], spread, part, within, patterns.get(name))
            warnings[name] = means.warnings.get(name, ()) + said
    return ChartTable(
        "three-way",
        means.points,
        means.levels,
        companion_kind="moving-range",
        extras=extras,
        warnings=warnings,
    )


def remove_pattern(values: ArrayLike, piece: ArrayLike, place: ArrayLike) -> Pattern:
    """Take out the pattern over places that all pieces share (two-way additive fit).

    Parameters
    ----------
    values : array-like of float, length n
        Readings. [any unit]
    piece, place : array-like, length n
        Piece and place of each reading; not every piece needs every place.

    Returns
    -------
    Pattern
        Effects by place, summing to 0 [unit of `values`]; readings less their effect; which readings belong
        to pieces that were measured at half the places or more.

    Raises
    ------
    StatisticsError
        Lengths that differ, or a reading that is not finite.

    References
    ----------
    .. [1] Least squares of an additive two-way layout with missing cells (Searle, "Linear Models", 1971).

    Examples
    --------
    >>> found = remove_pattern([1.0, 3.0, 2.0, 4.0], ["a", "a", "b", "b"], ["near", "far", "near", "far"])
    >>> round(found.effects["far"], 12), found.readings.tolist()
    (1.0, [2.0, 2.0, 3.0, 3.0])
    """
    readings = as_readings(values, least=1)
    pieces, piece_of = np.unique(np.asarray(piece).astype(str), return_inverse=True)
    places, place_of = np.unique(np.asarray(place).astype(str), return_inverse=True)
    if not piece_of.size == place_of.size == readings.size:
        raise StatisticsError("every reading needs a piece and a place")
    table = np.zeros((pieces.size, places.size))
    np.add.at(table, (piece_of, place_of), 1.0)
    # chosen: with fewer places the level of a piece would depend on which of them are missing
    covered = (table > 0).sum(axis=1) >= places.size / 2
    used = covered[piece_of]
    effects = _place_effects(readings[used], piece_of[used], place_of[used], pieces.size, places.size)
    return Pattern(
        effects={str(name): float(effect) for name, effect in zip(places, effects, strict=True)},
        readings=readings - effects[place_of],
        kept=used,
    )


def _place_effects(readings: Floats, piece: Places, place: Places, pieces: int, places: int) -> Floats:
    """Least-squares place effects after the piece means are swept out; they sum to 0."""
    cells = np.zeros((pieces, places))
    np.add.at(cells, (piece, place), 1.0)
    counts = cells.sum(axis=1)
    sums = np.bincount(piece, weights=readings, minlength=pieces)
    means = np.divide(sums, counts, out=np.zeros(pieces), where=counts > 0)
    right = np.bincount(place, weights=readings - means[piece], minlength=places)
    share = np.divide(cells, counts[:, None], out=np.zeros_like(cells), where=counts[:, None] > 0)
    normal = np.diag(cells.sum(axis=0)) - share.T @ cells
    # the normal matrix has no inverse (a constant can move to the pieces): ask for the shortest solution
    effects = np.linalg.lstsq(normal, right, rcond=None)[0]
    return np.asarray(effects - effects.mean())


def _without_patterns(rows: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, Pattern]]:
    """Take the pattern out of every series; pieces with under half their places drop out."""
    parts, patterns = [], {}
    for part in series_of(rows):
        found = remove_pattern(part["value"], part["subgroup"].cast(pl.String), part["place"].cast(pl.String))
        patterns[str(part["series"][0])] = found
        parts.append(part.with_columns(value=pl.Series(found.readings)).filter(pl.Series(found.kept)))
    return pl.concat(parts), patterns


def _parts(
    sigma_means: float, spread: dict[str, Any], part: pl.DataFrame, within: str, pattern: Pattern | None
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Chart within pieces, components of variance, and what must be said about them."""
    said: list[str] = []
    known = spread["sigma"] is not None and spread["reason"] is None
    inner = spread["sigma"] ** 2 if known else 0.0
    per_piece = float((1.0 / part["size"]).mean())  # type: ignore[arg-type]
    between = sigma_means**2 - inner * per_piece
    if not known:
        said.append("no spread within pieces is known: no piece has two readings that differ")
    if between < 0:
        said.append(
            "pieces differ less than the spread within them explains: the variance between pieces is set to 0"
        )
        between = 0.0
    variances = {"within": inner if known else None, "between": between, "total": between + inner}
    extras: dict[str, Any] = {
        "within": {
            "kind": within,
            "center": number(spread["companion_center"]),
            "lower": number(spread["companion_lower"]),
            "upper": number(spread["companion_upper"]),
            "sigma": math.sqrt(inner) if known else None,
            "values": numbers(part["companion"].fill_null(np.nan).to_numpy()),
        },
        "components": variances,
        "sd": {name: None if one is None else math.sqrt(one) for name, one in variances.items()},
    }
    if known:
        beyond = part.filter(
            (pl.col("companion") > pl.col("companion_upper") * (1 + 1e-9))
            | (pl.col("companion") < pl.col("companion_lower") * (1 - 1e-9))
        )
        said += [f"{within} within pieces: point {point} is outside its limits" for point in beyond["point"]]
    if pattern is not None:
        extras["pattern"] = dict(pattern.effects)
        dropped = int((~pattern.kept).sum())
        if dropped:
            said.append(f"{dropped} readings of pieces with under half their places were left out")
    return extras, tuple(said)

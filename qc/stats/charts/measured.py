"""Charts for measured values: individuals with moving range, mean with range, mean with sd.

Each comes twice: for one series of numbers (`individuals`), and for many series in one pass of column
expressions (`individuals_table`). Both are the same computation.
"""

from __future__ import annotations

import math

import numpy as np
import polars as pl
from numpy.typing import ArrayLike

from qc.stats.charts.chart import Chart
from qc.stats.charts.table import (
    ChartTable,
    arrange,
    few_points_warning,
    floor_warning,
    lengths,
    limit_factors,
    positions,
    spread_out,
    spread_reason,
)
from qc.stats.errors import StatisticsError
from qc.stats.numbers import AS_THEY_ARE, LARGEST, Baseline, Places, Setting, as_readings, factors

MOVING = factors(2)


def individuals(values: ArrayLike, setting: Setting = AS_THEY_ARE) -> Chart:
    """Individuals chart with moving ranges of two.

    Parameters
    ----------
    values : array-like of float, length n >= 2
        Readings in order of making. [any unit]
    setting : Setting
        Baseline, limits, given centre and sigma.

    Returns
    -------
    Chart
        Centre and limits in the unit of `values`; `sigma` is the mean moving range over d2 for textbook
        limits, the sample sd for prediction and guaranteed ones. The companion holds the moving ranges,
        the first of them NaN.

    Raises
    ------
    StatisticsError
        Fewer than two readings in the baseline, a reading that is not finite, or no spread at all.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 "Individuals control charts".
       It divides by the rounded 1.128; here d2 is exact.

    Examples
    --------
    >>> chart = individuals([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> round(chart.center, 2), round(chart.lower, 3), round(chart.upper, 3)  # printed 45.8159 and 55.8041
    (50.81, 45.818, 55.802)
    """
    return individuals_table(pl.DataFrame({"value": as_readings(values, least=1)}), setting).only()


def individuals_table(frame: pl.DataFrame, setting: Setting = AS_THEY_ARE) -> ChartTable:
    """Individuals charts of many series in one pass; setting, errors and source as for `individuals`.

    Parameters
    ----------
    frame : DataFrame
        `value` in order of making and, for several series, `series`. A series without spread is kept with
        its reason.

    Examples
    --------
    >>> frame = pl.DataFrame({"series": ["a", "a", "b", "b"], "value": [1.0, 3.0, 5.0, 5.0]})
    >>> table = individuals_table(frame)
    >>> table.levels["center"].to_list(), table.levels["reason"].is_null().to_list()
    ([2.0, 5.0], [True, False])
    """
    points = arrange(frame).select("series", "point", "value")
    step = pl.col("value").diff().abs()
    points = points.with_columns(companion=pl.when(pl.col("point") > 1).then(step))
    middle, step_in_base = pl.col("value"), pl.col("companion")
    if setting.baseline != Baseline():
        base = setting.baseline.mask(pl.col("point"))
        # a moving range belongs to the baseline when both its points do
        before = setting.baseline.mask(pl.col("point").cast(pl.Int64) - 1)
        middle = middle.filter(base)
        step_in_base = step_in_base.filter(base & before & (pl.col("point") > 1))
    levels = points.group_by("series", maintain_order=True).agg(
        points=pl.len(),
        baseline_points=middle.len(),
        mean=middle.median() if setting.robust else middle.mean(),
        sd=middle.std(),
        moving=step_in_base.median() if setting.robust else step_in_base.mean(),
    )
    divisor = MOVING.median_range if setting.robust else MOVING.d2
    estimate = pl.col("moving") / divisor if setting.limits.method == "textbook" else pl.col("sd")
    levels = _with_level(levels, estimate, pl.col("baseline_points") - 1, setting)
    # beside limits from the sample sd the moving ranges keep their own mean; else they follow sigma
    own = setting.limits.method != "textbook" and setting.sigma is None
    center = pl.col("moving") if own else pl.col("sigma") * MOVING.d2
    levels = levels.with_columns(
        companion_center=center, companion_lower=0.0 * center, companion_upper=center * MOVING.D4
    )
    said = _warnings(levels, setting)
    return ChartTable("individuals", points, levels, companion_kind="moving-range", warnings=said)


def mean_range(values: ArrayLike, subgroup: ArrayLike, setting: Setting = AS_THEY_ARE) -> Chart:
    """Chart of subgroup means with a range chart beside it.

    Parameters
    ----------
    values : array-like of float, length n
        Readings in order of making. [any unit]
    subgroup : array-like, length n
        Label of the subgroup of each reading; subgroups are plotted in order of first appearance.
    setting : Setting
        Baseline (in subgroups), limits, given centre and sigma (of one reading).

    Returns
    -------
    Chart
        `sigma` is that of one reading: mean range over d2, weighted by precision where sizes differ; the
        pooled sd for prediction and guaranteed limits.

    Raises
    ------
    StatisticsError
        No subgroup of two or more readings, one with more than 100, a reading that is not finite, no spread.

    References
    ----------
    .. [1] ISO 7870-2:2013, "Shewhart control charts".
    .. [2] Burr, "Control charts for measurements with varying sample sizes", J. Quality Technology 1 (1969).

    Examples
    --------
    >>> chart = mean_range([1.0, 3.0, 2.0, 4.0], ["a", "a", "b", "b"])
    >>> round(chart.center, 2), round(chart.upper, 2)  # 2.5 + 1.88 * 2
    (2.5, 6.26)
    """
    return subgroup_table(_subgroup_frame(values, subgroup), setting, spread="range").only()


def mean_sd(values: ArrayLike, subgroup: ArrayLike, setting: Setting = AS_THEY_ARE) -> Chart:
    """Chart of subgroup means with a chart of the subgroup sd beside it; sizes may differ.

    Asked, refused and from the same sources as `mean_range`; its `sigma` is the mean sd over c4 in the place
    of the mean range over d2.

    Examples
    --------
    >>> chart = mean_sd([1.0, 3.0, 2.0, 4.0], ["a", "a", "b", "b"])
    >>> round(chart.upper, 3)  # 2.5 + 2.659 * 1.4142
    6.26
    """
    return subgroup_table(_subgroup_frame(values, subgroup), setting, spread="sd").only()


def subgroup_table(frame: pl.DataFrame, setting: Setting = AS_THEY_ARE, *, spread: str = "sd") -> ChartTable:
    """Charts of subgroup means of many series in one pass; setting, errors and sources as for `mean_range`.

    Parameters
    ----------
    frame : DataFrame
        `value`, `subgroup` in order of making and, for several series, `series`.
    spread : {"sd", "range"}
        Which companion, and what sigma is estimated from.

    Examples
    --------
    >>> frame = pl.DataFrame({"value": [1.0, 3.0, 2.0, 4.0, 2.0], "subgroup": [1, 1, 2, 2, 2]})
    >>> subgroup_table(frame).varying
    True
    """
    points = subgroup_points(frame, spread)
    base = setting.baseline.mask(pl.col("point")) & (pl.col("size") > 1)
    in_base = setting.baseline.mask(pl.col("point"))
    weight = (pl.col("unit") / pl.col("unit_sd")) ** 2  # precision of one subgroup's estimate of sigma
    df = pl.col("size") - 1
    levels = points.group_by("series", maintain_order=True).agg(
        points=pl.len(),
        baseline_points=in_base.sum(),
        readings=pl.col("size").sum(),
        baseline_readings=pl.col("size").filter(in_base).sum(),
        df=df.filter(base).sum(),
        mean=(pl.col("value") * pl.col("size")).filter(in_base).sum() / pl.col("size").filter(in_base).sum(),
        pooled=((df * pl.col("sd_within") ** 2).filter(base).sum() / df.filter(base).sum()).sqrt(),
        estimate=(weight * pl.col("companion") / pl.col("unit")).filter(base).sum()
        / weight.filter(base).sum(),
        least=pl.col("size").min(),
        most=pl.col("size").max(),
    )
    estimate = pl.col("estimate") if setting.limits.method == "textbook" else pl.col("pooled")
    return finish_subgroups(points, levels, estimate, setting, spread)


def subgroup_points(frame: pl.DataFrame, spread: str) -> pl.DataFrame:
    """One row per subgroup: mean, size, spread and the constants of its size."""
    rows = arrange(frame, "subgroup")
    points = rows.group_by("series", "subgroup", maintain_order=True).agg(
        value=pl.col("value").mean(),
        size=pl.len(),
        sd_within=pl.col("value").std(),
        range_within=pl.col("value").max() - pl.col("value").min(),
    )
    sizes = points["size"].unique().sort()
    if int(sizes[-1]) > LARGEST:
        raise StatisticsError(f"a subgroup holds {sizes[-1]} readings: at most {LARGEST} can be charted")
    table = [factors(n) if n > 1 else None for n in sizes.to_list()]
    constants = pl.DataFrame(
        {
            "size": sizes,
            "unit": [None if f is None else f.d2 if spread == "range" else f.c4 for f in table],
            "unit_sd": [None if f is None else f.d3 if spread == "range" else f.c5 for f in table],
        },
        schema={"size": points.schema["size"], "unit": pl.Float64, "unit_sd": pl.Float64},
    )
    points = points.join(constants, on="size", how="left", maintain_order="left")
    number = pl.Series(positions(lengths(points)), dtype=pl.UInt32)
    within = pl.col("range_within") if spread == "range" else pl.col("sd_within")
    return points.with_columns(point=number, companion=pl.when(pl.col("size") > 1).then(within))


def finish_subgroups(
    points: pl.DataFrame, levels: pl.DataFrame, estimate: pl.Expr, setting: Setting, spread: str
) -> ChartTable:
    """Limits for subgroup means of any sizes and for the spread beside them."""
    levels = _with_level(levels, estimate, pl.col("df"), setting)
    sigma, center = spread_out(levels, "sigma"), spread_out(levels, "center")
    size, known = points["size"].cast(pl.Float64), pl.Series(np.full(points.height, math.inf))
    total = known if setting.center is not None else spread_out(levels, "baseline_readings").cast(pl.Float64)
    df = known if setting.sigma is not None else spread_out(levels, "df").cast(pl.Float64)
    sd = sigma / size.sqrt()
    reach = limit_factors(setting.limits, total / size, df) * sd
    floor = (pl.col("unit") - 3 * pl.col("unit_sd")).clip(lower_bound=0.0)
    points = points.with_columns(
        sd=sd,
        lower=center - reach,
        upper=center + reach,
        companion_center=pl.col("unit") * sigma,
        companion_lower=floor * sigma,
        companion_upper=(pl.col("unit") + 3 * pl.col("unit_sd")) * sigma,
    )
    typical = (pl.col("readings") / pl.col("points")).alias("typical")
    names = ("lower", "upper", "companion_center", "companion_lower", "companion_upper")
    nearest = points.select(names)[_most_typical(points)]
    levels = levels.drop("lower", "upper").with_columns(typical).hstack(nearest)
    kind = "mean-range" if spread == "range" else "mean-sd"
    varying, said = bool((levels["least"] != levels["most"]).any()), _warnings(levels, setting)
    return ChartTable(kind, points, levels, companion_kind=spread, varying=varying, warnings=said)


def _most_typical(points: pl.DataFrame) -> Places:
    """Find in every series the row of the first subgroup whose size is nearest to the mean size.

    Written over arrays: sorting by an aggregated key inside a group-by crashes polars 2.1 with many groups.
    """
    counts = lengths(points)
    starts = np.cumsum(counts) - counts
    size = points["size"].cast(pl.Float64).to_numpy()
    away = np.abs(size - np.repeat(np.add.reduceat(size, starts) / counts, counts))
    rows = np.flatnonzero(away == np.repeat(np.minimum.reduceat(away, starts), counts))
    _, first = np.unique(np.searchsorted(starts, rows, side="right"), return_index=True)
    return np.asarray(rows[first])


def _with_level(levels: pl.DataFrame, estimate: pl.Expr, df: pl.Expr, setting: Setting) -> pl.DataFrame:
    """Add centre, sigma, limits (of a point that is one reading) and the reason where there are none."""
    least = 1 if setting.sigma is not None and setting.center is not None else 2
    center = pl.col("mean") if setting.center is None else pl.lit(float(setting.center))
    sigma = estimate if setting.sigma is None else pl.lit(float(setting.sigma))
    levels = levels.with_columns(raw_sigma=sigma.cast(pl.Float64), center=center.cast(pl.Float64))
    floor = 0.0 if setting.resolution is None else setting.resolution / math.sqrt(12)
    given = setting.sigma is not None
    held_up = pl.col("raw_sigma") if given else pl.max_horizontal("raw_sigma", pl.lit(floor))
    levels = levels.with_columns(sigma=held_up)
    enough = pl.col("baseline_points") if given else pl.min_horizontal("baseline_points", df + 1)
    # equal readings such as 0.1 + 0.2 and 0.3 differ by rounding only: that is no spread either
    spread = pl.when(pl.col("sigma") > 1e-13 * pl.col("center").abs()).then(pl.col("sigma"))
    reason = spread_reason(spread, enough, least, setting.resolution)
    levels = levels.with_columns(reason=reason, sigma_df=df.cast(pl.Float64))
    known = pl.Series(np.full(levels.height, math.inf))
    center_points = levels["baseline_points"] if setting.center is None else known
    factor = limit_factors(setting.limits, center_points, known if given else levels["sigma_df"])
    reach = pl.col("sigma") * factor
    return levels.with_columns(lower=pl.col("center") - reach, upper=pl.col("center") + reach)


def _warnings(levels: pl.DataFrame, setting: Setting) -> dict[str, tuple[str, ...]]:
    """Sentences about few points and about a sigma held up by the step of the gauge."""
    out: dict[str, tuple[str, ...]] = {}
    given = setting.sigma is not None and setting.center is not None
    wanted = ("series", "baseline_points", "raw_sigma", "sigma", "reason")
    for name, points, raw, sigma, reason in levels.select(wanted).iter_rows():
        found = None if given or reason is not None else few_points_warning(points, setting.limits)
        sentences = [] if found is None else [found]
        if setting.resolution is not None and setting.sigma is None and reason is None and not sigma <= raw:
            sentences.append(floor_warning(sigma, setting.resolution))
        if sentences:
            out[str(name)] = tuple(sentences)
    return out


def _subgroup_frame(values: ArrayLike, subgroup: ArrayLike) -> pl.DataFrame:
    readings, labels = as_readings(values, least=1), np.asarray(subgroup)
    if labels.shape != readings.shape:
        raise StatisticsError(
            f"there are {readings.size} readings and {labels.size} subgroup labels: "
            "one label a reading is needed"
        )
    return pl.DataFrame({"value": readings, "subgroup": labels})

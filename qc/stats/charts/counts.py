"""Charts for counts: defects, defects per unit, number defective, proportion.

Three-sigma limits are the usual ones; for small means they are wrong on both sides and the exact Poisson or
binomial ones say what can really be asked of a count. Counts that scatter more than counts should are found
by a test, and their limits can be corrected for it.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import polars as pl
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from qc.plain import JsonObject
from qc.stats.charts.chart import Chart
from qc.stats.charts.count_limits import binomial_limits, poisson_limits
from qc.stats.charts.table import ChartTable, arrange, check_columns, first_true, spread_out
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers import AS_THEY_ARE, GREATEST, LEAST, Setting, as_readings, check_paired, factors, shown

CountKind = Literal["defects", "defects-per-unit", "number-defective", "proportion"]
DISPERSION_DOUBT = 0.01  # a test this clear that counts scatter too much earns a warning
MOVING_D2 = factors(2).d2


def count_chart(
    counts: ArrayLike,
    sizes: ArrayLike | None = None,
    kind: CountKind = "defects",
    setting: Setting = AS_THEY_ARE,
    *,
    exact: bool = False,
    corrected: bool = False,
) -> Chart:
    """Chart of counts of defects or of defective pieces.

    Parameters
    ----------
    counts : array-like of whole numbers >= 0, length m
        Defects, or defective pieces, found at each point.
    sizes : array-like of float > 0, length m, optional
        Units inspected; not for `defects`, needed for the others. One size throughout for number-defective.
    kind : str
        `defects` (c), `defects-per-unit` (u), `number-defective` (np) or `proportion` (p).
    setting : Setting
        Baseline and given centre (in what is plotted). Limits are textbook ones.
    exact : bool
        Limits from the Poisson or binomial distribution, each tail at most 0.135 %.
    corrected : bool
        Three-sigma limits widened by the spread that the counts show from point to point.

    Returns
    -------
    Chart
        Plotted counts or rates; `extras` holds the over-dispersion test.

    Raises
    ------
    StatisticsError
        A count that is negative or not whole, a size that is not above 0, more defective than inspected, or
        no defect at all in the baseline.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.1 and 6.3.3.2.
    .. [2] Laney, "Improved control charts for attributes", Quality Engineering 14 (2002): the correction.

    Examples
    --------
    >>> chart = count_chart([16, 14, 28, 16, 12, 20, 10, 12])
    >>> chart.center, chart.lower, chart.upper
    (16.0, 4.0, 28.0)
    """
    columns = {"value": as_readings(counts, "count", least=1)}
    if sizes is not None:
        columns["size"] = as_readings(sizes, "size", least=1)
        many = columns["value"].size, columns["size"].size
        check_paired(many[0], "counts", many[1], "sizes", "one size a count")
    return count_table(pl.DataFrame(columns), kind, setting, exact=exact, corrected=corrected).only()


def count_table(
    frame: pl.DataFrame,
    kind: CountKind,
    setting: Setting = AS_THEY_ARE,
    *,
    exact: bool = False,
    corrected: bool = False,
) -> ChartTable:
    """Charts of counts of many series in one pass; options, errors and sources as for `count_chart`.

    Parameters
    ----------
    frame : DataFrame
        `value` (counts), `size` as the kind needs it and, for several series, `series`. A series without any
        defect is kept with its reason.

    Examples
    --------
    >>> frame = pl.DataFrame({"value": [2.0, 3.0], "size": [10.0, 20.0]})
    >>> count_table(frame, "proportion").points["value"].to_list()
    [0.2, 0.15]
    """
    _check_options(setting, exact, corrected)
    points = _checked_counts(arrange(frame), kind)
    binomial, total = kind in ("number-defective", "proportion"), kind in ("defects", "number-defective")
    how = binomial, total, exact
    base = setting.baseline.mask(pl.col("point"))
    levels = points.group_by("series", maintain_order=True).agg(
        points=pl.len(),
        baseline_points=base.sum(),
        rate=pl.col("count").filter(base).sum() / pl.col("size").filter(base).sum(),
        typical=pl.col("size").mean(),
        least=pl.col("size").min(),
        most=pl.col("size").max(),
    )
    if kind == "number-defective" and bool((levels["least"] != levels["most"]).any()):
        raise StatisticsError("number-defective needs one size throughout: chart the proportion instead")
    scale = pl.col("typical") if total else pl.lit(1.0)
    if setting.center is not None:
        levels = levels.with_columns(rate=pl.lit(float(setting.center)) / scale)
    levels = _with_spread(levels, scale, binomial, total)
    rate, size = spread_out(levels, "rate"), points["size"]
    spread = rate * (1 - rate) if binomial else rate
    sd = (spread * size if total else spread / size).clip(lower_bound=0.0).sqrt()
    points = points.with_columns(sd=sd, factor=pl.Series(np.ones(points.height)))
    points, levels = _dispersion(points, levels, base, corrected)
    center, rate = spread_out(levels, "center"), spread_out(levels, "rate")
    points = _with_limits(points, center, rate, points["size"], points["sd"], how=how)
    varying = bool((levels["least"] != levels["most"]).any())
    # at the mean size, which is drawn where one line must do; a binomial has whole pieces: the nearer of two
    typical = pl.Series(np.round(levels["typical"].to_numpy())) if binomial and exact else levels["typical"]
    levels = _with_limits(levels, levels["center"], levels["rate"], typical, levels["sigma"], how=how)
    extras, warnings = _said(levels, corrected)
    return ChartTable(kind, points, levels, varying=varying, extras=extras, warnings=warnings)


def _check_options(setting: Setting, exact: bool, corrected: bool) -> None:
    if setting.limits.method != "textbook":
        raise StatisticsUsageError(
            f"{setting.limits.method} limits are for measured values: use exact for counts"
        )
    if setting.sigma is not None:
        raise StatisticsUsageError("a count has no sigma of its own: its spread follows from its mean")
    if exact and corrected:
        raise StatisticsUsageError(
            "exact limits cannot be corrected for over-dispersion: choose one of the two"
        )


def _checked_counts(points: pl.DataFrame, kind: CountKind) -> pl.DataFrame:
    """Check counts and sizes, and add what is plotted."""
    count = points["value"]
    if (row := first_true((count < 0) | (count != count.round()))) is not None:
        raise StatisticsError(f"count {row + 1} is {shown(count[row])}: counts are whole numbers from 0 up")
    if kind == "defects":
        points = points.with_columns(size=pl.lit(1.0))
    elif "size" not in points.columns:
        raise StatisticsUsageError(f"{kind} needs the size inspected at each point")
    check_columns(points, "size")
    size = points["size"]
    if (row := first_true(~size.is_between(LEAST, GREATEST))) is not None:
        raise StatisticsError(f"size {row + 1} is {shown(size[row])}: it must be above 0 and finite")
    if kind in ("number-defective", "proportion"):
        if not bool((size == size.round()).all()):
            raise StatisticsError("sizes are whole numbers of pieces where pieces are counted as defective")
        if (row := first_true(count > size)) is not None:
            raise StatisticsError(
                f"count {row + 1} is {shown(count[row])} of {shown(size[row])} inspected: "
                "no more can be defective than were inspected"
            )
    plotted = count if kind in ("defects", "number-defective") else count / size
    return points.select("series", "point", "size", count=pl.col("value"), value=plotted)


def _with_spread(levels: pl.DataFrame, scale: pl.Expr, binomial: bool, total: bool) -> pl.DataFrame:
    spread = pl.col("rate") * (1 - pl.col("rate")) if binomial else pl.col("rate")
    sigma = (spread * pl.col("typical") if total else spread / pl.col("typical")).clip(lower_bound=0.0).sqrt()
    none = "no defect in the baseline: give a longer one or a centre, or chart the time between faults"
    every = "every piece is defective: there is no spread to set limits by"
    full = (pl.col("rate") >= 1) if binomial else pl.lit(False)
    empty = ~(pl.col("rate") > 0).fill_null(False)
    reason = pl.when(empty).then(pl.lit(none)).when(full).then(pl.lit(every))
    return levels.with_columns(center=pl.col("rate") * scale, sigma=sigma, reason=reason)


def _dispersion(
    points: pl.DataFrame, levels: pl.DataFrame, base: pl.Expr, corrected: bool
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Test that counts scatter as counts do, and the factor that widens limits where they do not."""
    z = (points["value"] - spread_out(levels, "center")) / points["sd"]
    steps = pl.col("z").diff().abs().filter(base & (pl.col("point") > 1)).mean() / MOVING_D2
    found = (
        points.with_columns(z=z)
        .group_by("series", maintain_order=True)
        .agg(square=(pl.col("z") ** 2).filter(base).sum(), widen=steps)
    )
    levels = levels.with_columns(
        dispersion=found["square"] / (levels["baseline_points"] - 1.0),
        dispersion_p=pl.Series(
            chdtrc(levels["baseline_points"].to_numpy() - 1.0, found["square"].fill_nan(0.0).to_numpy())
        ),
        widen=found["widen"] if corrected else pl.Series(np.ones(levels.height)),
    )
    if corrected:
        points = points.with_columns(sd=points["sd"] * spread_out(levels, "widen"))
        flat = pl.lit("corrected limits need counts that differ from point to point: use the plain limits")
        spread = (pl.col("widen").fill_nan(None) > 0).fill_null(False)
        levels = levels.with_columns(
            sigma=pl.col("sigma") * pl.col("widen"),
            reason=pl.col("reason").fill_null(pl.when(~spread).then(flat)),
        )
    return points, levels


def _with_limits(frame: pl.DataFrame, *levels: pl.Series, how: tuple[bool, bool, bool]) -> pl.DataFrame:
    """Add the limits of each row from its centre, rate, size and sd."""
    binomial, total, exact = how
    center, rate, size, sd = (level.to_numpy() for level in levels)
    if exact:
        rate = np.nan_to_num(rate)
        low, high = binomial_limits(size, rate) if binomial else poisson_limits(size * rate)
        if not total:
            low, high = low / size, high / size
    else:
        low, high = np.maximum(center - 3 * sd, 0.0), center + 3 * sd
        if binomial:
            high = np.minimum(high, size if total else 1.0)
    return frame.with_columns(lower=pl.Series(low), upper=pl.Series(high))


def _said(levels: pl.DataFrame, corrected: bool) -> tuple[dict[str, JsonObject], dict[str, tuple[str, ...]]]:
    """Give the over-dispersion test of each series, and a sentence where it is clear."""
    extras: dict[str, JsonObject] = {}
    warnings: dict[str, tuple[str, ...]] = {}
    for row in levels.iter_rows(named=True):
        name, enough = str(row["series"]), row["baseline_points"] > 1
        extras[name] = {
            "dispersion": {
                "ratio": row["dispersion"] if enough else None,
                "p_value": row["dispersion_p"] if enough else None,
                "widened_by": row["widen"] if corrected else None,
            }
        }
        if enough and row["reason"] is None and row["dispersion_p"] < DISPERSION_DOUBT and not corrected:
            ratio = shown(row["dispersion"], 3)
            warnings[name] = (
                f"the counts scatter {ratio} times as much (variance) as counts should: these limits are too "
                "tight; look for a mix of causes or use corrected limits",
            )
    return extras, warnings

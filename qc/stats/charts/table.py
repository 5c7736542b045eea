"""Charts of many series at once: one frame of points, one of levels, and the way from there to single charts.

Rows of one series stand together and in order of making; `arrange` sees to it. A series that cannot be
charted keeps its row in `levels` with the reason, so that one bad series never stops ten thousand good ones.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl

from qc.plain import FrameRow, JsonObject
from qc.stats.charts.chart import Chart, Companion, Side, Signal
from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, LimitRule, check_magnitude, shown
from qc.stats.tabled import Tabled

MANY_SERIES = 20_000  # beyond it, a loop over series costs more than it saves
ONLY = ""  # name of the one series when there are no names
Found = tuple[int, str, Side, int, float]  # row, rule, side, first row of the pattern, size


@dataclass(frozen=True, slots=True)
class ChartTable(Tabled):
    """Charts of one kind for many series.

    Attributes
    ----------
    kind : str
        Chart kind.
    points : DataFrame
        One row per plotted point: `series, point` (from 1), `value`; where they differ from the levels
        `sd, lower, upper`; where there is a companion chart `companion`, and `companion_lower,
        companion_upper` where its limits vary.
    levels : DataFrame
        One row per series in the same order: `series, points, center, sigma, lower, upper, reason`; a series
        with a reason has no limits.
    companion_kind : str or None
        Kind of the companion chart.
    varying : bool
        Whether limits differ from point to point.
    extras : mapping of series name to mapping
        What only this kind has.
    warnings : mapping of series name to tuple of str
        Sentences about a series.
    """

    kind: str
    points: pl.DataFrame
    levels: pl.DataFrame
    companion_kind: str | None = None
    varying: bool = False
    extras: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    warnings: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def to_dict(self) -> JsonObject:
        """Return the charts by series name; series that cannot be charted are left out."""
        return {name: chart.to_dict() for name, chart in self.charts().items()}

    def to_frame(self) -> pl.DataFrame:
        """Return one row per point of every series."""
        return self.points

    def charts(self) -> dict[str, Chart]:
        """Return the charts by series name; series that cannot be charted are left out (see `levels`)."""
        out: dict[str, Chart] = {}
        start = 0
        columns = {name: self.points[name].to_numpy() for name in self.points.columns if name not in _KEYS}
        for level in self.levels.iter_rows(named=True):
            rows = slice(start, start + level["points"])
            start += level["points"]
            if level["reason"] is None:
                name = str(level["series"])
                out[name] = self._chart(name, level, {key: part[rows] for key, part in columns.items()})
        return out

    def only(self) -> Chart:
        """Return the chart of the one series.

        Raises
        ------
        StatisticsError
            It cannot be charted; the message says why and what is needed.
        """
        reason = self.levels["reason"][0]
        if reason is not None:
            raise StatisticsError(reason)
        return next(iter(self.charts().values()))

    def _chart(self, name: str, level: FrameRow, part: Mapping[str, Floats]) -> Chart:
        """Cut one series out; a chart of two sums has no single value to plot."""
        values: Floats | dict[str, Floats] = part["value"]
        if "high" in part:
            values = {"high": part["high"], "low": part["low"]}
        return Chart(
            kind=self.kind,
            center=level["center"],
            lower=level["lower"],
            upper=level["upper"],
            sigma=level["sigma"],
            values=values,
            lowers=part["lower"] if self.varying else None,
            uppers=part["upper"] if self.varying else None,
            companion=self._companion(level, part),
            warnings=self.warnings.get(name, ()),
            extras=self.extras.get(name, {}),
        )

    def column(self, name: str) -> pl.Series:
        """Return `sd`, `lower` or `upper` of every point, from the levels where all points share it."""
        if name in self.points.columns:
            return self.points[name]
        return spread_out(self.levels, "sigma" if name == "sd" else name)

    def companion_points(self) -> pl.DataFrame:
        """Points of the companion chart with their limits: `series, point, companion` and the two limits."""
        points = self.points
        if "companion_upper" not in points.columns:
            limits = ("companion_lower", "companion_upper")
            points = points.with_columns([spread_out(self.levels, name) for name in limits])
        return points.select("series", "point", "companion", "companion_lower", "companion_upper")

    def _companion(self, level: FrameRow, part: Mapping[str, Floats]) -> Companion | None:
        if self.companion_kind is None:
            return None
        lowers, uppers = part.get("companion_lower"), part.get("companion_upper")
        varies = uppers is not None and uppers.size > 0 and bool(np.ptp(uppers) > 0)
        return Companion(
            kind=self.companion_kind,
            center=level["companion_center"],
            lower=level["companion_lower"],
            upper=level["companion_upper"],
            values=part["companion"],
            lowers=lowers if varies else None,
            uppers=uppers if varies else None,
        )


_KEYS = ("series", "point")


def arrange(frame: pl.DataFrame, *needed: str) -> pl.DataFrame:
    """Bring the rows of each series together (order of first appearance kept) and number them in `point`.

    Parameters
    ----------
    frame : DataFrame
        At least `value` (finite numbers); `series` may be missing when there is only one.
    needed : str
        Further columns that must be there, without an empty cell.

    Raises
    ------
    StatisticsError
        No rows, a column that is not there, or a value that is missing or not finite.

    Examples
    --------
    >>> arrange(pl.DataFrame({"series": ["a", "b", "a"], "value": [1.0, 2.0, 3.0]}))["value"].to_list()
    [1.0, 3.0, 2.0]
    """
    if frame.height == 0:
        raise StatisticsError("there are no readings: at least two are needed")
    check_columns(frame, *needed)
    frame = frame.rechunk()  # many small chunks, as a file is read, slow every step down
    if "series" not in frame.columns:
        frame = frame.with_columns(series=pl.lit(ONLY))
    faulty = frame.select(pl.col("value").is_null() | ~pl.col("value").is_finite())["value"]
    if (row := first_true(faulty)) is not None:
        raise StatisticsError(
            f"value, reading {row + 1} is {frame['value'][row]}: every reading must be a finite number; "
            "leave a missing one out"
        )
    check_magnitude(frame.select(pl.col("value").abs().max()).item(), "value")
    runs = frame["series"].rle_id()
    if int(runs[-1]) + 1 != frame["series"].n_unique():
        frame = frame.with_row_index("_row")
        frame = frame.sort(pl.col("_row").min().over("series"), maintain_order=True).drop("_row")
    return frame.with_columns(point=pl.Series(positions(lengths(frame)), dtype=pl.UInt32))


def check_columns(frame: pl.DataFrame, *needed: str) -> None:
    """Refuse a frame without a needed column, with an empty cell in one, or with values that are no numbers.

    Raises
    ------
    StatisticsError
        The message names the column and, for an empty cell, its row.
    """
    for name in ("value", *needed):
        if name not in frame.columns:
            there = ", ".join(f"'{column}'" for column in frame.columns) or "none"
            raise StatisticsError(f"there is no column '{name}', which is needed; there are {there}")
        column = frame[name]
        if name in ("value", "size") and not (column.dtype.is_numeric() or column.dtype == pl.Null):
            raise StatisticsError(f"column '{name}' holds {column.dtype}: numbers are needed")
        if name != "value" and (row := first_true(column.is_null())) is not None:
            raise StatisticsError(
                f"column '{name}' is empty at reading {row + 1}: fill it in or leave it out"
            )


def first_true(holds: pl.Series) -> int | None:
    """First row at which something holds."""
    rows = holds.arg_true()
    return int(rows[0]) if rows.len() else None


def lengths(frame: pl.DataFrame) -> np.ndarray[Any, np.dtype[np.int64]]:
    """Rows of each series of an arranged frame, in order."""
    counts: np.ndarray[Any, np.dtype[np.int64]] = np.array(
        frame["series"].rle().struct.field("len").to_list()
    )
    return counts


def series_of(frame: pl.DataFrame) -> Iterator[pl.DataFrame]:
    """Rows of each series of an arranged frame, series by series."""
    start = 0
    for count in lengths(frame).tolist():
        yield frame.slice(start, count)
        start += count


def positions(counts: np.ndarray[Any, np.dtype[np.int64]]) -> np.ndarray[Any, np.dtype[np.uint32]]:
    """1, 2, ... within each of the stretches of the given lengths."""
    ends = np.cumsum(counts)
    if counts.size > MANY_SERIES:
        numbered = np.arange(1, int(ends[-1]) + 1, dtype=np.uint32)
        numbered -= np.repeat((ends - counts).astype(np.uint32), counts)
        return numbered
    # few long series: copying one count up is far cheaper than spreading out where each begins
    one = np.arange(1, int(counts.max()) + 1, dtype=np.uint32)
    every = np.empty(int(ends[-1]), dtype=np.uint32)
    for begin, end in zip((ends - counts).tolist(), ends.tolist(), strict=True):
        every[begin:end] = one[: end - begin]
    return every


def spread_out(levels: pl.DataFrame, column: str) -> pl.Series:
    """Repeat a figure of each series over its points."""
    return pl.Series(column, np.repeat(levels[column].to_numpy(), levels["points"].to_numpy()))


def signals_by_series(table: ChartTable, found: Iterable[Found]) -> dict[str, tuple[Signal, ...]]:
    """Turn what was found on the rows of a table into signals by series name."""
    point, names = table.points["point"].to_numpy(), table.points["series"]
    sigma = spread_out(table.levels, "sigma").to_numpy()
    out: dict[str, list[Signal]] = {}
    for row, rule, side, start, size in found:
        name, relative = str(names[row]), float(size / sigma[row]) if sigma[row] > 0 else None
        signal = Signal(int(point[row]), rule, side, int(point[start]), size, relative, name or None)
        out.setdefault(name, []).append(signal)
    return {name: tuple(signals) for name, signals in out.items()}


def limit_factors(rule: LimitRule, center_points: pl.Series, sigma_df: pl.Series) -> pl.Series:
    """Limit factor for each row; the factor is computed once for each pair of counts."""
    if rule.method == "textbook":
        return pl.Series("factor", np.full(center_points.len(), rule.factor()))
    frame = pl.DataFrame({"center": center_points.cast(pl.Float64), "df": sigma_df.cast(pl.Float64)})
    pairs = frame.unique()
    found = [
        rule.factor(center, df) if center >= 1 and df >= 1 else math.nan for center, df in pairs.iter_rows()
    ]
    known = pairs.with_columns(factor=pl.Series(found, dtype=pl.Float64))
    return frame.join(known, on=["center", "df"], how="left", maintain_order="left")["factor"]


def spread_reason(sigma: pl.Expr, points: pl.Expr, least: int, resolution: float | None) -> pl.Expr:
    """Say per series why no limits can be drawn, or null."""
    too_few = pl.format(
        "the baseline holds {} point{}: at least {} are needed for limits",
        points,
        pl.when(points == 1).then(pl.lit("")).otherwise(pl.lit("s")),
        pl.lit(least),
    )
    flat = pl.format(
        "the spread is zero (all {} points of the baseline agree): give a resolution or a sigma, "
        "or read with a finer gauge",
        points,
    )
    needed = pl.when(points.fill_null(0) < least).then(too_few)
    return needed.when(sigma.is_null() | ~(sigma > 0)).then(flat) if resolution is None else needed


def few_points_warning(points: int, rule: LimitRule) -> str | None:
    """Say what limits from fewer than 20 points are worth."""
    # common practice, no source
    if points >= 20:
        return None
    words = f"limits rest on {points} points only"
    if rule.method == "textbook":
        return (
            f"{words}: from so few, textbook limits are often far off; "
            "prediction or guaranteed limits allow for it"
        )
    return f"{words}: they are wide because so little is known"


def floor_warning(sigma: float, resolution: float) -> str:
    """Say that the spread was raised to what the step of the gauge alone produces."""
    return (
        f"sigma was raised to {shown(sigma)}, the least a gauge step of {shown(resolution)} "
        "can show (step / root 12)"
    )

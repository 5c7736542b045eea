"""What a chart is made of: points, limits, companion chart and signals."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import polars as pl

from qc.plain import JsonObject
from qc.stats.numbers import Floats, Integers, number, numbers
from qc.stats.tabled import Tabled

Side = Literal["above", "below", "both"]


@dataclass(frozen=True, slots=True)
class Signal(Tabled):
    """One offending point: which rule, on which side, since which point, how far off on average."""

    point: int
    rule: str
    side: Side
    start: int
    size: float
    size_sigma: float | None
    series: str | None = None

    def to_dict(self) -> JsonObject:
        """Return the signal by the names of the `qc study` contract."""
        return {
            "series": self.series,
            "point": self.point,
            "rule": self.rule,
            "side": self.side,
            "start": self.start,
            "size": number(self.size),
            "size_sigma": number(self.size_sigma),
        }


@dataclass(frozen=True, slots=True)
class Companion:
    """The chart of the spread beside a chart of the level (moving range, range or sd)."""

    kind: str
    center: float
    lower: float
    upper: float
    values: Floats | Mapping[str, Floats]
    lowers: Floats | None = None
    uppers: Floats | None = None

    def to_dict(self, *, points: bool = True) -> JsonObject:
        """Return the chart by the names of the contract; `points=False` leaves the values out."""
        return _chart_dict(self, {}, points)


@dataclass(frozen=True, slots=True)
class Chart(Tabled):
    """A control chart: centre, limits, sigma, plotted values and what was found on them.

    `sigma` is the spread that the limits rest on, of one reading for charts of subgroups, of a plotted point
    otherwise. `extras` holds what only this kind has (slope of a trend, variance components ...).
    """

    kind: str
    center: float | None
    lower: float | None
    upper: float | None
    sigma: float | None
    values: Floats | Mapping[str, Floats]
    lowers: Floats | None = None
    uppers: Floats | None = None
    companion: Companion | None = None
    signals: tuple[Signal, ...] = ()
    warnings: tuple[str, ...] = ()
    extras: Mapping[str, object] = field(default_factory=dict)

    def to_dict(self, *, points: bool = True) -> JsonObject:
        """Return the chart by the names of the contract; `points=False` leaves the values out."""
        out = _chart_dict(self, {"sigma": number(self.sigma)}, points)
        out.update(self.extras)
        if self.companion is not None:
            out["companion"] = self.companion.to_dict(points=points)
        return out

    def to_frame(self) -> pl.DataFrame:
        """Return one row per point: values, centre, limits and whether it signalled."""
        values = self.values if isinstance(self.values, Mapping) else {"value": self.values}
        count = len(next(iter(values.values())))
        flagged = np.zeros(count, dtype=bool)
        flagged[[signal.point - 1 for signal in self.signals]] = True
        columns: dict[str, Floats | Integers] = {"point": np.arange(1, count + 1), **values}
        columns["center"] = np.full(count, np.nan if self.center is None else self.center)
        columns["lower"] = _limit(self.lowers, self.lower, count)
        columns["upper"] = _limit(self.uppers, self.upper, count)
        return pl.DataFrame(columns).fill_nan(None).with_columns(signal=pl.Series(flagged))


def _limit(each: Floats | None, all_points: float | None, count: int) -> Floats:
    if each is not None:
        return each
    return np.full(count, np.nan if all_points is None else all_points)


def _chart_dict(chart: Chart | Companion, middle: JsonObject, points: bool) -> JsonObject:
    """Write what a chart and its companion have in common; limits of each point only where they vary."""
    out: JsonObject = {
        "kind": chart.kind,
        "center": number(chart.center),
        "lower": number(chart.lower),
        "upper": number(chart.upper),
        **middle,
    }
    if points:
        if isinstance(chart.values, Mapping):
            out["values"] = {name: numbers(part) for name, part in chart.values.items()}
        else:
            out["values"] = numbers(chart.values)
        if chart.lowers is not None:
            out["lowers"] = numbers(chart.lowers)
        if chart.uppers is not None:
            out["uppers"] = numbers(chart.uppers)
    return out

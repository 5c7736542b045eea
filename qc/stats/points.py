"""What a chart is made of: points, limits, companion chart, signals; and the checks on what goes in."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.tabled import Tabled

Side = Literal["above", "below", "both"]
Floats = NDArray[np.float64]

# fourth powers (of variances, in intervals) stay finite below the one and above 0 beyond the other
GREATEST, LEAST = 1e60, 1e-60


@dataclass(frozen=True, slots=True)
class Signal:
    """One offending point: which rule, on which side, since which point, how far off on average."""

    point: int
    rule: str
    side: Side
    start: int
    size: float
    size_sigma: float | None
    series: str | None = None

    def to_dict(self) -> dict[str, Any]:
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

    def to_dict(self, *, points: bool = True) -> dict[str, Any]:
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
    extras: Mapping[str, Any] = field(default_factory=dict)

    def to_dict(self, *, points: bool = True) -> dict[str, Any]:
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
        columns: dict[str, Any] = {"point": np.arange(1, count + 1), **values}
        columns["center"] = np.full(count, np.nan if self.center is None else self.center)
        columns["lower"] = _limit(self.lowers, self.lower, count)
        columns["upper"] = _limit(self.uppers, self.upper, count)
        return pl.DataFrame(columns).fill_nan(None).with_columns(signal=pl.Series(flagged))


@dataclass(frozen=True, slots=True)
class Baseline:
    """The points that set the limits, counted from 1, both ends included; `last=None` means to the end.

    Points in `left_out` set no limits although they lie between the ends.
    """

    first: int = 1
    last: int | None = None
    left_out: tuple[int, ...] = ()

    @classmethod
    def parse(cls, text: str) -> Baseline:
        """Read `all`, `N` (the first N points) or `A:B` (points A to B).

        Raises
        ------
        StatisticsUsageError
            Anything else, or a range that runs backwards.

        Examples
        --------
        >>> Baseline.parse("20"), Baseline.parse("5:24")
        (Baseline(first=1, last=20, left_out=()), Baseline(first=5, last=24, left_out=()))
        """
        parts = text.strip().split(":")
        try:
            if parts == ["all"]:
                return cls()
            numbers = [int(part) for part in parts]
        except ValueError:
            numbers = []
        if len(numbers) == 1:
            numbers = [1, *numbers]
        if len(numbers) != 2 or not 1 <= numbers[0] <= numbers[1]:
            raise StatisticsUsageError(f"baseline {text!r} is not known: use all, N (first N points) or A:B")
        return cls(numbers[0], numbers[1])

    def mask(self, point: pl.Expr) -> pl.Expr:
        """Tell for a column of point numbers which belong to the baseline."""
        inside = point >= self.first
        if self.last is not None:
            inside = inside & (point <= self.last)
        return inside if not self.left_out else inside & ~point.is_in(self.left_out)

    def holds(self, point: int) -> bool:
        """Tell whether a point belongs to the baseline."""
        inside = self.first <= point and (self.last is None or point <= self.last)
        return inside and point not in self.left_out

    def select(self, points: int) -> NDArray[np.bool_]:
        """Return the mask of an array of `points` points that belong to the baseline."""
        return np.array([self.holds(point) for point in range(1, points + 1)], dtype=bool)


def as_readings(values: ArrayLike, name: str = "value", *, least: int = 2) -> Floats:
    """Take readings as an array of finite numbers.

    Parameters
    ----------
    values : array-like of float, length n
        Readings in order of making. [any unit]
    name : str
        What to call them in a message.
    least : int
        Fewest readings that will do.

    Returns
    -------
    ndarray of float, length n

    Raises
    ------
    StatisticsError
        Not a plain list of numbers, too few, one that is missing or infinite (its place is named), or
        numbers too large or too small for their squares to be computed with.

    Examples
    --------
    >>> as_readings([1, 2.5])
    array([1. , 2.5])
    """
    array = as_floats(values, name)
    if array.ndim != 1:
        raise StatisticsError(f"{name} has {array.ndim} dimensions: one reading after the other is needed")
    faulty = np.flatnonzero(~np.isfinite(array))
    if faulty.size:
        raise StatisticsError(
            f"{name}, reading {int(faulty[0]) + 1} is {array[faulty[0]]}: every reading must be a finite "
            "number; leave a missing one out"
        )
    if array.size:
        check_magnitude(max(array.max(), -array.min()), name)
    if array.size < least:
        raise StatisticsError(f"{name} has {array.size} readings: at least {least} are needed")
    return array


def as_floats(values: ArrayLike, name: str) -> Floats:
    """Take an array of any shape as real numbers; text, holes and complex numbers are refused."""
    try:
        array = np.asarray(values)
        if array.dtype.kind == "c":
            raise TypeError("complex")
        return np.asarray(array, dtype=np.float64)
    except (TypeError, ValueError):
        raise StatisticsError(
            f"{name} holds something that is not a number: only numbers can be judged"
        ) from None


def check_magnitude(peak: float, name: str) -> None:
    """Refuse readings whose greatest magnitude is so large or small that squares leave a double's range."""
    if peak > GREATEST:
        raise StatisticsError(f"{name} holds a reading beyond {GREATEST:g}: too large to compute with")
    if 0 < peak < LEAST:
        raise StatisticsError(
            f"{name} holds no reading above {LEAST:g}: too small to compute with; use a smaller unit"
        )


def as_number(value: float, name: str, *, above: float | None = None, least: float | None = None) -> float:
    """Take one figure that a statistic is asked with, finite and within its range.

    Raises
    ------
    StatisticsError
        Not finite, beyond what can be squared, or out of its range; the message names the figure.

    Examples
    --------
    >>> as_number(3, "width", above=0.0)
    3.0
    """
    figure = float(value)
    if not abs(figure) <= GREATEST:
        raise StatisticsError(f"{name} is {value}: a finite number is needed")
    if above is not None and not figure > above:
        raise StatisticsError(f"{name} is {value}: it must be above {above:g}")
    if above == 0.0 and figure < LEAST:
        raise StatisticsError(f"{name} is {value}: too small to compute with; use a smaller unit")
    if least is not None and not figure >= least:
        raise StatisticsError(f"{name} is {value}: it must be at least {least:g}")
    return figure


def number(value: float | None) -> float | None:
    """Return a plain float for JSON; what is missing, NaN or infinite becomes None."""
    if value is None:
        return None
    plain = float(value)
    return plain if math.isfinite(plain) else None


def numbers(values: Floats | Sequence[float]) -> list[float | None]:
    """Return plain floats for JSON; NaN becomes None."""
    array = np.asarray(values, dtype=np.float64)
    plain: list[float | None] = array.tolist()
    if not np.isfinite(array).all():
        plain = [number(value) for value in plain]
    return plain


def shown(value: float, digits: int = 5) -> str:
    """Return a number as a person writes it in a sentence: five significant digits."""
    return f"{value:.{digits}g}"


def _limit(each: Floats | None, all_points: float | None, count: int) -> Floats:
    if each is not None:
        return each
    return np.full(count, np.nan if all_points is None else all_points)


def _chart_dict(chart: Chart | Companion, middle: dict[str, Any], points: bool) -> dict[str, Any]:
    """Write what a chart and its companion have in common; limits of each point only where they vary."""
    out: dict[str, Any] = {
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

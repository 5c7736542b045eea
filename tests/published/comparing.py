"""What a comparison with a published item is: one row of the table of differences."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

Item = dict[str, Any]


@dataclass(frozen=True)
class Row:
    """One quantity of one item: the greatest difference that was reached, and what was allowed."""

    quantity: str
    difference: float
    tolerance: float
    kind: str  # "absolute", "relative" or "standard errors"
    values: int
    note: str = ""

    @property
    def holds(self) -> bool:
        """Whether the difference is within the tolerance."""
        return self.values > 0 and self.difference <= self.tolerance


Comparison = Callable[[Item, dict[str, Item]], Iterator[Row]]
COMPARISONS: dict[str, Comparison] = {}


def compares(*names: str) -> Callable[[Comparison], Comparison]:
    """Register the comparison of an item by its id."""

    def register(comparison: Comparison) -> Comparison:
        for name in names:
            COMPARISONS[name] = comparison
        return comparison

    return register


def flat(values: Any) -> list[float]:
    """Numbers of a number, list, array or mapping in order; None (no value yet) stays NaN."""
    if isinstance(values, dict):
        return [number for part in values.values() for number in flat(part)]
    if isinstance(values, list | tuple) or (isinstance(values, np.ndarray) and values.ndim):
        return [number for part in values for number in flat(part)]
    return [math.nan if values is None else float(values)]


def near(
    quantity: str,
    ours: Any,
    theirs: Any,
    *,
    absolute: float | None = None,
    relative: float | None = None,
    errors: Any = None,
    allowed: float = 4.0,
    note: str = "",
) -> Row:
    """Hold ours against theirs: absolutely, relatively, or in standard errors of a simulated value."""
    a, b = np.array(flat(ours)), np.array(flat(theirs))
    if a.size != b.size or not np.array_equal(np.isnan(a), np.isnan(b)):
        return Row(quantity, math.inf, 0.0, "absolute", max(a.size, 1), "not as many values")
    gap = np.abs(a - b)[~np.isnan(a)]
    theirs_known = b[~np.isnan(b)]
    if relative is not None:
        scale = np.where(theirs_known == 0.0, 1.0, np.abs(theirs_known))
        return Row(quantity, float(np.max(gap / scale)), relative, "relative", gap.size, note)
    if errors is not None:
        scores = gap / np.array(flat(errors))
        return Row(quantity, float(np.max(scores)), allowed, "standard errors", gap.size, note)
    assert absolute is not None
    return Row(quantity, float(np.max(gap)), absolute, "absolute", gap.size, note)


def same(quantity: str, ours: Any, theirs: Any, note: str = "") -> Row:
    """Hold what must agree exactly: counts, points, verdicts."""
    difference = 0.0 if ours == theirs else math.inf
    return Row(quantity, difference, 0.0, "absolute", 1, note)


def half_unit(digits: int) -> float:
    """Half a unit in the last of so many printed decimals."""
    return 0.5 * 10.0**-digits * (1 + 1e-9)


def data_of(item: Item, items: dict[str, Item]) -> Any:
    """Data of an item; `see B14` sends to another one."""
    data = item.get("data", item.get("rows"))
    if isinstance(data, str) and data.startswith("see "):
        return data_of(items[data.split()[1]], items)
    if isinstance(data, dict):
        return data.get("rows", data)
    return data

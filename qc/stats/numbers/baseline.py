"""Which points set the limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from qc.stats.errors import StatisticsUsageError
from qc.stats.numbers.arrays import Flags


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

    def select(self, points: int) -> Flags:
        """Return the mask of an array of `points` points that belong to the baseline."""
        return np.array([self.holds(point) for point in range(1, points + 1)], dtype=bool)

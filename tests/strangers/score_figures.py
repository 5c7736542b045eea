"""The figures of a score, each said with its standard error."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

import numpy as np


class Cell(Protocol):
    """One figure of the table."""

    def text(self) -> str:
        """Say it with its error."""


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many; its error is binomial."""

    hits: int
    of: int

    @classmethod
    def over(cls, marks: Iterable[bool]) -> Share:
        """Count how many hold."""
        every = list(marks)
        return cls(sum(every), len(every))

    def text(self) -> str:
        """Say count and share in per cent, plus or minus one standard error."""
        if not self.of:
            return "-"
        # none and all would have no error at all: half a piece more on either side has one
        near = (self.hits + 0.5) / (self.of + 1) if self.hits in {0, self.of} else self.hits / self.of
        error = math.sqrt(near * (1 - near) / self.of)
        return f"{self.hits}/{self.of}: {100 * self.hits / self.of:.0f} ±{100 * error:.0f} %"


@dataclass(frozen=True, slots=True)
class Excess:
    """So many told where so many are allowed; its error is that of a Poisson count."""

    told: int
    allowed: float

    def text(self) -> str:
        """Say both and their ratio, plus or minus one standard error; that of none is taken as of one."""
        if not self.allowed:
            return "-"
        ratio, error = self.told / self.allowed, math.sqrt(max(self.told, 1)) / self.allowed
        return f"{self.told} on {self.allowed:.1f}: {ratio:.1f} ±{error:.1f}"


@dataclass(frozen=True, slots=True)
class Spread:
    """Figures of which the middle and the quartiles tell."""

    values: tuple[float, ...]

    def text(self) -> str:
        """Say median, quartiles and how many."""
        if not self.values:
            return "-"
        low, middle, high = np.quantile(self.values, (0.25, 0.5, 0.75))
        return f"{middle:.0f} ({low:.0f} to {high:.0f}), n {len(self.values)}"


@dataclass(frozen=True, slots=True)
class Plain:
    """A count that is no sample."""

    value: float

    def text(self) -> str:
        """Say it."""
        return f"{self.value:,.0f}"

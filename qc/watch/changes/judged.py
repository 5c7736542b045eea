"""A series as it is judged: its figures, their shape, and what was learned of how they scatter."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from qc.stats import Floats, Noise, learned_scores, step_variance

LEAST_TOLD_APART = 8
"""So many pieces a state must hold before kinds of change are told apart in it; `qc.stats.fit_kinds` asks for
as many."""


@dataclass(frozen=True, slots=True)
class JudgedSeries:
    """Figures of a series and how they are judged.

    Attributes
    ----------
    values : float array
        The series. [unit]
    shape : str
        As the plan names it; ranks (`any`) tell, place and join nothing anew.
    noise : Noise or None
        What was learned: the shape, where the plan leaves it open (`auto`), and what pieces of one lot and
        neighbours have in common; None: nothing.
    lots : sequence of str or None, or None
        The lot of each piece; None where none are recorded.
    """

    values: Floats
    shape: str = "normal"
    noise: Noise | None = None
    lots: Sequence[str | None] | None = None

    def between(
        self, begin: int, end: int, singles: Collection[int], passed: Collection[int] = ()
    ) -> State | None:
        """Take the pieces from one ordinal up to another; None where ranks judge them.

        `singles` are the ordinals of pieces told as a `single`, `passed` those of another state altogether.
        """
        own = self.values[begin - 1 : end - 1]
        if self.shape == "any" or (self.shape == "positive" and not float(own.min()) > 0):
            return None
        gone = frozenset(i - begin + 1 for i in passed if begin <= i < end)
        apart = frozenset(i - begin + 1 for i in singles if begin <= i < end) | gone
        lots = None if self.lots is None else tuple(self.lots[begin - 1 : end - 1])
        floor = step_variance(own)
        state = State(begin, own, own, apart, floor, self.noise, lots, gone=gone)
        if self.shape == "positive":
            return replace(state, scale=np.log(own), floor=floor / float(np.median(own)) ** 2, logs=True)
        # fewer pieces are only measured, in their unit
        if self.shape == "auto" and self.noise is not None and own.size >= LEAST_TOLD_APART:
            scored = learned_scores(own, self.noise, resolution=float(np.sqrt(12 * floor)) or None)
            return replace(state, scale=scored.scores, floor=scored.floor, readings_of=scored.back.readings)
        return state


@dataclass(frozen=True, slots=True)
class State:
    """The pieces of one state of a series: since the last change that lasts, up to the next.

    `scale` holds them as judged (readings, logarithms or normal scores under the learned shape), `floor` the
    variance of the gauge's step there, `apart` the pieces told as a `single`, from 1 within the state;
    `readings_of` leads from normal scores back to the unit. `gone` are those of `apart` that were told to be
    of another state: to leave them out has no price.
    """

    begin: int
    values: Floats
    scale: Floats
    apart: frozenset[int]
    floor: float
    noise: Noise | None = None
    lots: tuple[str | None, ...] | None = None
    logs: bool = False
    readings_of: Callable[[Sequence[float]], list[float]] | None = None
    gone: frozenset[int] = frozenset()

    def until(self, end: int) -> State:
        """Leave out the pieces from the ordinal `end` on."""
        size = max(end - self.begin, 0)
        lots = None if self.lots is None else self.lots[:size]
        return replace(self, values=self.values[:size], scale=self.scale[:size], lots=lots)

    def ordinals(self) -> list[int]:
        """Ordinals of the pieces that were not set aside."""
        return [self.begin + i for i in range(self.values.size) if i + 1 not in self.apart]

    def since(self, point: int) -> int:
        """Count the pieces made after a point."""
        return sum(i > point for i in self.ordinals())

    def falls(self, place: int) -> bool:
        """Say whether the level is lower from a piece on, counted from 1 within the state."""
        return float(self.values[place - 1 :].mean()) < float(self.values[: place - 1].mean())

    def kept(self) -> Floats:
        """JudgedSeries figures of the pieces that were not set aside."""
        return np.array([self.scale[i - self.begin] for i in self.ordinals()])

    def kept_lots(self) -> list[str | None] | None:
        """Lots of the pieces that were not set aside."""
        return None if self.lots is None else [self.lots[i - self.begin] for i in self.ordinals()]

    def in_unit(self, changes: Sequence[float], place: int) -> list[float]:
        """Say changes of the judged level before a kept piece (from 1) in the unit of the readings."""
        if not self.logs and self.readings_of is None:
            return list(changes)
        level = float(self.kept()[: place - 1].mean())
        if self.readings_of is None:
            return [float(np.exp(level) * np.expm1(change)) for change in changes]
        before, *after = self.readings_of([level, *(level + change for change in changes)])
        return [reading - before for reading in after]

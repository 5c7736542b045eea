"""Random numbers that come out the same on every machine and Python: one named stream per use."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from typing import TypeVar

Item = TypeVar("Item")


class Noise:
    """A stream of random numbers named by seed and purpose.

    Streams of different names do not touch each other, so a change in one part of the workshop leaves the
    figures of all others as they were. Everything is built on ``random.Random.random``, the one call whose
    sequence Python keeps from version to version.
    """

    def __init__(self, seed: int, name: str) -> None:
        self._uniform = random.Random(f"{seed}/{name}").random

    def uniform(self, low: float = 0.0, high: float = 1.0) -> float:
        """Return a number between `low` and `high`."""
        return low + (high - low) * self._uniform()

    def normal(self, sd: float) -> float:
        """Return a normal number of mean 0 and standard deviation `sd` (Box and Muller)."""
        radius = math.sqrt(-2.0 * math.log(1.0 - self._uniform()))
        return sd * radius * math.cos(2.0 * math.pi * self._uniform())

    def ratio(self, spread: float) -> float:
        """Return a log-normal factor of median 1; `spread` is the ratio of one standard deviation."""
        return math.exp(self.normal(math.log(spread)))

    def poisson(self, mean: float) -> int:
        """Return a count with the given mean (products of uniform numbers, right for small means)."""
        limit, product, count = math.exp(-mean), self._uniform(), 0
        while product > limit:
            product *= self._uniform()
            count += 1
        return count

    def chance(self, share: float) -> bool:
        """Return True in the given share of calls."""
        return self._uniform() < share

    def pick(self, items: Sequence[Item]) -> Item:
        """Return one of the items, each as likely as the next."""
        return items[int(self._uniform() * len(items))]

    def whole(self, low: int, high: int) -> int:
        """Return a whole number from `low` to `high`, both included."""
        return low + int(self._uniform() * (high - low + 1))

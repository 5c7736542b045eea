"""Those who do the parts of a work, and this process as one of them: one part after the other."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Protocol, TypeVar

Part = TypeVar("Part")
Done = TypeVar("Done")


class Hands(Protocol):
    """Does the parts of a work, and gives back what each came to in the order of the parts."""

    def __call__(self, work: Callable[[Part], Done], parts: Iterable[Part]) -> Iterator[Done]:
        """Do `work` to each part; only a few are asked for ahead of what was taken."""


def in_turn(work: Callable[[Part], Done], parts: Iterable[Part]) -> Iterator[Done]:
    """Do the parts in this process, each when its result is asked for.

    Examples
    --------
    >>> list(in_turn(len, ["ab", "c"]))
    [2, 1]
    """
    return map(work, parts)

"""Who does the parts of a work: this process, one part after the other, unless an address says otherwise."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, nullcontext
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


def hands_of(address: str | None) -> AbstractContextManager[Hands]:
    """Return those who work: the cluster at an address, or this process where there is none."""
    if address is None:
        return nullcontext(in_turn)
    from qc.jobs.spread.cluster import on_cluster

    return on_cluster(address)

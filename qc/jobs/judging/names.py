"""What people call a signal by: a short number, in the order in which signals were first told."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final, Protocol, TypeVar

DIGITS: Final = 6
"""A number has no more digits than this; an id of digits alone has twelve."""


class Called(Protocol):
    """A signal, for whatever face."""

    @property
    def id(self) -> str:
        """Stays the same however often the signal is judged again."""

    @property
    def before(self) -> tuple[str, ...]:
        """Ids that it went by."""

    @property
    def numbers(self) -> tuple[int, ...]:
        """Its number, and those that it went by."""


Signal = TypeVar("Signal", bound=Called)


def name_of(own: str, numbers: Collection[int]) -> str:
    """Return what people call a signal by: the lowest of its numbers, or its id where it has none.

    Examples
    --------
    >>> name_of("432aadfcf36d", [17, 21]), name_of("432aadfcf36d", [])
    ('17', '432aadfcf36d')
    """
    return str(min(numbers)) if numbers else own


def answering(every: Sequence[Signal], asked: str) -> list[Signal]:
    """Return the signals that answer to what was typed: that of the number, else those whose id begins so.

    A number that none bears is no beginning of an id: one digit mistyped would close another signal.
    """
    wanted = asked.strip().lower()
    if wanted.isdecimal() and len(wanted) <= DIGITS:
        numbered = [s for s in every if int(wanted) in s.numbers]
        if numbered or any(s.numbers for s in every):
            return numbered
    return [s for s in every if wanted and any(own.startswith(wanted) for own in (s.id, *s.before))]

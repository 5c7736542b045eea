"""The order of the stages, from the days on which their pieces were measured."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from statistics import fmean

_NUMBER = re.compile(r"^(?P<letters>.*?)(?P<number>\d+)$")

Days = Mapping[str, date]
"""Serial -> the first day on which a stage measured it."""


def in_order(stages: Sequence[Days]) -> list[int]:
    """Return the stages in order of making, by their place in the list.

    Of two stages that measured the same pieces, the earlier is the one that most of them came to first. Where
    no piece stands on sheets of both, a stage is the earlier whose pieces bear the higher numbers for their
    day: pieces are begun in order of their numbers. What neither tells keeps the order in which it was given.

    Parameters
    ----------
    stages : sequence of mapping
        Of each stage its pieces with their first days.

    Examples
    --------
    >>> from datetime import date
    >>> lacquer, slide = {"A-1": date(2026, 6, 15)}, {"A-1": date(2026, 6, 8), "A-2": date(2026, 6, 9)}
    >>> draw = {"A-4": date(2026, 6, 8)}
    >>> in_order([draw, lacquer, slide])
    [0, 2, 1]
    """
    pace = _pace(stages)
    won = [0] * len(stages)
    for one, own in enumerate(stages):
        for other in range(one + 1, len(stages)):
            sign = _later(own, stages[other], pace)
            won[one] -= sign
            won[other] += sign
    return sorted(range(len(stages)), key=lambda n: (-won[n], n))


def _later(one: Days, other: Days, pace: float) -> int:
    """Return 1 where a stage comes after another, -1 where before, 0 where nothing tells."""
    both = [serial for serial in one if serial in other]
    if both:
        return _sign(sum(_sign((one[serial] - other[serial]).days) for serial in both))
    own, theirs = _numbered(one), _numbered(other)
    if not own or not theirs or {letters for letters, *_ in own} != {letters for letters, *_ in theirs}:
        return 0
    begun = _sign(_begun(own, pace) - _begun(theirs, pace))
    if begun or fmean(day for *_, day in own) != fmean(day for *_, day in theirs):
        return begun
    # on one day the higher number is at the earlier stage
    return _sign(fmean(n for _, n, _ in theirs) - fmean(n for _, n, _ in own))


def _begun(own: Sequence[tuple[str, int, int]], pace: float) -> float:
    """Return when a stage would have measured the piece of number nought."""
    return round(fmean(day - pace * number for _, number, day in own), 6)


def _pace(stages: Iterable[Days]) -> float:
    """Return days from one number to the next, as the sheets show it; 0 where they do not."""
    own = [numbered for stage in stages if (numbered := _numbered(stage))]
    # sheets of one day each show the pace only together
    for groups in (own, [[one for stage in own for one in stage]]):
        top = bottom = 0.0
        for group in groups:
            if not group:
                continue
            number, day = fmean(n for _, n, _ in group), fmean(d for *_, d in group)
            top += sum((n - number) * (d - day) for _, n, d in group)
            bottom += sum((n - number) ** 2 for _, n, _ in group)
        if bottom and top > 0:
            return top / bottom
    return 0.0


def _numbered(stage: Days) -> list[tuple[str, int, int]]:
    found = ((_NUMBER.match(serial), day) for serial, day in stage.items())
    return [(match["letters"], int(match["number"]), day.toordinal()) for match, day in found if match]


def _sign(value: float) -> int:
    return (value > 0) - (value < 0)

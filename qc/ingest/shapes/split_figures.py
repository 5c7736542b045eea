"""Figures that their decimal comma split in a comma-separated sheet: the ways to join them again."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import combinations

MOST_SPLIT = 4  # so many figures of one line may have been split; more ways would take too long to try
_DIGITS = re.compile(r"^[+-]?\d{1,4}$")
_TAIL = re.compile(r"^\d{1,4}$")


def ways_to_join(cells: Sequence[str], extra: int) -> Iterator[list[str]]:
    """Give every way to join as many neighbours as a line has too many cells; none of too many.

    Examples
    --------
    >>> list(ways_to_join(["S-1", "14", "05", "crook"], 1))
    [['S-1', '14,05', 'crook']]
    """
    if extra > MOST_SPLIT:
        return
    pairs = [at for at in range(len(cells) - 1) if _is_split(cells[at], cells[at + 1])]
    for chosen in combinations(pairs, extra):
        way = _joined(cells, chosen)
        if way is not None:
            yield way


def _is_split(whole: str, fraction: str) -> bool:
    return bool(_DIGITS.match(whole.strip()) and _TAIL.match(fraction.strip()))


def _joined(cells: Sequence[str], starts: tuple[int, ...]) -> list[str] | None:
    if any(b - a < 2 for a, b in zip(starts, starts[1:], strict=False)):
        return None
    out, index = [], 0
    while index < len(cells):
        if index in starts:
            out.append(f"{cells[index].strip()},{cells[index + 1].strip()}")
            index += 2
        else:
            out.append(cells[index])
            index += 1
    return out

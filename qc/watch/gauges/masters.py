"""What a gauge is checked on: its zero or a ring, each a line of its own, and which of the two moved."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

Moved = Literal["", "zero", "ring", "both"]
"""What moved: all by the same (its zero), only what it reads on a ring, or both and not by the same."""

LEAST_BESIDE: Final = 3
"""Checks of the other line before and since, to be compared; fewer have no scatter (house rule)."""

NEAR: Final = 2.0
"""So many standard errors two moves may differ and count as the same (chosen: about 95 in 100)."""

HALF_A_STEP: Final = 0.5
"""Less than half a step of the gauge is no move, whatever the standard errors (chosen)."""

_ZERO_WORDS: Final = frozenset({"zero", "null", "nullpunkt"})
_NUMBER: Final = re.compile(r"^[+-]?\d+(?:[.,]\d+)?(?=\s*(?:mm|um|µm|cm|n|g|cent|cents)?$)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class MasterCheck:
    """One check: its day, the reading less the master, and what the master was."""

    day: date
    value: float  # unit of the gauge
    master: str = ""  # as written on the card; empty where it does not say
    zeroed: bool = False  # it was zeroed after it


def is_zero(master: str) -> bool:
    """Say whether a master is the zero of a gauge: by its name, or by a figure that is 0.

    Examples
    --------
    >>> [is_zero(name) for name in ("Zero", "0,000 mm", "ring 14.05", "14.05", "0.5 mm foil", "")]
    [True, True, False, False, False, False]
    """
    written = master.strip()
    number = _NUMBER.match(written)
    if number:
        return float(number.group().replace(",", ".")) == 0.0
    return not _ZERO_WORDS.isdisjoint(re.findall(r"[a-z]+", written.casefold()))


def master_line(master: str) -> str:
    """Return the line that a check belongs to: all zeros are one, other masters go by their name.

    Examples
    --------
    >>> master_line("0"), master_line("Ring  14.05"), master_line("")
    ('zero', 'ring 14.05', '')
    """
    return "zero" if is_zero(master) else " ".join(master.casefold().split())


def masters_words(line: str) -> str:
    """Return what stands after "its checks": nothing where no master is named.

    Examples
    --------
    >>> [masters_words(line) for line in ("", "zero", "ring 14.05", "14.05")]
    ['', ' at zero', ' on ring 14.05', ' on its master of 14.05']
    """
    if not line:
        return ""
    if line == "zero":
        return " at zero"
    return f" on its master of {line}" if line[0].isdigit() else f" on {line}"


def lines_of(checks: Iterable[MasterCheck]) -> dict[str, list[MasterCheck]]:
    """Return checks by the line they belong to, in order of time, zero first.

    Examples
    --------
    >>> day = date(2026, 3, 2)
    >>> list(lines_of([MasterCheck(day, 0.001, "Ring 14.05"), MasterCheck(day, 0.0, "0")]))
    ['zero', 'ring 14.05']
    """
    found: dict[str, list[MasterCheck]] = {}
    for check in checks:
        found.setdefault(master_line(check.master), []).append(check)
    return dict(sorted(found.items(), key=lambda one: one[0] != "zero"))


def worst_of_days(checks: Iterable[MasterCheck]) -> list[MasterCheck]:
    """Return one check a day: of the last on each master the one furthest off, for that one decides.

    A check that came later on the same day and on the same master stands for the earlier: the gauge was
    zeroed between them. A good zero beside a ring that is off does not.

    Examples
    --------
    >>> day = date(2026, 3, 2)
    >>> own = [(0.009, "zero"), (0.0, "zero"), (-0.006, "ring")]
    >>> worst_of_days(MasterCheck(day, *one) for one in own)[0].value
    -0.006
    """
    by_day: dict[date, dict[str, MasterCheck]] = {}
    for check in checks:
        by_day.setdefault(check.day, {})[master_line(check.master)] = check
    return [max(own.values(), key=lambda one: abs(one.value)) for _, own in sorted(by_day.items())]


def moved_together(
    lines: Mapping[str, Sequence[MasterCheck]], line: str, since: date, resolution: float
) -> Moved:
    """Tell by zero and ring beside each other what moved on a day.

    Parameters
    ----------
    lines : mapping of str to sequence of MasterCheck
        Checks by line, from `lines_of`; the zero stands under "zero".
    line : str
        The line that changed: compared with the zero, and the zero with the ring that is checked most.
    since : date
        First day of the change.
    resolution : float
        Step of the gauge. [unit of its checks]

    Returns
    -------
    str
        `zero`, `ring`, `both`; empty where only one line is kept, too little was checked, or the scatter
        does not tell.

    References
    ----------
    .. [1] Difference of means with its standard error, sides not pooled (Welch, Biometrika 34, 1947); the
       two standard errors are common practice.

    Examples
    --------
    >>> days = [date(2026, 3, n) for n in range(2, 18)]
    >>> zero = [MasterCheck(day, value) for day, value in zip(days, [0.0, 0.001, 0.0, 0.0] * 4)]
    >>> ring = [MasterCheck(c.day, c.value + (0.004 if c.day.day > 9 else 0.0), "ring") for c in zero]
    >>> moved_together({"zero": zero, "ring": ring}, "ring", date(2026, 3, 10), 0.001)
    'ring'
    """
    others = [name for name in lines if name and name != "zero"]
    if "zero" not in lines or not line or not others:
        return ""
    ring = line if line != "zero" else max(others, key=lambda name: len(lines[name]))
    zero_move, ring_move = (_move(lines[name], since) for name in ("zero", ring))
    if zero_move is None or ring_move is None:
        return ""
    still = _none(*zero_move, resolution)
    alike = _none(ring_move[0] - zero_move[0], math.hypot(ring_move[1], zero_move[1]), resolution)
    if still and alike:
        return ""
    return "zero" if alike else "ring" if still else "both"


def _move(checks: Sequence[MasterCheck], since: date) -> tuple[float, float] | None:
    """Return by how much a line moved on a day, with its standard error; None with too few checks."""
    sides = [[c.value for c in checks if (c.day >= since) is after] for after in (False, True)]
    if min(map(len, sides)) < LEAST_BESIDE:
        return None
    before, after = (math.fsum(side) / len(side) for side in sides)
    error = sum(
        math.fsum((value - mean) ** 2 for value in side) / (len(side) - 1) / len(side)
        for side, mean in zip(sides, (before, after), strict=True)
    )
    return after - before, math.sqrt(error)


def _none(move: float, error: float, resolution: float) -> bool:
    return abs(move) <= max(NEAR * error, HALF_A_STEP * resolution)

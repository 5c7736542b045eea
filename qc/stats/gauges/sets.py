"""Readings of a gauge taken with repeats day after day, gathered into one average and sd for each day."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from qc.stats.errors import StatisticsError
from qc.stats.gauges.levels import NestedLevels, nested_levels
from qc.stats.numbers import as_number, as_readings
from qc.stats.tabled import Tabled
from qc.words import count_words

Key = tuple[str, str | None, str | None]  # day, part, run; None where there is no such column


@dataclass(frozen=True, slots=True)
class RepeatSets(Tabled):
    """Sets of repeats, one for each part on each day of each run.

    Attributes
    ----------
    averages, sds : tuple of float, length n
        Of the repeats. [unit of the readings]
    days, parts, runs : tuple of str, length n
        What each set is of; `parts` and `runs` are None where there is no such column.
    repeats : int
        Readings in each set.
    """

    ROWS: ClassVar[str] = "sets"

    averages: tuple[float, ...]
    sds: tuple[float, ...]
    days: tuple[str, ...]
    parts: tuple[str, ...] | None
    runs: tuple[str, ...] | None
    repeats: int

    def to_dict(self) -> dict[str, object]:
        """Return plain values."""
        columns: dict[str, Sequence[object]] = {"day": self.days}
        columns |= {} if self.parts is None else {"part": self.parts}
        columns |= {} if self.runs is None else {"run": self.runs}
        columns |= {"average": self.averages, "sd": self.sds}
        rows = zip(*columns.values(), strict=True)
        return {"repeats": self.repeats, "sets": [dict(zip(columns, row, strict=True)) for row in rows]}

    def levels(self, *, confidence: float = 0.95) -> NestedLevels:
        """Spread within days, between days and, where there are runs, between runs.

        Raises
        ------
        StatisticsError
            A part with other days than the rest or without a run, fewer than two days or runs.
        """
        none = (None,) * len(self.days)
        parts = self.parts or none
        self._check_full(parts, self.runs or none)
        return nested_levels(
            self.averages, self.sds, parts, self.runs, repeats=self.repeats, confidence=confidence
        )

    def _check_full(self, parts: Sequence[str | None], runs: Sequence[str | None]) -> None:
        """Refuse sets with holes, in the words of days and runs."""
        found = Counter(zip(parts, runs, strict=True))
        cells = ((part, run) for part in dict.fromkeys(parts) for run in dict.fromkeys(runs))
        counts = {cell: found[cell] for cell in cells}
        most = max(counts.values())
        for (part, run), count in counts.items():
            if count < most:
                raise StatisticsError(
                    f"gauge over days: {_words(None, part, run)} has {count or 'no'} day{'s' * (count != 1)} "
                    f"where others have {most}; measure the missing ones or leave the extra ones out"
                )
        if most < 2:
            raise StatisticsError("gauge over days: one day only; two days or more are needed")
        if self.runs is not None and len(set(runs)) < 2:
            raise StatisticsError(
                "gauge over days: one run only; leave the column of runs out, or measure another run"
            )


def repeat_sets(
    values: ArrayLike,
    days: Sequence[object],
    parts: Sequence[object] | None = None,
    runs: Sequence[object] | None = None,
) -> RepeatSets:
    """Gather readings into sets of repeats, in order of first appearance.

    Parameters
    ----------
    values : array_like of float, length n
        Readings. [any unit]
    days, parts, runs : sequence, length n
        When, on what and in which run each was taken; a day's name counts only within its run.

    Raises
    ------
    StatisticsError
        Lengths that differ, a set of one reading, or sets of different size; the first is named.

    References
    ----------
    .. [1] Ours; averages and sds (n - 1) as NIST/SEMATECH e-Handbook 2.6.1 and 2.6.2 start from them.

    Examples
    --------
    >>> found = repeat_sets([1.0, 3.0, 2.0, 2.0], ["mon", "mon", "tue", "tue"])
    >>> found.averages, [round(sd, 4) for sd in found.sds], found.repeats
    ((2.0, 2.0), [1.4142, 0.0], 2)
    """
    readings = as_readings(values, "gauge over days: value", least=4)
    keys = _keys(readings.size, days, parts, runs)
    cells: dict[Key, list[float]] = {}
    for key, reading in zip(keys, readings.tolist(), strict=True):
        cells.setdefault(key, []).append(reading)
    counts = [len(cell) for cell in cells.values()]
    usual = max(set(counts), key=lambda count: (counts.count(count), count))
    for key, cell in cells.items():
        if len(cell) != usual:
            raise StatisticsError(
                f"gauge over days: {_words(*key)} has {count_words(len(cell), 'reading')} where others have "
                f"{usual}; each day needs the same number of repeats"
            )
    if usual < 2:
        raise StatisticsError(
            f"gauge over days: {_words(*key)} has 1 reading; two repeats or more on each day are needed "
            "(a time of day in the column of days makes every reading a day of its own)"
        )
    table = np.array(list(cells.values()), dtype=np.float64)
    # exactly 0 where all repeats read the same, which rounding of the mean would hide
    spreads = np.where(np.ptp(table, axis=1) == 0.0, 0.0, table.std(axis=1, ddof=1))
    return _sets(table.mean(axis=1), spreads, list(cells), usual)


def averaged_sets(
    averages: ArrayLike,
    sds: ArrayLike,
    days: Sequence[object],
    parts: Sequence[object] | None = None,
    runs: Sequence[object] | None = None,
    *,
    repeats: int,
) -> RepeatSets:
    """Take averages and sds that somebody has worked out already, in the order given.

    Parameters
    ----------
    averages, sds : array_like of float, length n
        Of the repeats of one day. [any unit]
    days, parts, runs : sequence, length n
        As for `repeat_sets` (source there).
    repeats : int, >= 2
        Readings behind each average.

    Raises
    ------
    StatisticsError
        Lengths that differ, a negative sd, one repeat, or a day that stands twice.

    Examples
    --------
    >>> averaged_sets([2.0, 2.1], [0.1, 0.2], ["mon", "tue"], repeats=6).days
    ('mon', 'tue')
    """
    levels = as_readings(averages, "gauge over days: average", least=2)
    spreads = as_readings(sds, "gauge over days: sd", least=2)
    as_number(repeats, "gauge over days: number of repeats", least=2.0)
    if spreads.size != levels.size:
        raise StatisticsError(
            f"gauge over days: {levels.size} averages and {spreads.size} sds; give each one"
        )
    if spreads.min() < 0.0:
        raise StatisticsError(f"gauge over days: an sd is {spreads.min():g}, must be at least 0")
    keys = _keys(levels.size, days, parts, runs)
    seen: set[Key] = set()
    for key in keys:
        if key in seen:
            raise StatisticsError(
                f"gauge over days: {_words(*key)} has two averages; give one a day, or the readings "
                "themselves"
            )
        seen.add(key)
    return _sets(levels, spreads, keys, repeats)


def _keys(
    count: int, days: Sequence[object], parts: Sequence[object] | None, runs: Sequence[object] | None
) -> list[Key]:
    """Day, part and run of each row as text."""
    things = [None] * count if parts is None else [str(part) for part in parts]
    series = [None] * count if runs is None else [str(run) for run in runs]
    if not len(days) == len(things) == len(series) == count:
        raise StatisticsError(
            f"gauge over days: {count} readings, {len(days)} days, {len(things)} parts and {len(series)} "
            "runs; each reading needs one of each"
        )
    return list(zip(map(str, days), things, series, strict=True))


def _sets(averages: np.ndarray, sds: np.ndarray, keys: Sequence[Key], repeats: int) -> RepeatSets:
    """Put the columns together."""
    days, parts, runs = zip(*keys, strict=True)
    there = [None if names[0] is None else names for names in (parts, runs)]
    return RepeatSets(tuple(averages.tolist()), tuple(sds.tolist()), days, there[0], there[1], repeats)


def _words(day: str | None, part: str | None, run: str | None) -> str:
    """Say which set: the names that there are."""
    named = (("part", part), ("run", run), ("day", day))
    return ", ".join(f"{word} {name}" for word, name in named if name is not None) or "the gauge"

"""Readings of a gauge study put into a full layout, or a sentence about the reading that is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, Integers, as_readings
from qc.stats.tabled import Tabled
from qc.words import count_words


@dataclass(frozen=True, slots=True)
class Layout(Tabled):
    """A layout, full unless holes were allowed.

    Attributes
    ----------
    readings : ndarray
        Shape (parts, persons, repeats); nested: (persons, parts of each, repeats); NaN where none was taken.
        [unit of the readings]
    parts, persons : tuple of str
        Names in order of first appearance; nested: the parts as `person / part`.
    """

    readings: Floats
    parts: tuple[str, ...]
    persons: tuple[str, ...]
    nested: bool = False

    @property
    def taken(self) -> Floats:
        """The readings there are, one after the other."""
        return np.asarray(self.readings[~np.isnan(self.readings)])

    @property
    def full(self) -> bool:
        """Whether every person read every part equally often."""
        return not bool(np.isnan(self.readings).any())

    def labels(self) -> tuple[Integers, Integers]:
        """Part and person of each reading in `taken`, from 0; nested: a number of its own for every part."""
        first, second, _ = np.nonzero(~np.isnan(self.readings))
        return (first * self.readings.shape[1] + second, first) if self.nested else (first, second)


def lay_out(
    values: ArrayLike,
    parts: Sequence[object],
    persons: Sequence[object] | None = None,
    *,
    nested: bool = False,
    holes: bool = False,
) -> Layout:
    """Sort readings into a full layout of parts, persons and repeats.

    Parameters
    ----------
    values : array_like of float, length n
        Readings, repeats in the order taken. [any unit]
    parts : sequence, length n
        Part of each reading.
    persons : sequence, length n, optional
        Person of each reading; one person when left out.
    nested : bool
        Each person measures parts of their own; a part's name counts only within its person.
    holes : bool
        Let a part lack readings of a person, or have fewer; nested: a person have fewer parts than others.

    Raises
    ------
    StatisticsError
        Lengths that differ, or a combination with too few or too many readings (it is named).

    References
    ----------
    .. [1] Ours; a full layout is what the tables of `qc.stats.gauges.anova` rest on.

    Examples
    --------
    >>> lay_out([1.0, 2.0, 3.0, 4.0], ["a", "b", "a", "b"]).readings.tolist()
    [[[1.0, 3.0]], [[2.0, 4.0]]]
    """
    readings = as_readings(values, "gauge study: value", least=2)
    people = ["-"] * readings.size if persons is None else [str(person) for person in persons]
    pieces = [str(part) for part in parts]
    if not len(pieces) == len(people) == readings.size:
        raise StatisticsError(
            f"gauge study: {readings.size} readings, {len(pieces)} parts and {len(people)} persons; "
            "each reading needs a part and a person"
        )
    cells: dict[tuple[str, str], list[float]] = {}
    for piece, person, reading in zip(pieces, people, readings.tolist(), strict=True):
        cells.setdefault((piece, person), []).append(reading)
    names, workers = tuple(dict.fromkeys(pieces)), tuple(dict.fromkeys(people))
    if nested:
        return _nested(cells, workers, holes=holes)
    if holes:
        return _with_holes(cells, names, workers)
    _check_full(cells, names, workers)
    array = np.array([[cells[piece, person] for person in workers] for piece in names], dtype=np.float64)
    return Layout(array, names, workers)


def evenly_read(layout: Layout) -> tuple[Floats, tuple[str, ...]]:
    """Take the parts of a crossed layout that every person read equally often, for figures by hand.

    Parameters
    ----------
    layout : Layout
        Crossed, with holes or without.

    Returns
    -------
    ndarray, tuple of str
        Readings without holes, shape (parts, persons, repeats), first repeats of each; names of the parts
        that were left out.

    Raises
    ------
    StatisticsError
        Fewer than two parts were read twice by every person.

    References
    ----------
    .. [1] Ours: of all numbers of repeats the one that keeps most readings.

    Examples
    --------
    >>> readings, left_out = evenly_read(lay_out([1.0, 2.0, 3.0, 4.0, 5.0], list("aabbc"), holes=True))
    >>> readings.shape, left_out
    ((2, 1, 2), ('c',))
    """
    counts = (~np.isnan(layout.readings)).sum(axis=2).min(axis=1)
    kept = {repeats: counts >= repeats for repeats in range(2, layout.readings.shape[2] + 1)}
    usable = [repeats for repeats, parts in kept.items() if parts.sum() >= 2]
    if not usable:
        raise StatisticsError(
            "gauge study: figures by hand need two parts that every person read twice; leave --by-hand out, "
            "the study by variances still answers"
        )
    repeats = max(usable, key=lambda count: (int(kept[count].sum()) * count, count))
    own = kept[repeats]
    left = tuple(name for name, taken in zip(layout.parts, own, strict=True) if not taken)
    # readings stand first in their cell, holes after them
    return np.asarray(layout.readings[own][:, :, :repeats]), left


def _with_holes(
    cells: dict[tuple[str, str], list[float]], names: tuple[str, ...], workers: tuple[str, ...]
) -> Layout:
    """Fill the layout up with NaN."""
    most = max(len(readings) for readings in cells.values())
    array = np.full((len(names), len(workers), most), np.nan)
    for at, piece in enumerate(names):
        for by, person in enumerate(workers):
            found = cells.get((piece, person), [])
            array[at, by, : len(found)] = found
    return Layout(array, names, workers)


def _nested(cells: dict[tuple[str, str], list[float]], workers: tuple[str, ...], *, holes: bool) -> Layout:
    """Parts within their person; the same number for each, or filled up with NaN."""
    own = {person: [piece for piece, worker in cells if worker == person] for person in workers}
    counts = {person: len(pieces) for person, pieces in own.items()}
    most = max(counts.values())
    short = next((person for person in workers if counts[person] < most), None)
    if short is not None and not holes:
        raise StatisticsError(
            f"gauge study: {short} measured {counts[short]} parts where others measured {most}; "
            "measure the missing ones or leave the extra ones out"
        )
    if len({len(readings) for readings in cells.values()}) > 1 and not holes:
        _uneven(cells)
    repeats = max(len(readings) for readings in cells.values())
    array = np.full((len(workers), most, repeats), np.nan)
    for by, person in enumerate(workers):
        for at, piece in enumerate(own[person]):
            found = cells[piece, person]
            array[by, at, : len(found)] = found
    names = tuple(f"{person} / {piece}" for person in workers for piece in own[person])
    return Layout(array, names, workers, nested=True)


def _check_full(
    cells: dict[tuple[str, str], list[float]], names: tuple[str, ...], workers: tuple[str, ...]
) -> None:
    """Refuse a layout with holes and say where the first is."""
    for piece in names:
        for person in workers:
            if (piece, person) not in cells:
                by = "" if workers == ("-",) else f" by {person}"
                raise StatisticsError(
                    f"gauge study: part {piece} has no reading{by}; measure it, leave the part out, or study "
                    "parts of each person's own as nested"
                )
    if len({len(readings) for readings in cells.values()}) > 1:
        _uneven(cells)


def _uneven(cells: dict[tuple[str, str], list[float]]) -> None:
    """Name the combination whose number of repeats is not that of the most."""
    counts = [len(readings) for readings in cells.values()]
    # of two numbers equally common the greater: what is missing is then named, not what is there
    usual = max(set(counts), key=lambda count: (counts.count(count), count))
    (piece, person), readings = next((c, r) for c, r in cells.items() if len(r) != usual)
    by = "" if person == "-" else f" by {person}"
    raise StatisticsError(
        f"gauge study: part {piece} has {count_words(len(readings), 'reading')}{by} where others "
        f"have {usual}; each part needs the same number of repeats"
    )

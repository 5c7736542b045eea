"""The figures of one piece copied to another: a run of equal figures longer than chance gives.

Two pieces of equal mean agree at a place with a chance p, estimated from how figures scatter about their
piece and place. A run of k places agreeing has the chance p^k for one pair of pieces; k is chosen so that
the whole upload holds one such run by chance less often than once in ten thousand uploads.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.plan import PLACE

BY_CHANCE = 1e-4
"""Accepted chance that an honest upload holds a run called copied, for each characteristic."""

SHORTEST = 6
"""No shorter run is called copied, however unlikely."""


@dataclass(frozen=True, slots=True)
class PieceFigures:
    """The figures of one piece at its places, in the order of the sheet."""

    serial: str
    where: str
    order: tuple[int, int]
    places: tuple[str, ...]
    texts: tuple[float, ...]
    indexes: tuple[int, ...]


def find_copied_run(facts: Facts, doubted: Doubts) -> Doubted:
    """Find pieces whose figures repeat those of an earlier piece place by place."""
    if facts.readings.is_empty():
        return Doubted()
    usable = facts.readings.filter(
        (pl.col("_kind") == "measured") & pl.col("value").is_not_null() & ~pl.col(INDEX).is_in(list(doubted))
    )
    found: list[Finding] = []
    for _, group in usable.group_by(["stage", "characteristic"], maintain_order=True):
        found += _in_characteristic(group)
    return Doubted(found)


def shortest_run(values: Sequence[Sequence[float]], pairs: float) -> int:
    """Return how long a run must be before chance cannot have made it.

    Parameters
    ----------
    values : sequence of sequences of float
        Figures of each piece, place by place, less the mean of the place.
    pairs : float
        How many pairs of pieces are compared.

    Returns
    -------
    int
        Number of places in a row; at least 6.

    Examples
    --------
    >>> shortest_run([[0.0, 1.0, 2.0, 3.0], [1.0, 0.0, 3.0, 2.0]], 1.0)
    7
    """
    scatter: Counter[float] = Counter()
    for piece in values:
        middle = sorted(piece)[len(piece) // 2]
        scatter.update(round(value - middle, 6) for value in piece)
    total = sum(scatter.values())
    agree = min(0.95, max(1e-6, sum((n / total) ** 2 for n in scatter.values()))) if total else 0.95
    return max(SHORTEST, math.ceil(math.log(max(pairs, 1.0) / BY_CHANCE) / -math.log(agree)))


def _in_characteristic(group: pl.DataFrame) -> list[Finding]:
    pieces = _pieces(group)
    if len(pieces) < 2:
        return []
    by_place: dict[str, list[float]] = defaultdict(list)
    for piece in pieces:
        for place, value in zip(piece.places, piece.texts, strict=True):
            by_place[place].append(value)
    usual = {place: sorted(values)[len(values) // 2] for place, values in by_place.items()}
    level = [[value - usual[place] for place, value in zip(p.places, p.texts, strict=True)] for p in pieces]
    need = shortest_run(level, len(pieces) * (len(pieces) - 1) / 2)
    seen: dict[tuple[str, tuple[float, ...]], PieceFigures] = {}
    found = []
    for piece in sorted(pieces, key=lambda p: p.order):
        copied: dict[int, PieceFigures] = {}
        for at in range(len(piece.texts) - need + 1):
            window = piece.texts[at : at + need]
            if len(set(window)) < 3:
                continue  # a flat run is a coarse gauge, not a copy
            source = seen.setdefault((piece.places[at], window), piece)
            if source is not piece and source.serial != piece.serial:
                copied.update(dict.fromkeys(range(at, at + need), source))
        found += [_finding(piece, at, source, len(copied)) for at, source in copied.items()]
    return found


def _pieces(group: pl.DataFrame) -> list[PieceFigures]:
    # a piece with fewer figures than the shortest run can hold no copy
    place = pl.concat_str(
        [pl.col(n).cast(pl.String).fill_null("") for n in (*PLACE, "repeat")], separator="|"
    )
    keyed = group.with_columns(
        place.alias("_place"), pl.col("day").to_physical().fill_null(0).alias("_day")
    ).sort(INDEX)
    told = keyed.group_by(["_part", "serial"], maintain_order=True).agg(
        pl.col("file", "cell", "_day").first(), pl.col(INDEX, "_place", "value")
    )
    long_enough = told.filter(pl.col(INDEX).list.len() >= SHORTEST)
    return [
        PieceFigures(serial, f"{file}, {cell}", (day, own[0]), tuple(places), tuple(values), tuple(own))
        for _, serial, file, cell, day, own, places, values in long_enough.iter_rows()
    ]


def _finding(piece: PieceFigures, at: int, source: PieceFigures, length: int) -> Finding:
    problem = (
        f"{length} figures of {piece.serial} are the same in the same order as those of {source.serial} "
        f"({source.where})"
    )
    mend = "Measure the piece again; if both really read the same, confirm it."
    return Finding(piece.indexes[at], Reason.COPIED_RUN, problem, mend)

"""Numbers repeated readings at one place where the sheet has no column for it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from qc.ingest.unfolded import UnfoldedReading
from qc.plan import PLACE

Key = tuple[object, ...]
PIECE = ("serial", "stage", "characteristic", "gauge", "day")


def number_repeats(readings: Sequence[UnfoldedReading]) -> None:
    """Fill `repeat` in place where it was not typed.

    A card on which every place of a piece (two places or more) was read the same number of times, with
    readings that differ, is a card of repeats: they are numbered in order. Anything else is left at 1, so
    that a row typed twice is not taken for a second measurement.

    Parameters
    ----------
    readings : sequence of dict
        Unfolded readings of one sheet.

    Examples
    --------
    >>> piece = {"serial": "Q1", "stage": "bell", "characteristic": "wall", "gauge": "", "day": None}
    >>> typed = (("1", "5"), ("1", "6"), ("2", "5"), ("2", "5"))
    >>> rows = [{**piece, "station": s, "text": t} for s, t in typed]
    >>> number_repeats(rows)
    >>> [row["repeat"] for row in rows]
    [1, 2, 1, 2]
    """
    pieces: dict[Key, dict[Key, list[UnfoldedReading]]] = defaultdict(dict)
    for row in readings:
        if row.get("repeat") is None:
            at = tuple(row.get(name) for name in PLACE)
            pieces[tuple(row.get(name) for name in PIECE)].setdefault(at, []).append(row)
    for places in pieces.values():
        times = {len(rows) for rows in places.values()}
        differ = any(len({row["text"] for row in rows}) > 1 for rows in places.values())
        by_design = len(times) == 1 and times != {1} and len(places) > 1 and differ
        for rows in places.values():
            for turn, row in enumerate(rows, start=1):
                row["repeat"] = turn if by_design else 1

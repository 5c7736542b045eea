"""Numbers repeated readings at one place where the sheet has no column for it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence

from qc.ingest.unfolded import UnfoldedReading
from qc.plan import PLACE, Plan

Key = tuple[object, ...]
PIECE = ("serial", "stage", "characteristic", "gauge", "day")


def number_repeats(readings: Sequence[UnfoldedReading], plan: Plan | None = None) -> None:
    """Fill `repeat` in place where it was not typed.

    A card on which every place of a piece (two places or more) was read the same number of times, with
    readings that differ, is a card of repeats: they are numbered in order. Anything else is left at 1, so
    that a row typed twice is not taken for a second measurement. Where a place of the plan was read twice and
    its one fellow not at all, as a leg of a slide, the name of the place is likelier wrong.

    Parameters
    ----------
    readings : sequence of dict
        Unfolded readings of one sheet.
    plan : Plan, optional
        The measuring plan, which names the places of a figure.

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
        by_design = by_design and not (
            times == {2} and _lacks_fellow(next(iter(places.values()))[0], places, plan)
        )
        for rows in places.values():
            for turn, row in enumerate(rows, start=1):
                row["repeat"] = turn if by_design else 1


def _lacks_fellow(row: UnfoldedReading, places: Collection[Key], plan: Plan | None) -> bool:
    """Tell whether of two places that the plan names only one was read."""
    figure = plan.characteristic(row["stage"], row["characteristic"]) if plan is not None else None
    for at, name in enumerate(PLACE):
        if name == "valve":
            continue  # a valve is blown with or without, not measured at
        allowed = {str(value) for value in figure.places.get(name, ())} if figure is not None else set()
        if len(allowed) == 2 and len({str(key[at]) for key in places} & allowed) == 1:
            return True
    return False

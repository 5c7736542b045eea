"""A kept verdict is read back; one that an earlier version of the program kept is completed here alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from qc.watch.results import SeriesVerdict, present_points
from qc.watch.words import STILL_MOVING


def verdict_from(record: Mapping[str, Any], wanted_ppk: float) -> SeriesVerdict:
    """Rebuild a verdict from what `SeriesVerdict.to_dict` gave, now or before present pieces stood in it.

    Parameters
    ----------
    record : mapping
        As it was kept. What is no longer part of a verdict is passed over.
    wanted_ppk : float
        Of the plan; says how many pieces would settle an answer where the record does not.
    """
    known = {name: record[name] for name in SeriesVerdict.__slots__ if name in record}
    if "present" in known:
        return SeriesVerdict.from_dict(known)
    verdict = SeriesVerdict.from_dict({**known, "present": ()})
    first, last = verdict.baseline_first, verdict.baseline_last
    frozen = None if first is None or last is None else (first, last)
    present = present_points(verdict.points, verdict.signals, frozen)
    more = None
    if verdict.capable == "unproven" and verdict.ppk_reason != STILL_MOVING:
        from qc.watch.capability import more_to_settle  # the statistics of limits, for a record of before

        more = more_to_settle([p.value for p in present], verdict.lower, verdict.upper, wanted_ppk)
    return replace(verdict, present=tuple(p.ordinal for p in present), pieces_to_settle=more)

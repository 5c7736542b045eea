"""Where a change began, once something recorded is named that began with it.

The readings alone place a change within a set of some pieces. Where a lot or a tool came in inside that set
and explains them better than a beginning at any piece would, it is likelier than all others together that the
change began with it. So it is told from its first piece on: pieces of the lot before are not held for it, and
what is said of start and suspect agrees. The set stays, since the suspect may be innocent. Simulated by
`tests/simulation/suspect_rates.py`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from qc.watch.changes.findings import FoundChange
from qc.watch.changes.sizing import stepped_at
from qc.watch.results import Point, SignalResult, Suspect

ALIKE = 1.0
"""A suspect whose logarithm of odds is not so much lower may be it as well (house rule)."""

PLACES = {"shift": {"batch", "tool"}, "trend": {"batch"}}
"""What begins at one piece and is not taken in turns, for each kind of change it may place. A lot is as it is
from its first piece to its last, so what begins with it is a step; with a new tool a climb may well begin."""


def result_of(
    found: FoundChange, points: Sequence[Point], *, unit: str, rate: float, over_since: str
) -> SignalResult:
    """Name the pieces of a finding; nothing is said of it yet."""
    first, raised = points[found.start - 1], points[found.point - 1]
    last = len(points) if found.ended is None else found.ended - 1
    return SignalResult(
        kind=found.kind,
        side=found.side,
        raised=found.point,
        raised_serial=raised.serial,
        raised_day=raised.day,
        start=found.start,
        start_serial=first.serial,
        start_day=first.day,
        start_low=found.start_low,
        start_high=found.start_high,
        size=found.size,
        size_low=found.size_low,
        size_high=found.size_high,
        size_sigma=found.size_sigma,
        unit=unit,
        rate=rate,
        pieces=sum(not p.left_out for p in points[found.start - 1 : last]),
        ended=found.ended,
        mended=found.mended,
        held=found.held,
        reopens=found.reopens,
        closing=found.closing,
        over_since=over_since,
    )


def begun_with(
    found: FoundChange,
    all_found: Sequence[FoundChange],
    points: Sequence[Point],
    suspects: Sequence[Suspect],
) -> FoundChange:
    """Begin a change of level at the first piece of what is named for it, where that is sure.

    Parameters
    ----------
    found : FoundChange
        One of `all_found`; told before as over it stays as it was told.
    all_found : sequence of FoundChange
        All findings of the series, in order.
    points : sequence of Point
        The series.
    suspects : sequence of Suspect
        What is named for it, likeliest first.

    Returns
    -------
    FoundChange
        The same where nothing sure is named, or its first piece lies outside the set of the start.
    """
    if found.firm or not suspects or suspects[0].kind not in PLACES.get(found.kind, ()):
        return found
    first = suspects[0]
    alike = {one.serial for one in suspects if one.weight > first.weight - ALIKE}
    if alike != {first.serial}:
        return found
    # a piece that came back has several points: the one in the set is meant
    end = found.ended or len(points) + 1
    inside = range(found.start_low, min(found.start_high, end - 1) + 1)
    starts = [place for place in inside if points[place - 1].serial == first.serial]
    if not starts or found.start == starts[0] and found.kind == "shift":
        return found
    values = np.array([p.value for p in points], dtype=np.float64)
    out = frozenset(p.ordinal for p in points if p.left_out)
    stepped = stepped_at(found, all_found, values, starts[0], out)
    # should the level not have moved that way since, the readings say otherwise
    return stepped if stepped.side == found.side else found

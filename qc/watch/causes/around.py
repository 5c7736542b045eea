"""The pieces that tell what a change coincides with, and where among them a suspect may begin.

That may be a few days or a piece beside the set of the start, which misses the true one in one case of ten.
It brings in no innocents by itself: whatever begins there is weighed by how likely the readings are if the
change began with it, and away from the set they are not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from qc.stats import Floats, Integers, Noise, learned_scores
from qc.watch.causes.weighing import SHORT, Scale, Weighable
from qc.watch.results import Point, SignalResult

LOOK_BACK = 60
"""Pieces before the start that are weighed: enough to tell people apart who take turns (house rule)."""

LOOK_ON = 30
"""Pieces after a change is over that are weighed (house rule)."""

BESIDE_SET = 1
"""So many pieces before the set of the start or after it may the first piece of a suspect be: the first piece
with it can pass for an old one, the last one without it be off by chance."""

FEW_DAYS = timedelta(days=5)
"""As far, if that is more pieces: three working days and a weekend. Whose pieces are off comes to the bench
again within that time, and pieces that hang together can hide a start so long."""

SET = 0.9
"""As sure as the set of a start is that of what is over: it was no climb, which while it lasts may have begun
nearly anywhere (shares, 0..1)."""

WIDE, WIDEST = 40, 80
"""With more pieces than the first in the set of its start longer odds are asked for; with more than the
second, or with half of the series, a change began too vaguely for most things to coincide with it."""

MOST_WEIGHED = 300
"""A lasting change that may have begun on more pieces is not weighed at all: that costs tenths of a second
(house rule)."""

BAR, BAR_OF_WIDE, BAR_OF_VAGUE = 2.0, 5.0, 20.0
"""Odds against nothing recorded from which a suspect is named, the same where the set of the start is wide,
and where it is vague: of changes that nothing recorded explains at most one in ten has an innocent suspect
then. Though the start may be nearly anywhere, the pieces of a new hand can lie apart from all others; of a
young change they are too few to say so. Simulated by `tests/simulation/suspect_rates.py`."""

BAR_OF_YOUNG, YOUNG = 1.5, 10
"""The same while a change lasts and fewer pieces than the second have been made since. Its start is not known
well then, so that odds stay short for guilty and innocent alike. Simulated there as well, on the day a change
is raised."""


@dataclass(frozen=True, slots=True)
class Around:
    """The pieces weighed around a change, and where a suspect may begin among them (0-based)."""

    place: Integers
    scale: Scale
    zone: range
    short: bool
    bar: float
    young: bool
    vague: bool


def around_of(
    points: Sequence[Point],
    signal: SignalResult,
    apart: frozenset[int],
    noise: Noise | None,
    *,
    worn: bool,
) -> Around | None:
    """Take the pieces that tell about a change; None where they do not show it or say too little."""
    over = signal.ended is not None and signal.kind == "shift" and not worn
    low, high = max(signal.start_low - 1, 1), max(signal.start_high - 1, 1)
    if not over and is_vague(points, signal) and (_is_young(signal) or high - low >= MOST_WEIGHED):
        return None
    end = len(points) if signal.ended is None else min(signal.ended - 1 + LOOK_ON, len(points))
    place = np.array(
        [
            i
            for i in range(max(low - LOOK_BACK, 0), max(end, high + 1))
            if not points[i].left_out and (i + 1 not in apart or low <= i <= high)
        ],
        dtype=np.int64,
    )
    inside = np.flatnonzero((place >= low) & (place <= high))
    if not inside.size or place.size < 6 or inside[0] == 0:
        return None
    short, young = _is_short(signal), _is_young(signal)
    stretch = Weighable(
        values=_values(points, signal, place, None if worn else noise),
        side=_side(signal),
        first=int(inside[0]),
        last=int(inside[-1]),
        kind="climb" if signal.kind == "trend" else "short" if short else "step",
        lines=_lines(points, place) if worn else np.zeros((place.size, 0)),
        whole=len(points),
    )
    first, last = Scale(stretch).likeliest(SET) if over else (stretch.first, stretch.last)
    width = int(place[last] - place[first]) + 1
    vague = _is_too_wide(width, len(points))
    # beside a set that spans most of the series nothing is sought
    zone = range(first, last + 1) if vague else _zone([points[i].day for i in place], first, last)
    scale = Scale(replace(stretch, first=zone.start, last=zone.stop - 1))
    if not scale.speaks:
        return None
    return Around(place, scale, zone, short, _bar(width, vague=vague, young=young), young, vague)


def _bar(width: int, *, vague: bool, young: bool) -> float:
    """Return the odds asked for, by how well the start is known and how many pieces tell of the change."""
    if vague:
        return BAR_OF_VAGUE
    return BAR_OF_WIDE if width > WIDE else BAR_OF_YOUNG if young else BAR


def _zone(days: Sequence[date], first: int, last: int) -> range:
    """Return where a suspect may begin: in the set of the start, and a few days or a piece beside it."""
    inside = [n for n, day in enumerate(days) if days[first] - FEW_DAYS <= day <= days[last] + FEW_DAYS]
    earliest, latest = min(inside[0], first - BESIDE_SET), max(inside[-1], last + BESIDE_SET)
    return range(max(earliest, 1), min(latest, len(days) - 1) + 1)


def _values(points: Sequence[Point], signal: SignalResult, place: Integers, noise: Noise | None) -> Floats:
    """Return what changed, on a scale on which it scatters alike at every level.

    Of a figure its normal score under the learned shape, of a count or share its square root [1]_, of a
    spread how far the pieces lie from the middle.

    References
    ----------
    .. [1] Bartlett, "The square root transformation in analysis of variance", Supplement to the Journal of
       the Royal Statistical Society 3 (1936), 68-78 (from memory).
    """
    values = np.array([points[i].value / (points[i].size or 1.0) for i in place])
    if signal.kind == "count":
        return np.asarray(np.sqrt(values), dtype=np.float64)
    if noise is not None:
        values = learned_scores(values, noise).scores
    return np.sqrt(np.abs(values - np.median(values))) if signal.kind == "spread" else values


def is_vague(points: Sequence[Point], signal: SignalResult) -> bool:
    """Say whether the start of a change may lie on most of the series, or on too many pieces."""
    width = max(signal.start_high - 1, 1) - max(signal.start_low - 1, 1) + 1
    return _is_too_wide(width, len(points))


def _is_too_wide(width: int, pieces: int) -> bool:
    return width > WIDEST or width > pieces / 2


def _is_young(signal: SignalResult) -> bool:
    return signal.ended is None and signal.kind != "single" and signal.pieces < YOUNG


def _is_short(signal: SignalResult) -> bool:
    over = signal.ended is not None and signal.ended - signal.start <= SHORT
    return signal.kind == "single" or over


def _side(signal: SignalResult) -> int:
    if signal.side == "both":
        return 0 if signal.size is None or not signal.size else 1 if signal.size > 0 else -1
    return 1 if signal.side == "above" else -1


def _lines(points: Sequence[Point], place: Integers) -> Floats:
    """Return, for each fitting of a tool, its own level and slope over its count."""
    tools = [points[i].tool for i in place]
    count = np.array([float(points[i].tool_count or 0) for i in place])
    columns = []
    for tool in dict.fromkeys(tools):
        own = np.array([float(t == tool) for t in tools])
        columns += [own, own * (count - count[own > 0].mean())]
    return np.column_stack(columns)

"""What all pieces since say of a change: where it began, and how large it is.

A signal is raised on as few pieces as can be; those made since place and measure the change far better. Its
start and size are therefore worked out anew each time; the piece at which it was raised stays as it was.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from qc.stats import ChangePoint, StatisticsError, mean_change

Floats = NDArray[np.float64]

ENOUGH_SINCE = 3
"""So many pieces after a signal place its start anew."""

ON_THE_EVE = 2
"""A start may turn out to lie so many pieces after the signal: raised by chance on the eve of it."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One change of a series; ordinals count from 1 over the whole series."""

    kind: Literal["single", "shift", "trend", "spread", "count"]
    side: Literal["above", "below", "both"]
    point: int
    start: int
    start_low: int
    start_high: int
    size: float | None
    size_low: float | None
    size_high: float | None
    size_sigma: float | None
    ended: int | None = None


def begin_of(kept: Sequence[Finding], signal: Finding) -> int:
    """Return the first point of the state that a signal ended: the start of the last change still lasting."""
    starts = [s.start for s in kept if s.kind != "single" and s.ended is None and s.start < signal.start]
    return max(starts, default=1)


def measured_anew(signal: Finding, kept: Sequence[Finding], values: Floats, shape: str) -> Finding:
    """Give a shift the start and the size that all its pieces show, not only those seen when it was raised.

    Parameters
    ----------
    signal : Finding
        One of `kept`; anything but a shift, or a climb that turns out to be one, comes back as it is.
    kept : sequence of Finding
        All findings of the series, in order.
    values : float array
        The series. [unit]
    shape : str
        As the plan names it; ranks place nothing anew.

    Returns
    -------
    Finding
        Its interval is Welch's two-sample t at 95 %; the doubt about the start widens it no more once several
        pieces lie on either side.
    """
    if signal.kind not in {"shift", "trend"}:
        return signal
    lasting = [s for s in kept if s.kind != "single"]
    apart = {s.start for s in kept if s.kind == "single"}
    end = min([s.start for s in lasting if s.start > signal.start] + [signal.ended or values.size + 1])
    begin = begin_of(kept[: kept.index(signal)], signal)
    signal = _placed_anew(signal, values, [i for i in range(begin, end) if i not in apart], shape)
    if signal.kind == "trend":
        return signal
    old, new = _part(values, begin, signal.start, apart), _part(values, signal.start, end, apart)
    if old.size < 3 or new.size < 3:
        return signal
    size = float(new.mean() - old.mean())
    half = _welch_half_width(old, new)
    squares = float(((new - new.mean()) ** 2).sum() + ((old - old.mean()) ** 2).sum())
    sd = (squares / (new.size + old.size - 2)) ** 0.5
    in_sigma = size / sd if sd > 0 else signal.size_sigma
    side = signal.side if size == 0 else "above" if size > 0 else "below"
    return replace(
        signal, side=side, size=size, size_low=size - half, size_high=size + half, size_sigma=in_sigma
    )


def _placed_anew(signal: Finding, values: Floats, ordinals: Sequence[int], shape: str) -> Finding:
    """Place the start where one change of level among these pieces is likeliest."""
    since = sum(i > signal.point for i in ordinals)
    series = np.array([values[i - 1] for i in ordinals])
    if shape == "any" or since < ENOUGH_SINCE or (shape == "positive" and not float(series.min()) > 0):
        return signal
    try:
        change = mean_change(np.log(series) if shape == "positive" else series)
    except StatisticsError:
        return signal
    if signal.kind == "trend" and _climb_fits(series, sum(i < signal.start for i in ordinals), change):
        return signal
    start = ordinals[change.start - 1]
    if start > signal.point + ON_THE_EVE or change.start_set is None:
        return signal
    low, high = (ordinals[place - 1] for place in change.start_set)
    return replace(signal, kind="shift", start=start, start_low=low, start_high=high)


def _climb_fits(series: Floats, place: int, step: ChangePoint) -> bool:
    """Say whether a steady climb beginning about there explains the pieces better than one step does."""
    n = series.size
    away = series - series.mean()
    left = float(away @ away)
    for start in range(max(place - ON_THE_EVE, 0), min(place + ON_THE_EVE, n - 2) + 1):
        ramp = np.maximum(np.arange(n) - start + 1.0, 0.0)
        ramp -= ramp.mean()
        left = min(left, float(away @ away) - float(ramp @ away) ** 2 / float(ramp @ ramp))
    return left <= (step.sd or 0.0) ** 2 * (n - 2)


def _welch_half_width(old: Floats, new: Floats) -> float:
    """Half width of the 95 % interval of a difference of means with unlike spreads.

    Written out, because two stretches without any scatter have an interval (of no width) too.
    """
    parts = [float(part.var(ddof=1)) / part.size for part in (old, new)]
    if sum(parts) == 0:
        return 0.0
    freedom = sum(parts) ** 2 / sum(p**2 / (part.size - 1) for p, part in zip(parts, (old, new), strict=True))
    return float(stdtrit(freedom, 0.975) * sum(parts) ** 0.5)


def _part(values: Floats, first: int, end: int, apart: Collection[int]) -> Floats:
    return np.array([values[i - 1] for i in range(first, end) if i not in apart])

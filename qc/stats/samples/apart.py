"""Do some of the pieces come out higher or lower than those made beside them: an association, no cause.

One person's pieces beside those of the others, in order of making. Whether they differ is asked of ranks, by
how much of the figures themselves; both take off each piece the mean of itself and its neighbours, so that a
drift or a step which both share says nothing, and both count neighbours that are alike as fewer: see
`qc.stats.samples.together`.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Flags, Floats, Interval, Places, as_readings, check_between
from qc.stats.samples.together import (
    BESIDE,
    LEAST_TOGETHER,
    chance_of,
    less_neighbours,
    pieces_counted,
    ranks_within,
)
from qc.stats.tabled import Tabled

LEAST_APART = 8
"""Chosen: of fewer pieces on either side one odd piece decides."""


@dataclass(frozen=True, slots=True)
class Apart(Tabled):
    """How some pieces stand beside the others.

    Attributes
    ----------
    difference : float
        Mean of those asked about less that of the others made beside them. [unit of the figures]
    interval : (float, float)
        Two-sided interval of it.
    p_value : float
        Chance of ranks as far apart where it makes no difference which pieces they are, 0..1.
    n, own : int
        Pieces compared, and how many of them are those asked about.
    counts_as : float
        Independent pieces they are worth, at most n.
    """

    difference: float
    interval: Interval
    p_value: float
    n: int
    own: int
    counts_as: float


def apart_from_others(
    values: Sequence[float],
    own: Sequence[bool],
    groups: Sequence[Hashable] = (),
    *,
    confidence: float = 0.95,
) -> Apart | None:
    """Say whether some of the pieces come out higher or lower than those made before and after them.

    Parameters
    ----------
    values : sequence of float, length n
        The figure of each piece, in order of making. [any unit]
    own : sequence of bool, length n
        Which pieces are asked about.
    groups : sequence, length n
        What each piece is one of, such as its model; each is compared with its like. All alike if empty.
    confidence : float, 0..1
        Confidence of the interval.

    Returns
    -------
    Apart or None
        None of fewer than `LEAST_TOGETHER` pieces, of fewer than `LEAST_APART` on either side, or where the
        figures never differ or the two kinds were never made near each other.

    Raises
    ------
    StatisticsError
        Lengths differ, a figure that is no number, or a confidence outside 0..1.

    References
    ----------
    .. [1] Clifford, Richardson and Hemon, "Assessing the significance of the correlation between two spatial
       processes", Biometrics 45 (1989), 123-134: the number of pieces counted.
    .. [2] Frisch and Waugh, "Partial time regressions as compared with individual trends", Econometrica 1
       (1933), 387-401: a difference taken after the neighbours' means are off both.

    Examples
    --------
    >>> by_turns = [10.0, 12.1, 10.2, 12.0, 9.9, 11.9, 10.1, 12.2] * 3
    >>> found = apart_from_others(by_turns, [False, True] * 12)
    >>> round(found.difference, 2), found.own, found.p_value < 0.001
    (2.0, 12, True)
    """
    check_between(confidence, "apart: confidence")
    figures, asked = as_readings(values, "apart"), np.asarray(own, dtype=np.bool_)
    labels = list(groups) or [""] * figures.size
    if not figures.size == asked.size == len(labels):
        raise StatisticsError(
            f"apart: {figures.size} figures and {asked.size} marks of {len(labels)} pieces; each needs both"
        )
    n, mine = figures.size, int(asked.sum())
    if n < LEAST_TOGETHER or min(mine, n - mine) < LEAST_APART:
        return None
    group = np.unique([str(label) for label in labels], return_inverse=True)[1]
    most = n - (len(np.unique(group)) - 1) - n / (2 * BESIDE + 1) + 1
    marks: Floats = asked.astype(np.float64)
    ranked = _compared(
        less_neighbours(ranks_within(figures, group)), less_neighbours(ranks_within(marks, group)), most
    )
    about: Floats = figures - float(np.median(figures))  # large figures would cancel
    level, share = less_neighbours(_within(about, group)), less_neighbours(_within(marks, group))
    measured = _compared(level, share, most)
    if ranked is None or measured is None:
        return None
    correlation, counts_as = measured
    difference = float(level @ share) / float(share @ share)
    return Apart(
        difference,
        _interval(difference, correlation, counts_as, confidence),
        chance_of(*ranked),
        n,
        mine,
        min(counts_as, ranked[1]),
    )


def _compared(one: Floats, other: Floats, most: float) -> tuple[float, float] | None:
    """Return the correlation and the pieces counted; None where one of them never differs."""
    scale = math.sqrt(float(one @ one) * float(other @ other))
    if scale < 1e-9 * one.size * max(float(np.abs(one).max()), 1e-300):
        return None
    # counted from what the difference leaves, else every third piece by one person would look like lots
    rest = one - (one @ other) / (other @ other) * other
    left = max(math.sqrt(float(rest @ rest) * float(other @ other)), 1e-9 * scale)
    return float(np.clip(one @ other / scale, -1.0, 1.0)), pieces_counted(rest, other, left, most)


def _within(values: Floats, groups: Places) -> Floats:
    """Take the mean of its group off each figure."""
    out = values.astype(np.float64)
    for group in np.unique(groups):
        mine: Flags = groups == group
        out[mine] -= out[mine].mean()
    return out


def _interval(difference: float, correlation: float, counts_as: float, confidence: float) -> Interval:
    """Return the interval of a slope whose correlation rests on so many independent pieces."""
    freedom = counts_as - 2.0
    if freedom <= 0.0 or correlation == 0.0:
        return -math.inf, math.inf
    error = abs(difference) * math.sqrt((1.0 - correlation**2) / freedom) / abs(correlation)
    reach = float(special.stdtrit(freedom, 0.5 + confidence / 2.0)) * error
    return difference - reach, difference + reach

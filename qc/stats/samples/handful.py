"""Do a handful of pieces come out higher or lower than those made beside them: exactly, by their ranks.

With fewer than `LEAST_APART` pieces on one side the correlation of `qc.stats.samples.apart` tells next to
nothing: five pieces three spreads off were told 3 times in 100. The sum of their ranks has an exact
distribution however few they are and whatever the shape of the figures.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence

import numpy as np
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Flags, Floats, Places, as_readings, check_between
from qc.stats.samples.apart import LEAST_APART, Apart
from qc.stats.samples.together import LEAST_TOGETHER

FEWEST_APART = 5
"""Chosen: of four pieces among twenty-four even the rarest order, 1 in 5,300, is too common beside forty
levels looked at; three spreads off they were told half as often as five (0.47 against 0.82 of 400 draws)."""

MOST_BESIDE = 40
"""Pieces compared at most (chosen): over more of them a drift, which ranks do not take off, would count."""


def few_apart(
    values: Sequence[float],
    own: Sequence[bool],
    groups: Sequence[Hashable] = (),
    *,
    confidence: float = 0.95,
) -> Apart | None:
    """Say whether five to seven pieces come out higher or lower than those made between and around them.

    Parameters
    ----------
    values : sequence of float, length n
        The figure of each piece. [any unit]
    own : sequence of bool, length n
        Which pieces are asked about.
    groups : sequence, length n
        What each piece is one of, such as its model; ranks are taken within. All alike if empty.
    confidence : float, 0..1
        Confidence of the interval, by the t distribution.

    Returns
    -------
    Apart or None
        None of fewer than `FEWEST_APART` pieces, of `LEAST_APART` and more, of fewer than `LEAST_TOGETHER` or
        more than `MOST_BESIDE` in all, or where the figures never differ. The chance is exact where any of
        them might have been those asked about; pieces are not counted as fewer where neighbours are alike.

    Raises
    ------
    StatisticsError
        Lengths differ, a figure that is no number, or a confidence outside 0..1.

    References
    ----------
    .. [1] Wilcoxon, "Individual comparisons by ranking methods", Biometrics Bulletin 1 (1945), 80-83; within
       groups as Van Elteren (1960) adds them, each unweighted.

    Examples
    --------
    >>> by_turns = [n in {8, 10, 12, 14, 16} for n in range(25)]
    >>> found = few_apart([10.0 + 2.0 * mine + 0.1 * (n % 3) for n, mine in enumerate(by_turns)], by_turns)
    >>> round(found.difference, 1), found.own, round(found.p_value, 6)
    (2.0, 5, 3.8e-05)
    """
    check_between(confidence, "apart: confidence")
    figures, asked = as_readings(values, "apart"), np.asarray(own, dtype=np.bool_)
    labels = list(groups) or [""] * figures.size
    if not figures.size == asked.size == len(labels):
        raise StatisticsError(
            f"apart: {figures.size} figures and {asked.size} marks of {len(labels)} pieces; each needs both"
        )
    n, mine = figures.size, int(asked.sum())
    fits = FEWEST_APART <= mine < LEAST_APART and LEAST_TOGETHER <= n <= MOST_BESIDE
    if not fits or np.ptp(figures) == 0.0:
        return None
    group = np.unique([str(label) for label in labels], return_inverse=True)[1]
    parts: list[Flags] = [group == one for one in np.unique(group)]
    level, share = figures - np.median(figures), asked.astype(np.float64)
    for part in parts:
        level[part] -= level[part].mean()
        share[part] -= share[part].mean()
    spread, freedom = float(share @ share), n - len(parts) - 1
    if spread < 1e-9:
        return None  # none of them has others of its like
    difference = float(level @ share) / spread
    left = level - difference * share
    error = math.sqrt(float(left @ left) / freedom / spread)
    reach = float(special.stdtrit(freedom, 0.5 + confidence / 2.0)) * error
    chance = _chance([(figures[part], asked[part]) for part in parts])
    return Apart(difference, (difference - reach, difference + reach), chance, n, mine, float(n))


def _chance(parts: Sequence[tuple[Floats, Flags]]) -> float:
    """Return the two-sided chance of a sum of ranks, over all ways to choose as many pieces of each group."""
    null, place = np.ones(1), 0
    for figures, asked in parts:
        _, order, alike = np.unique(figures, return_inverse=True, return_counts=True)
        ranks = (2 * np.cumsum(alike) - alike + 1)[order]  # doubled: figures that are alike have half ranks
        null = np.convolve(null, _sums(ranks, int(asked.sum())))
        place += int(ranks[asked].sum())
    return float(min(1.0, 2.0 * min(null[: place + 1].sum(), null[place:].sum())))


def _sums(ranks: Places, chosen: int) -> Floats:
    """Return how likely each sum of so many ranks is where each choice of them is as likely as any other."""
    ways = np.zeros((chosen + 1, int(np.sort(ranks)[ranks.size - chosen :].sum()) + 1))
    ways[0, 0] = 1.0
    for rank in np.sort(ranks):
        for count in range(chosen, 0, -1):
            ways[count, rank:] += ways[count - 1, : max(ways.shape[1] - rank, 0)]
    return np.asarray(ways[chosen] / ways[chosen].sum())

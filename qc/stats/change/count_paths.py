"""How rarely the counts of nested newest parts hold, anywhere, evidence as strong as the strongest seen.

Given the total, the counts of the newest 1, 2, 3 ... points are a Markov chain: what a longer part adds to a
shorter one is binomial (hypergeometric for pass or fail) in what is left. Followed from the shortest part to
the longest, the chain gives the exact probability that no comparison is as rare as the rarest one; the sum of
the single probabilities is two to five times too large, because comparisons of nested parts are much alike.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import special

from qc.stats.numbers import Floats, Integers

WIDEST = 600
"""Counts followed at once at most; wider, the sum of the single probabilities serves."""

SAME = 1 + 1e-12
"""Probabilities as close as this are equal; rounding must not decide between them."""


def chance_of_leaving(
    least: Sequence[Floats],
    most: Sequence[Floats],
    parts: Floats,
    whole: float,
    total: int,
    probability: float,
    *,
    pass_fail: bool = False,
) -> float | None:
    """Probability that some newest part has a tail probability of `probability` or less, given the total.

    Parameters
    ----------
    least, most : sequence of ndarray, each shape (total + 1,)
        For each part the probability of at least, and at most, 0..total counts in it.
    parts : ndarray, shape (m,)
        Size of each part, rising.
    whole : float
        Size of everything.
    total : int
        Counts (failed pieces) in everything.
    probability : float
        The smallest tail probability seen.
    pass_fail : bool
        Each of the `whole` pieces fails at most once.

    Returns
    -------
    float or None
        None where too many counts would have to be followed.

    Examples
    --------
    Two points of equal size and one defect: it lies in the newest one as often as not.

    >>> half = np.array([1.0, 0.5]), np.array([0.5, 1.0])
    >>> chance_of_leaving([half[0]], [half[1]], np.array([1.0]), 2.0, 1, 0.5)
    1.0
    """
    inside = [
        np.flatnonzero((a > probability * SAME) & (b > probability * SAME))
        for a, b in zip(least, most, strict=True)
    ]
    # a part in which every count is as rare as the rarest one: leaving is then certain
    if not all(part.size for part in inside):
        return 1.0
    if max(part.size for part in inside) > WIDEST:
        return None
    # only counts inside the limits of each part are followed, so what is lost on the way is what left them
    before, held, weight = 0.0, np.zeros(1, dtype=np.int64), np.ones(1)
    for part, counts in zip(parts, inside, strict=True):
        added = counts[None, :] - held[:, None]
        left = total - held[:, None]
        if pass_fail:
            moved = _hypergeometric(added, left, part - before, whole - before)
        else:
            moved = _binomial(added, left, (part - before) / (whole - before))
        weight = weight @ moved
        before, held = float(part), counts
    return max(1.0 - float(weight.sum()), 0.0)


def _binomial(added: Integers, left: Integers, share: float) -> Floats:
    """Probability that so many of those left fall into a part of this share."""
    possible = (added >= 0) & (added <= left)
    k, n = np.where(possible, added, 0), np.broadcast_to(left, added.shape)
    log_weight = log_choose(n, k) + special.xlogy(k, share) + special.xlog1py(n - k, -share)
    return np.where(possible, np.exp(log_weight), 0.0)


def _hypergeometric(added: Integers, left: Integers, drawn: float, whole: float) -> Floats:
    """Probability that so many of those left to fail lie among the pieces drawn of the whole."""
    possible = (added >= 0) & (added <= left) & (added <= drawn) & (left - added <= whole - drawn)
    k, n = np.where(possible, added, 0), np.broadcast_to(left, added.shape)
    rest = np.where(possible, drawn - k, 0.0)
    # kept large enough for the logarithm; where it is not, `possible` is False
    sound = np.maximum(whole - n, rest)
    log_weight = log_choose(n, k) + log_choose(sound, rest) - log_choose(whole, drawn)
    return np.where(possible, np.exp(log_weight), 0.0)


def log_choose(n: Floats | Integers | float, k: Floats | Integers | float) -> Floats:
    """Logarithm of the number of ways to choose k of n."""
    # betaln instead of three gammaln: their difference would lose its digits for totals of thousands
    return np.asarray(-np.log(np.add(n, 1.0)) - special.betaln(np.subtract(n, k) + 1.0, np.add(k, 1.0)))

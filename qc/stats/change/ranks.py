"""Normal scores of ranks: readings of any distribution put on the scale on which the detector judges."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy import special

from qc.stats.numbers import Floats, Integers

# Blom's plotting position, (rank - 3/8) / (n + 1/4): Blom, "Statistical Estimates and Transformed Beta-
# Variables", 1958, p. 71 (from memory); any fixed score keeps the false-alarm rate, this one loses least on
# normal readings.
BLOM = 0.375


@lru_cache(maxsize=2048)
def rank_scores(length: int) -> Floats:
    """Give the normal scores of the ranks 0..length-1."""
    scores = special.ndtri((np.arange(1.0, length + 1) - BLOM) / (length + 1 - 2 * BLOM))
    scores.setflags(write=False)
    return np.asarray(scores)


def extend_ranks(ranks: Integers, values: Floats, dither: Floats) -> Integers:
    """Ranks (from 0) of stretches one reading longer, the newest reading among them.

    Parameters
    ----------
    ranks : ndarray, shape (rows, n - 1)
        Ranks without the newest reading.
    values, dither : ndarray, shape (rows, n)
        Readings in order of making, newest last; `dither` decides between equal readings.
    """
    old, new = values[:, :-1], values[:, -1:]
    # equal readings must take an order that does not depend on when they came, or a series judged again would
    # rank them another way
    above = (old > new) | ((old == new) & (dither[:, :-1] > dither[:, -1:]))
    newest = above.shape[1] - above.sum(axis=1)
    return np.concatenate([ranks + above, newest[:, None]], axis=1)

"""A change that is one batch's: it began with the batch and ended when others were used again.

A level that lasted longer than the state before it counts as the usual one by then. Where all its pieces,
and no others, are of one batch, the cards say what it was, and the pieces of other batches before it and
since are one state, however few came before.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

import numpy as np

from qc.stats import Flags, Floats
from qc.watch.changes.findings import LEAST_OLD

FURTHER = 3
"""Three levels that change anywhere have so many figures more than two that change with the batch: a level
and the places of two changes."""


def batch_used_up(values: Floats, batches: Sequence[str], begin: int, start: int, back: int) -> int | None:
    """Return the first piece after a batch that explains a change and its end; None where none does.

    Parameters
    ----------
    values : float array
        The figures of the series. [unit]
    batches : sequence of str
        The batch of each piece as its card says; several are joined by ``+``. Where it is empty the piece
        takes no part.
    begin, start, back : int
        Ordinals: the first piece of the state before the change, the first of the change, and the first that
        is said to have left it again.

    Returns
    -------
    int or None
        Ordinal after the last piece of the batch. It explains the change where two levels, one of its pieces
        and one of all others, fit no worse than three levels that change wherever that fits best; each of
        the three further figures of these has its price (that of Schwarz: half the logarithm of the number
        of pieces, of the logarithm of likelihood).

    References
    ----------
    .. [1] Schwarz, "Estimating the dimension of a model", Annals of Statistics 6 (1978), 461-464.

    Examples
    --------
    >>> figures = np.repeat([0.0, 4.0, 0.0], [6, 30, 4]) + np.tile([0.5, -0.5], 20)
    >>> batch_used_up(figures, ["K-1"] * 6 + ["K-2"] * 30 + ["K-1"] * 4, 1, 7, 37)
    37
    >>> batch_used_up(figures, ["K-1"] * 20 + ["K-2"] * 20, 1, 7, 37) is None
    True
    """
    known = [place for place in range(begin - 1, values.size) if batches[place]]
    borne = [batches[place].split(" + ") for place in known]
    away = Counter(
        one for place, on in zip(known, borne, strict=True) if start <= place + 1 < back for one in on
    )
    if not away:
        return None
    name = away.most_common(1)[0][0]
    own: Flags = np.array([name in on for on in borne], dtype=np.bool_)
    mine = np.flatnonzero(own)
    if mine[0] < LEAST_OLD or mine[-1] + 1 == own.size or mine[-1] - mine[0] + 1 > mine.size:
        return None
    figures = values[known]
    by_batch, freely = _squares(figures[own]) + _squares(figures[~own]), _fewest_squares(figures)
    price = FURTHER * math.log(own.size)
    return known[mine[-1]] + 2 if own.size * math.log(by_batch / freely) <= price else None


def _squares(part: Floats) -> float:
    return float(((part - part.mean()) ** 2).sum())


def _fewest_squares(figures: Floats) -> float:
    """Return the least sum of squares about three levels in a row, the first of `LEAST_OLD` or more."""
    sums = np.concatenate([[0.0], np.cumsum(figures - figures.mean())])
    total, size = float(np.square(figures - figures.mean()).sum()), figures.size
    best = 0.0
    for first in range(LEAST_OLD, size - 1):
        second = np.arange(first + 1, size)
        parts = sums[first] ** 2 / first + (sums[second] - sums[first]) ** 2 / (second - first)
        best = max(best, float((parts + sums[second] ** 2 / (size - second)).max()))
    return max(total - best, 1e-12 * total)

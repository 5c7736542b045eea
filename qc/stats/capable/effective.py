"""What pieces that hang together are worth: pieces of one lot, and neighbours in order of making."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from qc.stats.errors import StatisticsError
from qc.stats.noise import Noise
from qc.stats.numbers import Floats, Places

LEAST_CORRELATION = 1e-6  # neighbours so far apart that less is left are taken for independent


class PiecesWorth(NamedTuple):
    """What n pieces are worth.

    Attributes
    ----------
    mean_n : float
        Independent pieces whose mean would be as sure. [count]
    sd_df : float
        Degrees of freedom of the sample sd. [count]
    spread : float
        By what the sample sd is to be multiplied: pieces that hang together scatter less about their own
        mean than about the true one. [1]
    """

    mean_n: float
    sd_df: float
    spread: float


def effective_pieces(noise: Noise, lots: Sequence[str | None] | None, n: int) -> float:
    """Count independent pieces whose mean would be as sure as that of n pieces that hang together.

    Parameters
    ----------
    noise : Noise
        Learned share of the variance between lots, and correlation of neighbours.
    lots : sequence of str or None, length n, or None
        The lot of each piece, in order of making, a piece without one standing alone; None where no lots are
        recorded: then neighbours alone count.
    n : int, >= 1
        Pieces.

    Returns
    -------
    float
        n^2 over the variance of the sum, in variances of a piece; 1 to n. [count]

    Raises
    ------
    StatisticsError
        No piece, or not as many lots as pieces.

    References
    ----------
    .. [1] Variance of the mean of correlated observations: Wilks, "Statistical Methods in the Atmospheric
       Sciences", section on effective sample size (from memory; checked against whole matrices in the tests).

    Examples
    --------
    >>> ten_lots_of_four = [str(piece // 4) for piece in range(40)]
    >>> round(effective_pieces(Noise(lots=0.6), ten_lots_of_four, 40), 1)
    14.3
    """
    return worth_of(noise, lots, n).mean_n


def worth_of(noise: Noise, lots: Sequence[str | None] | None, n: int) -> PiecesWorth:
    """Say what n pieces are worth to mean and spread; arguments and errors as `effective_pieces`.

    References
    ----------
    .. [1] Degrees of freedom of a sum of squares of correlated normal readings, by its first two moments:
       Satterthwaite, Biometrics Bulletin 2 (1946), and Box, Annals of Mathematical Statistics 25 (1954)
       (both from memory; checked by simulation in the tests).

    Examples
    --------
    >>> worth_of(Noise(), None, 30)
    PiecesWorth(mean_n=30.0, sd_df=29.0, spread=1.0)
    """
    if n < 1:
        raise StatisticsError("effective pieces: no piece given")
    if lots is not None and len(lots) != n:
        raise StatisticsError(f"effective pieces: {len(lots)} lots for {n} pieces: one each is needed")
    share = noise.lots if lots is not None else 0.0
    near = _near(noise, n)
    if n == 1 or (share == 0.0 and near.size == 0):
        return PiecesWorth(float(n), float(n - 1), 1.0)
    lot = _numbered(lots, n)
    size = np.bincount(lot)[lot].astype(np.float64)
    # correlation of two pieces: share where they are of one lot, and of the rest what neighbours add
    rows = 1.0 + share * (size - 1.0) + (1.0 - share) * _row_sums(near, n)
    squares = n + share**2 * float(np.sum(size - 1.0))
    for lag, beside in enumerate((1.0 - share) * near, start=1):
        same = np.count_nonzero(lot[lag:] == lot[:-lag])
        squares += 2.0 * (2.0 * share * beside * same + beside**2 * (n - lag))
    total = float(rows.sum())
    about = n - total / n  # expected sum of squares about the sample's own mean, in variances
    if not about > 1e-9 * n:
        return PiecesWorth(1.0, 1e-9, 1.0)
    second = squares - 2.0 * float(np.sum(rows**2)) / n + (total / n) ** 2
    return PiecesWorth(n * n / total, about**2 / second, float(np.sqrt((n - 1.0) / about)))


def _near(noise: Noise, n: int) -> Floats:
    """Correlation of pieces 1, 2 ... apart, as far as it counts."""
    if noise.echo == 0.0 or noise.fade == 0.0:
        return np.zeros(0)
    apart = np.arange(1, n, dtype=np.float64)
    near = noise.echo * noise.fade**apart
    return near[near > LEAST_CORRELATION]


def _numbered(lots: Sequence[str | None] | None, n: int) -> Places:
    """Give each lot a number; a piece without one is a lot of its own."""
    if lots is None:
        return np.arange(n)
    known: dict[str, int] = {}
    return np.array([n + i if not lot else known.setdefault(lot, len(known)) for i, lot in enumerate(lots)])


def _row_sums(near: Floats, n: int) -> Floats:
    """Sum of the correlations of each piece with its neighbours on both sides."""
    summed = np.concatenate(([0.0], np.cumsum(near)))
    before = np.minimum(np.arange(n), near.size)
    return summed[before] + summed[before[::-1]]

"""How many more pieces would settle the question, for one sample or for thousands at once."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from qc.stats.capable.gate import LEAST_PIECES
from qc.stats.errors import StatisticsError
from qc.stats.numbers import GREATEST, Flags, Floats, Interval, Places, as_number, check_between

MOST_PIECES = 100_000  # beyond this "n more pieces would settle it" is no advice to a small workshop


def pieces_to_settle(
    index: float,
    n: int,
    *,
    sides: int,
    wanted: float = 1.0,
    confidence: float = 0.95,
    least: int = LEAST_PIECES,
) -> int | None:
    """How many more pieces like these would turn "unproven" into "proven" or "no".

    Parameters
    ----------
    index : float
        Ppk as estimated now, assumed to stay. [1]
    n : int, >= 2
        Pieces so far.
    sides : {1, 2}
        Limits of the characteristic.
    wanted : float, > 0
        Wanted Ppk. [1]
    confidence : float, 0..1
        Confidence of the one-sided bound.
    least : int
        Fewest pieces on which a verdict is given.

    Returns
    -------
    int or None
        0 when it is settled already; None when no number up to 100,000 would do.

    Raises
    ------
    StatisticsError
        Fewer than two pieces, or a confidence outside 0..1.

    References
    ----------
    .. [1] The bounds `one_sided_bound` and `two_sided_bound`, solved for n.

    Examples
    --------
    >>> pieces_to_settle(1.15, 45, sides=2)
    49
    """
    more = pieces_to_settle_many([index], [n], sides=sides, wanted=wanted, confidence=confidence, least=least)
    return None if math.isnan(more[0]) else int(more[0])


def pieces_to_settle_many(
    index: ArrayLike,
    n: ArrayLike,
    *,
    sides: int,
    wanted: float = 1.0,
    confidence: float = 0.95,
    least: int = LEAST_PIECES,
    mean_share: ArrayLike = 1.0,
    df_share: ArrayLike = 1.0,
) -> Floats:
    """How many more pieces would settle each of many samples (NaN: none would); errors as `pieces_to_settle`.

    Parameters
    ----------
    index, n : array_like, length k
        Ppk and pieces (>= 2) of each sample. [1; count]
    sides, wanted, confidence, least
        As `pieces_to_settle`, the same for all.
    mean_share, df_share : array_like, scalar or length k
        What one piece is worth to the mean, in independent readings, and each after the first to the sd, in
        degrees of freedom: 1 for single readings, more where a piece has several. [count]

    Examples
    --------
    >>> pieces_to_settle_many([1.15, 1.15, 3.0, 1.0], [45, 94, 50, 50], sides=2).tolist()
    [49.0, 0.0, 0.0, nan]
    """
    parts = (np.asarray(part, dtype=np.float64) for part in (index, n, mean_share, df_share))
    index, n, mean_share, df_share = (np.atleast_1d(part) for part in np.broadcast_arrays(*parts))
    if not np.all(np.isnan(index) | (np.abs(index) <= GREATEST)):
        raise StatisticsError("pieces to settle: an index is not a finite number")
    if n.size and not np.all((n >= 2) & (n <= GREATEST)):
        raise StatisticsError(f"pieces to settle: {np.min(n):g} pieces given, at least 2 are needed")
    check_between(confidence, "pieces to settle: confidence")
    as_number(wanted, "pieces to settle: wanted Ppk", above=0.0)
    as_number(least, "pieces to settle: least number of pieces")

    def settled(rows: Places, count: Floats) -> Flags:
        """Whether either bound has passed the wanted value with this many pieces."""
        worth, freedom = mean_share[rows] * count, df_share[rows] * (count - 1.0)
        return _settled(index[rows], worth, freedom, sides, wanted, confidence)

    first = np.maximum(n, float(least))
    more = np.full(n.size, np.nan)
    open_ = np.arange(n.size)
    done = settled(open_, first)
    more[done] = (first - n)[done]
    open_ = open_[~done & (first < MOST_PIECES)]
    # what not even the most pieces settle stays NaN and needs no search
    open_ = open_[settled(open_, np.full(open_.size, float(MOST_PIECES)))]
    few, many = first[open_], np.full(open_.size, float(MOST_PIECES))
    while np.any(many - few > 1):
        # the number sought grows like a square: halve the ratio first, then the distance
        wide = many > 4.0 * few
        middle = np.floor(np.where(wide, np.sqrt(few * many), (few + many) / 2.0))
        enough = settled(open_, middle)
        many, few = np.where(enough, middle, many), np.where(enough, few, middle)
    more[open_] = many - n[open_]
    return more


def more_by_width(ppk: float, bounds: Interval, n: int, wanted: float) -> int | None:
    """Further pieces by the rule that an interval shrinks with the root of n; for shapes without a formula.

    Parameters
    ----------
    ppk, bounds, wanted : float, (float, float), float
        Estimate, what the verdict rests on, and what is wanted. [1]
    n : int
        Pieces.

    Returns
    -------
    int or None
        0 where the question is settled, None where no sensible number would do.

    References
    ----------
    .. [1] The standard error of a mean falls with the root of n; a rule of thumb (no source).

    Examples
    --------
    >>> more_by_width(1.5, (0.9, 2.1), 30, 1.0)
    14
    """
    low, high = bounds
    if low >= wanted or high < wanted:
        return 0
    gap = abs(ppk - wanted)
    reach = ppk - low if ppk > wanted else high - ppk
    if gap == 0.0 or (reach / gap) ** 2 * n > MOST_PIECES:
        return None
    return max(math.ceil((reach / gap) ** 2 * n) - n, 0)


def _settled(index: Floats, n: Floats, df: Floats, sides: int, wanted: float, confidence: float) -> Flags:
    """Whether the one-sided lower bound reaches the wanted figure, or the upper one stays below it."""
    if sides == 1:
        scale = 3.0 * np.sqrt(n)
        # the chance of so small a figure if the wanted one were true says the same as the bound itself
        chance = special.nctdtr(df, scale * wanted, scale * index)
        chance = np.where(np.isfinite(chance), chance, index > wanted)  # far out: as good as 0 or 1
        return np.asarray((chance >= confidence) | (chance < 1.0 - confidence))
    reach = special.ndtri(confidence) * np.sqrt(1.0 / (9.0 * n) + index**2 / (2.0 * df))
    return np.asarray((index - reach >= wanted) | (index + reach < wanted))

"""Has a line of wear bent? The largest t of a ramp beside the line, after every piece."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy import special

from qc.stats.change import RELATIVE_GUARD, Z_LARGEST
from qc.stats.numbers import Floats

# chosen: from here on `LINE_SIDE` and `RAMP_SIDE` leave a few places to look at; the threshold was simulated
# from this length on
SHORTEST_LINE = 8
"""Pieces a line needs before it is searched for a bend."""

RAMP_SIDE = 3
"""Pieces wanted on a ramp before it can be told from a piece or two that stand apart."""

LINE_SIDE = 3
"""Pieces that make the line which was left."""

CROSSINGS = 0.38
"""Chance of a first crossing at a piece, over z times the normal density at z; see `bend_threshold`."""


def bend_scores(count: Floats, values: Floats, least: float = 0.0) -> Floats:
    """Score, after each piece, the strongest bend of the line through the pieces so far.

    Parameters
    ----------
    count : ndarray, shape (n,)
        Pieces since the tool was fitted, never falling. [pieces]
    values : ndarray, shape (rows, n)
        Readings, one series a row. [unit of the characteristic]
    least : float
        Least variance about a line: step squared / 12, or 0. [square of the unit]

    Returns
    -------
    ndarray, shape (rows, n)
        Normal score of the largest squared t over all places of a ramp; 0 where none can be judged, and where
        the newest piece alone, standing apart, explains more than any ramp.

    Examples
    --------
    >>> straight = np.array([[0.0, 1.1, 2.0, 2.9, 4.0, 5.1, 6.0, 6.9, 8.0, 9.1]])
    >>> bend_scores(np.arange(10.0), straight)[0, -1] < 2
    np.True_
    >>> straight[0, 6:] += [1, 2, 3, 4]
    >>> bend_scores(np.arange(10.0), straight)[0, -1] > 5
    np.True_
    """
    scores = np.zeros(values.shape)
    x, y = count - count[:1], values - values[:, :1]
    sums = np.cumsum(np.stack([y, y * x, y * y]), axis=2)
    for n in range(SHORTEST_LINE, x.size + 1):
        # counts may stand still; without a later count there is neither a line nor a ramp beside it
        if x[n - 1] > x[LINE_SIDE - 1] and x[1] < x[n - 1]:
            scores[:, n - 1] = _score(x[:n], y[:, n - 1], sums[:, :, :n], least)
    return scores


@lru_cache(maxsize=4096)
def bend_threshold(rate: float) -> float:
    """Score that a straight line's strongest bend first exceeds at a piece with this chance.

    Parameters
    ----------
    rate : float
        Wanted share of pieces that raise a false signal.

    Returns
    -------
    float
        The normal score z at which `CROSSINGS` z times the normal density is the rate. Neighbouring places
        and pieces are so alike that one constant serves every length: simulated for 8 to 160 pieces in
        `tests/simulation/wear_rates.py`.

    Examples
    --------
    >>> round(bend_threshold(0.001), 2)
    3.55
    """
    return crossing_score(CROSSINGS, rate)


def crossing_score(chance: float, rate: float) -> float:
    """Solve chance z phi(z) = rate for z: the score first exceeded at this rate, neighbours much alike."""

    def over(z: float) -> float:
        return float(np.log(chance * z) - z * z / 2 - np.log(2 * np.pi) / 2 - np.log(rate))

    from scipy import optimize  # a worn line alone asks for it, and it takes long to load

    return float(optimize.brentq(over, 1.0, Z_LARGEST))


def _score(x: Floats, newest: Floats, sums: Floats, least: float) -> Floats:
    """Score the line through the pieces of `x`; `sums` runs over y, x y and y squared."""
    n = x.size
    middle = x.mean()
    width = float(((x - middle) ** 2).sum())
    mean = sums[0, :, -1] / n
    slope = (sums[1, :, -1] - middle * sums[0, :, -1]) / width
    # the readings run from the first one, so little is lost to the difference
    square = sums[2, :, -1] - n * mean * mean
    left = square - slope * slope * width
    places = np.arange(LINE_SIDE - 1, n - RAMP_SIDE)
    # a hinge at the first count is the line itself; one at the count of the third newest piece would leave
    # fewer than `RAMP_SIDE` pieces on the ramp
    places = places[(x[places] > x[0]) & (x[places] < x[n - RAMP_SIDE])]
    if not places.size:
        return np.zeros(newest.size)
    at, m = x[places], n - 1.0 - places
    first, second = np.cumsum(x), np.cumsum(x * x)
    beyond = first[-1] - first[places]
    ramp = beyond - at * m
    squares = second[-1] - second[places]
    across = squares - at * beyond - middle * ramp
    # the ramp, less what level and slope of the line take up of it; a bend is judged by the rest alone
    size = squares - 2 * at * beyond + at * at * m - ramp * ramp / n - across * across / width
    inner = sums[1, :, -1:] - sums[1][:, places] - at * (sums[0, :, -1:] - sums[0][:, places])
    inner = inner - ramp * mean[:, None] - across * slope[:, None]
    explained = (inner * inner / size).max(axis=1)
    # what the newest piece alone explains: its own squared residual over what the line leaves it free to vary
    free = 1 - 1 / n - (x[-1] - middle) ** 2 / width
    alone = (newest - mean - slope * (x[-1] - middle)) ** 2 / free if free > RELATIVE_GUARD else 0.0
    guard = np.maximum(square * RELATIVE_GUARD, np.finfo(float).tiny)
    # three figures are fitted (level, slope, ramp), so n - 3 readings' worth of scatter is left
    within = np.maximum(np.maximum(left - explained, least * (n - 3)), guard)
    tail = special.stdtr(n - 3, -np.sqrt(explained / within * (n - 3)))
    score = np.minimum(-special.ndtri(np.maximum(tail, 1e-300)), Z_LARGEST)
    return np.where(explained > alone, score, 0.0)

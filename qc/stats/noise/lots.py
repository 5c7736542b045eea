"""How much of the variance lies between recorded lots."""

from __future__ import annotations

import numpy as np

from qc.stats.noise.laid import Laid
from qc.stats.numbers import Flags, Floats

PRIOR_LOTS = (1.0, 10.0)  # the share of a pool: the prior counts as ten lots that gave a tenth; by simulation
UNLIKE, UNLIKE_SISTERS = 0.12, 6.0  # how far apart sisters' shares are believed to be, and as how many say it
USUAL_LOTS = 8.0  # lots that those are believed to have had
APART = (0.04, 0.2)  # however alike or unlike they look, their shares are believed to be so far apart
# beside own lots that differ less sisters count as so many times more: a few lots alike say little, and a
# share taken for too small costs false signals; by simulation of lots that hold 0.4 of the variance
BELOW = 2.0
LEAST_LOTS = 3.0  # freedom between lots from which a sister's share tells how unlike sisters are
MARGIN = 0.45  # over the root of the lots known: a share taken for too small costs false signals
PIECES_PER_LOT = 6.0  # chosen: what a batch at a bench commonly holds
LARGEST = 0.95  # beyond it, pieces of one lot are one piece
SMALLEST_SIZE = 1.5  # of lots on average, below which hardly any of them repeats


def with_lots(laid: Laid) -> Flags:
    """Tell which series have lots that can teach: more than one in a stretch, and more than one piece in one.

    A series without any piece goes with most of its sisters.
    """
    between, _, within, _, _ = _sums(laid, np.zeros(laid.values.size))
    known = np.bincount(laid.series, minlength=laid.count) > 0
    teach = (between > 0) & (within > 0)
    most = 2 * np.count_nonzero(teach) > np.count_nonzero(known)
    return np.where(known, teach, most & known.any())


def learn_lots(laid: Laid, scores: Floats, older: Laid, older_scores: Floats, recorded: Flags) -> Floats:
    """Share of the variance between lots for each series, by analysis of variance on normal scores.

    Sums of squares are pooled over the stretches, each about its own mean, so a change of level between
    stretches is no difference of lots.

    Parameters
    ----------
    laid, scores
        The pool, and its normal scores within each stretch, shape (pieces,).
    older, older_scores
        The same without each series' newest pieces: what a series teaches about itself. In pools of twenty
        sisters of forty pieces without any difference of lots, a change by 1.5 standard deviations ten
        pieces before the end would else give it a share of 0.17, with them left out 0.06 (by simulation).
    recorded : ndarray of bool, shape (series,)
        From `with_lots`; the others get 0.

    Returns
    -------
    ndarray, shape (series,)
        Own estimate beside the pool's, the pool's beside the prior, the margin added. [1]

    References
    ----------
    .. [1] One-way components of variance with unequal groups: NIST/SEMATECH e-Handbook 3.2.3 (table), the
       mean size of groups as in Searle, Casella & McCulloch, "Variance Components", 1992 (from memory).
    .. [2] Variance of an intraclass correlation: Fisher, "Statistical Methods for Research Workers", 1925,
       section 38 (from memory).
    """
    whole, own = _sums(laid, scores) * recorded, _sums(older, older_scores) * recorded
    pooled = whole.sum(axis=1, keepdims=True) - whole + own
    pool = _beside_prior(pooled)
    alone = np.count_nonzero(whole[0]) - (whole[0] > 0) < 1  # then the pool is the series itself
    count = np.where(alone | (own[2] <= 0), 0.0, own[0])
    # a share is the less sure the smaller lots are and the larger it is
    size = np.maximum(whole[4] / np.maximum(whole[0], 1.0), SMALLEST_SIZE)
    common = _beside_prior(own.sum(axis=1, keepdims=True))
    of_one = 2 * (1 - common) ** 2 * (1 + (size - 1) * common) ** 2 / (size * (size - 1))
    seen = _share(own)
    counts_as = of_one / _between(own, of_one) ** 2 * np.where(seen < pool, BELOW, 1.0)
    share_of = np.maximum((counts_as * pool + count * seen) / (counts_as + count), 0.0)
    taught = laid.over_series((laid.sizes - 3).astype(np.float64)) @ recorded
    return np.where(recorded, np.minimum(share_of + lots_margin(float(taught)), LARGEST), 0.0)


def _beside_prior(sums: Floats) -> Floats:
    """Share of a pool, beside what is usual."""
    return np.asarray((PRIOR_LOTS[0] + sums[0] * _share(sums)) / (PRIOR_LOTS[1] + sums[0]))


def _between(sums: Floats, of_one: Floats) -> float:
    """Give the standard deviation of the share between sisters beyond chance, beside what is usual."""
    told = (sums[0] >= LEAST_LOTS) & (sums[2] > 0)
    count = np.count_nonzero(told)
    if count < 2:
        return UNLIKE
    lots, shares, square = sums[0][told], _share(sums)[told], UNLIKE * UNLIKE
    chance = of_one[told] / lots
    middle = float(shares @ lots) / float(lots.sum())
    tells = 1.0 / (square + chance) ** 2
    beyond = float(tells @ ((shares - middle) ** 2 - chance)) * count / (count - 1)
    believed = UNLIKE_SISTERS / (square + float(of_one[told].mean()) / USUAL_LOTS) ** 2
    found = (believed * square + beyond) / (believed + float(tells.sum()))
    return float(np.sqrt(np.clip(found, APART[0] ** 2, APART[1] ** 2)))


def lots_margin(pieces: float) -> float:
    """Return what is added to the share between lots learned from so many pieces of a pool."""
    return float(MARGIN / np.sqrt(PRIOR_LOTS[1] + pieces / PIECES_PER_LOT))


def innovations(laid: Laid, scores: Floats, share: Floats) -> Floats:
    """Return what each piece brings that the earlier pieces of its lot did not tell, in units of its spread.

    Parameters
    ----------
    scores : ndarray, shape (pieces,)
        Normal scores, about zero within each stretch.
    share : ndarray, shape (series,)
        Share of the variance between lots.
    """
    order = np.argsort(laid.lot, kind="stable")
    new = np.diff(laid.lot[order], prepend=-1) != 0
    start = np.flatnonzero(new)[np.cumsum(new) - 1]
    summed = np.cumsum(scores[order]) - scores[order]
    earlier, before = np.empty(order.size), np.empty(order.size)
    earlier[order] = summed - summed[start]
    before[order] = np.arange(order.size) - start
    rho = np.where(laid.recorded, share[laid.series], 0.0)[laid.stretch]
    part = rho / (1 + (before - 1) * rho)
    return np.asarray((scores - part * earlier) / np.sqrt(1 - before * rho * part))


def covered(laid: Laid) -> Floats:
    """Share of neighbouring pieces of each series that are of one lot; of all the pool where it has none."""
    beside = laid.stretch[1:] == laid.stretch[:-1]
    of_pair = laid.series[laid.stretch[1:]]
    pairs = np.bincount(of_pair, beside, laid.count)
    one = np.bincount(of_pair, beside & (laid.lot[1:] == laid.lot[:-1]), laid.count)
    pooled = float(one.sum()) / max(float(pairs.sum()), 1.0)
    return np.asarray(np.where(pairs > 0, one / np.maximum(pairs, 1.0), pooled))


def _sums(laid: Laid, scores: Floats) -> Floats:
    """Sum over the stretches of each series: freedom and squares between lots, then within, and the size.

    The size is that of a lot times the freedom between lots.
    """
    lots, of_piece = np.unique(laid.lot, return_inverse=True)
    size = np.bincount(of_piece, minlength=lots.size).astype(np.float64)
    total = np.bincount(of_piece, scores, lots.size)
    home = np.zeros(lots.size, dtype=np.int64)
    home[of_piece] = laid.stretch

    def over(of_lot: Floats) -> Floats:
        return np.bincount(home, of_lot, laid.sizes.size).astype(np.float64)

    between = over(np.ones(lots.size)) - 1
    square = over(total * total / size)
    whole = laid.over_stretches(scores * scores)
    mean_size = laid.sizes - over(size * size) / laid.sizes
    parts = (between, square, laid.sizes - between - 1, whole - square, mean_size)
    return np.stack([laid.over_series(laid.recorded * part) for part in parts])


def _share(sums: Floats) -> Floats:
    """Share of the variance between groups, from pooled sums; 0 where nothing is repeated."""
    between, square, within, rest, size = sums
    some = (between > 0) & (within > 0)
    ms_between = square / np.where(some, between, 1.0)
    ms_within = rest / np.where(some, within, 1.0)
    whole = ms_between + (size / np.where(some, between, 1.0) - 1) * ms_within
    found = some & (whole > 0)
    return np.asarray(np.where(found, (ms_between - ms_within) / np.where(found, whole, 1.0), 0.0))

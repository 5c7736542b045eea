"""How neighbouring pieces hang together where no lots are recorded, or beyond what lots explain."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from qc.stats.noise.laid import Laid
from qc.stats.numbers import Flags, Floats

LAGS = 6
PIECES_PER_LAG = 3  # a stretch teaches a lag only where it is three times as long
PRIOR_PIECES = 60.0  # pieces that the prior counts as; this and what follows by simulation
NEIGHBOURS = 0.2 * 0.6 ** np.arange(LAGS)  # unrecorded lots and slow drifts are the rule, not the exception
RIDGE, RIDGE_FADE = 0.05, 0.6  # what the fade is drawn to where there is next to nothing to fit it to
STEEPEST, FLATTEST = 0.02, 0.95  # fades outside are noise, or a level that is not settled
ROUNDS = 6  # the correction for the estimated mean depends on what it corrects; it settles in six
NEWEST = 20  # pieces whose own dependence is not believed yet
FEWEST_SISTERS, LEAST_PIECES = 3, 15  # to see how unlike sisters are
POOL_PIECES = (40.0, 400.0)  # pieces the sisters count as: few where they are unlike, many where alike
MARGIN_FADE = 0.7

FADES = np.linspace(STEEPEST, FLATTEST, 1861)  # half a thousandth apart
TO_FIT = np.array([np.sum(fade ** np.arange(1, LAGS)) for fade in FADES])  # five lags beyond the first
TO_SUM = np.array([np.sum(fade ** np.arange(1, LAGS + 1)) for fade in FADES])


class Hanging(NamedTuple):
    """Correlation echo * fade**k of pieces k apart for each series, and how unlike its sisters are."""

    echo: Floats
    fade: Floats
    lasts: Floats


class LagSums(NamedTuple):
    """Sums for each series and lag, shape (series, LAGS), over the stretches that teach the lag.

    `lengths` counts the stretches of each length, shape (series, lengths).
    """

    products: Floats
    pairs: Floats
    squares: Floats
    pieces: Floats
    worth: Floats
    lengths: Floats

    def pooled(self, newest_left_out: LagSums, members: Flags) -> LagSums:
        """For each series what all members teach, of the series itself only what is not too new."""
        pools = []
        for whole, own in zip(self, newest_left_out, strict=True):
            whole, own = whole * members[:, None], own * members[:, None]
            # differences of sums may leave a rounding where nothing is left
            rest = np.where(np.abs(whole.sum(0) - whole) > 1e-9, whole.sum(0) - whole, 0.0)
            pools.append(rest + own)
        return LagSums(*pools)


def sum_variance(lengths: Floats, echo: Floats, fade: Floats) -> Floats:
    """Variance of the sum of so many neighbours, in variances of one piece.

    Examples
    --------
    >>> print(sum_variance(np.array([3.0]), np.array([1.0]), np.array([0.5])))
    [5.5]
    """
    together = (lengths - (1 - fade**lengths) / (1 - fade)) * fade / (1 - fade)
    return np.asarray(lengths + 2 * echo * together)


def fit_echo(correlations: Floats) -> tuple[Floats, Floats]:
    """Fit echo * fade**k to correlations of the first lags; their sum is kept.

    Parameters
    ----------
    correlations : ndarray, shape (series, LAGS)
        Of pieces 1, 2 ... LAGS apart. [1]

    Returns
    -------
    echo, fade : ndarray, shape (series,)
        A sum below 0 gives echo 0: pieces that push each other away are not allowed for. Where echo would
        exceed 1, it is 1 and the fade keeps the sum.
    """
    first, rest, total = correlations[:, 0], correlations[:, 1:].sum(1), correlations.sum(1)
    ridge = RIDGE * np.sum(RIDGE_FADE ** np.arange(1, LAGS))
    fade = np.interp((rest + ridge) / (np.maximum(first, 0.0) + RIDGE), TO_FIT, FADES)
    echo = np.maximum(total, 0.0) / np.interp(fade, FADES, TO_SUM)
    high = echo > 1
    fade = np.where(high, np.interp(total, TO_SUM, FADES), fade)
    return np.where(high, 1.0, echo), fade


def learn_neighbours(
    laid: Laid, scores: Floats, older: Laid, older_scores: Floats, members: Flags, prior: Floats
) -> Hanging:
    """Learn how neighbours hang together in each series, shrunk towards sisters and they towards the prior.

    Correlations of settled stretches are pooled and corrected for the means and spreads that are estimated
    from them: uncorrected, short stretches would show next to nothing.

    Parameters
    ----------
    laid, scores
        The pool, and its normal scores or what lots leave of them.
    older, older_scores
        The same without each series' newest pieces: what a series teaches about itself. A change under way
        would else pass for dependence and never be told.
    members : ndarray of bool, shape (series,)
        Series that teach and are answered for.
    prior : ndarray, shape (series, LAGS)
        Correlations where nothing is known.

    Returns
    -------
    Hanging
        Own correlations beside the sisters', who count as few pieces where they are unlike and many where
        alike; what they are unlike by is added as a margin, less where there are more own pieces. A series
        alone is its own pool, without its newest pieces.

    References
    ----------
    .. [1] Bias of an autocorrelation, of order 1 / n: Kendall & Ord, "Time Series", 1990 (from
       memory; checked by simulation in the tests).
    """
    lengths = np.unique(np.concatenate([laid.sizes, older.sizes])).astype(np.float64)
    whole, own = _sums(laid, scores, lengths), _sums(older, older_scores, lengths)
    pool = whole.pooled(own, members)
    weight, scale = pool.worth / (pool.worth + PRIOR_PIECES), _scale(pool, lengths)
    echo, fade = fit_echo(prior)
    shared = prior
    for _ in range(ROUNDS):
        shared = weight * scale * _corrected(pool, lengths, echo, fade) + (1 - weight) * prior
        echo, fade = fit_echo(shared)
    unlike = _unlikeness(_corrected(whole, lengths, echo, fade)[:, 0], whole.pieces[:, 0], members)
    counts_as = np.clip(1 / max(unlike * unlike, 1e-9), *POOL_PIECES)
    teaches = members & (whole.pieces[:, 0] > 0)
    alone = np.count_nonzero(teaches) - teaches < 1
    pieces = np.where(alone[:, None], 0.0, own.pieces)
    seen = _scale(own, lengths) * _corrected(own, lengths, echo, fade)
    mixed = (counts_as * shared + pieces * seen) / (counts_as + pieces)
    left = np.sqrt(counts_as / (counts_as + pieces[:, :1]))
    echo, fade = fit_echo(mixed + unlike * left * MARGIN_FADE ** np.arange(LAGS))
    return Hanging(echo, fade, np.full(laid.count, unlike))


def _sums(laid: Laid, scores: Floats, lengths: Floats) -> LagSums:
    """Sum products of neighbours, squares and sizes over the stretches of each series."""
    centred = scores - (laid.over_stretches(scores) / laid.sizes)[laid.stretch]
    square = laid.over_stretches(centred * centred)
    columns = []
    for lag in range(1, LAGS + 1):
        beside = laid.stretch[lag:] == laid.stretch[:-lag]
        product = np.bincount(
            laid.stretch[lag:], beside * centred[lag:] * centred[:-lag], minlength=laid.sizes.size
        )
        teaches = (laid.sizes >= PIECES_PER_LAG * lag).astype(np.float64)
        parts = (product, laid.sizes - lag, square, laid.sizes, laid.sizes - 3)
        columns.append([laid.over_series(part * teaches) for part in parts])
    of_length = np.zeros((laid.count, lengths.size))
    np.add.at(of_length, (laid.series, np.searchsorted(lengths, laid.sizes)), 1.0)
    products, pairs, squares, pieces, worth = (np.stack(part, axis=1) for part in zip(*columns, strict=True))
    return LagSums(products, pairs, squares, pieces, worth, of_length)


def _corrected(sums: LagSums, lengths: Floats, echo: Floats, fade: Floats) -> Floats:
    """Correlations for each series and lag, corrected for the mean taken off each stretch.

    What is lost is the squared error of the mean, in variances of a piece.
    """
    ratio = np.divide(
        sums.products * sums.pieces,
        sums.pairs * sums.squares,
        out=np.zeros_like(sums.products),
        where=sums.squares > 0,
    )
    lost = sums.lengths * sum_variance(lengths[None, :], echo[:, None], fade[:, None]) / lengths
    share = _long_enough(lost, lengths) / np.maximum(sums.pieces, 1.0)
    return np.asarray(np.where(sums.squares > 0, ratio * (1 - share) + share, 0.0))


def _scale(sums: LagSums, lengths: Floats) -> Floats:
    """Return by what correlations are too small as the scores of each stretch are scaled by their spread.

    Two in n, of the first correlation; of further ones more, but to correct that costs more than it mends.
    """
    return 1 + 2 * _long_enough(sums.lengths, lengths) / np.maximum(sums.pieces, 1.0)


def _long_enough(of_length: Floats, lengths: Floats) -> Floats:
    """Sum figures of each length over those that teach a lag, for every lag."""
    summed = np.cumsum(of_length[:, ::-1], axis=1)[:, ::-1]
    summed = np.concatenate([summed, np.zeros((summed.shape[0], 1))], axis=1)
    return summed[:, np.searchsorted(lengths, PIECES_PER_LAG * np.arange(1, LAGS + 1))]


def _unlikeness(first: Floats, pieces: Floats, members: Flags) -> float:
    """Return the standard deviation of the sisters' first correlations beyond chance."""
    told = members & (pieces >= LEAST_PIECES)
    count = np.count_nonzero(told)
    if count < FEWEST_SISTERS:
        return 0.0
    chance = (1 + np.sqrt(2 / (count - 1))) * float(np.mean(1 / pieces[told]))
    return float(np.sqrt(max(0.0, float(np.var(first[told], ddof=1)) - chance)))

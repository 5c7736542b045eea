"""Learning of noise from a pool of sister series."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from qc.stats.noise.laid import Laid, blom_scores, lay
from qc.stats.noise.lots import covered, innovations, learn_lots, with_lots
from qc.stats.noise.neighbours import NEWEST, learn_neighbours
from qc.stats.noise.neighbours import PRIOR as PRIOR_ECHO
from qc.stats.noise.scatter import Noise, Settled
from qc.stats.noise.shape import learn_shape
from qc.stats.numbers import Flags, Floats


def learn_noise(pool: Mapping[str, Sequence[Settled]]) -> dict[str, Noise]:
    """Learn how the pieces of each series scatter, from its settled stretches and those of its sisters.

    The fewer pieces a series has, the more its sisters count, and the fewer the pool has, the more what is
    usual at a bench: tails a little longer than normal, neighbours a little alike. Margins lie on the side
    that keeps false signals rare.

    * Skewness and tails: L-moment ratios.
    * Odd pieces: normal scores beyond three, counted over the pool.
    * Lots, where recorded: analysis of variance on normal scores within each stretch.
    * Neighbours: autocorrelations of those scores, pooled and corrected; where lots are recorded, of what
      they leave unexplained. The newest 20 pieces of a series say nothing about its own, as a change may be
      under way in them.

    Series with recorded lots and series without are not pooled for the last two. Where lots are recorded,
    what neighbours are taken for without evidence shrinks by the share of them that is of one lot: lots
    that hold a piece each explain nothing.

    Parameters
    ----------
    pool : mapping of name to sequence of Settled
        Sisters: series of one kind of characteristic that are believed to scatter alike, each with its
        settled stretches in order of making. A stretch of fewer than four pieces, or of equal readings,
        teaches nothing. A series without stretches gets what its sisters teach.

    Returns
    -------
    dict of name to Noise
        In the order of `pool`; the order of the sisters changes nothing else.

    Raises
    ------
    StatisticsError
        A reading that is not a finite number, or labels or lots that are not as many as the readings.

    References
    ----------
    .. [1] Hosking, "L-moments", J. Royal Statistical Society B 52 (1990), 105-124.
    .. [2] The weights of prior, pool and own pieces, and the margins, by simulation of workshops of twenty
       sisters (no other source).

    Examples
    --------
    >>> readings = [5.1, 4.9, 5.0, 5.2, 4.8, 5.05, 5.15, 4.95]
    >>> found = learn_noise({"bore": [Settled(readings, labels=range(8))], "new": []})
    >>> found["bore"].pieces, found["bore"].own, found["new"].own, found["new"].lots
    (8, 8, 0, 0.0)
    """
    names = sorted(pool)
    laid = lay([(name, pool[name]) for name in names])
    shape = learn_shape(laid)
    scores = blom_scores(laid)
    recorded = with_lots(laid)
    lots = learn_lots(laid, scores, recorded)
    echo, fade, lasts = _learn_neighbours(laid, scores, lots, recorded)
    own = laid.over_series(laid.sizes.astype(np.float64))
    found = {
        name: Noise(
            skew=float(shape.skew[i]),
            tails=float(shape.tails[i]),
            odd_share=shape.odd_share,
            odd_reach=shape.odd_reach,
            lots=float(lots[i]),
            echo=float(echo[i]),
            fade=float(fade[i]),
            pieces=int(own.sum()),
            own=int(own[i]),
            lasts=float(lasts[i]),
        )
        for i, name in enumerate(names)
    }
    return {name: found[name] for name in pool}


def _learn_neighbours(
    laid: Laid, scores: Floats, lots: Floats, recorded: Flags
) -> tuple[Floats, Floats, Floats]:
    """Learn neighbours of the series without recorded lots, and of the others beyond their lots."""
    older = laid.without_newest(NEWEST)
    left = innovations(laid, scores, lots)
    older_left = innovations(older, blom_scores(older), lots)
    unexplained = np.where(recorded, 1 - covered(laid), 1.0)
    prior = unexplained[:, None] * PRIOR_ECHO
    found = np.zeros((3, laid.count))
    for members in (recorded, ~recorded):
        if members.any():
            found[:, members] = np.array(learn_neighbours(laid, left, older, older_left, members, prior))[
                :, members
            ]
    return found[0], found[1], found[2]


PRIOR = learn_noise({"": ()})[""]
"""What is taken for granted where nothing has been learned yet."""

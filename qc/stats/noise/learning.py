"""Learning of noise from a pool of sister series."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from qc.stats.noise.laid import Laid, blom_scores, lay
from qc.stats.noise.lots import covered, innovations, learn_lots, with_lots
from qc.stats.noise.neighbours import NEIGHBOURS, NEWEST, Hanging, learn_neighbours
from qc.stats.noise.scatter import Noise, Settled
from qc.stats.noise.shape import learn_shape
from qc.stats.numbers import Floats


def learn_noise(pool: Mapping[str, Sequence[Settled]]) -> dict[str, Noise]:
    """Learn how the pieces of each series scatter, from its settled stretches and those of its sisters.

    The fewer pieces a series has, the more its sisters count, and the fewer the pool has, the more what is
    usual at a bench: tails a little longer than normal, neighbours a little alike. Sisters count the less the
    less alike they are; few of them are believed to be a little unlike. Margins lie on the side that keeps
    false signals rare.

    * Skewness and tails: L-moment ratios.
    * Odd pieces: normal scores beyond three, counted over the pool.
    * Lots, where recorded: analysis of variance on normal scores within each stretch.
    * Neighbours: autocorrelations of those scores, pooled and corrected; where lots are recorded, of what
      they leave unexplained.

    The newest 20 pieces of a series say nothing about its own lots and neighbours: a change may be under way
    in them, and would pass for dependence.

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
        A reading that is not a finite number, a step that is not above 0, or labels or lots that are not as
        many as the readings.

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
    lots, hanging = _learn_dependence(laid)
    own = laid.over_series(laid.sizes.astype(np.float64))
    learned = {
        name: Noise(
            skew=float(shape.skew[i]),
            tails=float(shape.tails[i]),
            odd_share=shape.odd_share,
            odd_reach=shape.odd_reach,
            lots=float(lots[i]),
            echo=float(hanging.echo[i]),
            fade=float(hanging.fade[i]),
            pieces=int(own.sum()),
            own=int(own[i]),
            lasts=float(hanging.lasts[i]),
            unlike_skew=shape.unlike_skew,
            unlike_tails=shape.unlike_tails,
        )
        for i, name in enumerate(names)
    }
    return {name: learned[name] for name in pool}


def _learn_dependence(laid: Laid) -> tuple[Floats, Hanging]:
    """Learn what lots share, and how neighbours hang together beyond that."""
    scores = blom_scores(laid)
    older = laid.without_newest(NEWEST)
    older_scores = blom_scores(older)
    recorded = with_lots(laid)
    lots = learn_lots(laid, scores, older, older_scores, recorded)
    left, older_left = innovations(laid, scores, lots), innovations(older, older_scores, lots)
    # what lots explain of neighbours' likeness is not to be taken for granted twice
    prior = np.where(recorded, 1 - covered(laid), 1.0)[:, None] * NEIGHBOURS
    found = np.zeros((3, laid.count))
    for members in (recorded, ~recorded):
        answer = learn_neighbours(laid, left, older, older_left, members, prior)
        found[:, members] = np.array(answer)[:, members]
    return lots, Hanging(*found)


PRIOR = learn_noise({"": ()})[""]
"""What is taken for granted where nothing has been learned yet."""

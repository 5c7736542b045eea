"""The yield over several stages: what share of the pieces would pass them all at the first go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import prod

from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Interval, check_between
from qc.stats.tabled import Tabled


@dataclass(frozen=True, slots=True)
class RolledYield(Tabled):
    """The product of the shares that passed each of several stages.

    Attributes
    ----------
    share : float
        The product, 0..1.
    interval : (float, float)
        Two-sided interval.
    stages : int
        Stages it is the product of.
    least : int
        Pieces of the stage with the fewest: so many the interval rests on.
    """

    share: float
    interval: Interval
    stages: int
    least: int


def rolled_yield(counts: Sequence[tuple[int, int]], *, confidence: float = 0.95) -> RolledYield:
    """Give the rolled yield of stages with its interval, by the method of Lindstrom and Madden.

    Parameters
    ----------
    counts : sequence of (int, int), length k >= 1
        Of each stage how many pieces passed, 0..n, and how many there were, n >= 1.
    confidence : float, 0..1
        Confidence of the interval.

    Returns
    -------
    RolledYield
        The interval is the exact one (Clopper and Pearson) of a single stage that had as many pieces as the
        smallest of these and let the same share pass. Of one stage it is exact; of several it is wider than
        it need be, by simulation: either end fails less often than it may, where the stages of a piece fail
        independently of each other.

    Raises
    ------
    StatisticsError
        No stage, counts out of range or a confidence outside 0..1.

    References
    ----------
    .. [1] Lloyd and Lipow, Reliability: Management, Methods, and Mathematics, 1962: the method of Lindstrom
       and Madden for parts in series.
    .. [2] Clopper and Pearson, Biometrika 26, 1934.
    .. [3] Trade check T076: six stages of 0.97, 0.95, 0.92, 0.98, 0.90 and 0.96 give 0.7178.

    Examples
    --------
    >>> found = rolled_yield([(97, 100), (95, 100)])
    >>> round(found.share, 4), [round(end, 4) for end in found.interval]
    (0.9215, [0.8503, 0.9658])
    """
    check_between(confidence, "rolled yield: confidence")
    if not counts:
        raise StatisticsError("rolled yield: no stage had a piece, so there is nothing to multiply")
    for passed, of in counts:
        if not 0 <= passed <= of or of < 1:
            raise StatisticsError(
                f"rolled yield: {passed} of {of}; a count between 0 and the number of pieces is needed"
            )
    least = min(of for _, of in counts)
    share = prod(passed / of for passed, of in counts)
    half = (1.0 - confidence) / 2.0
    # a product of whole shares is 1 to the last bit, and so is 0: neither end needs a tolerance
    through = share * least
    low = float(special.betaincinv(through, least - through + 1.0, half)) if share > 0.0 else 0.0
    high = float(special.betaincinv(through + 1.0, least - through, 1.0 - half)) if share < 1.0 else 1.0
    return RolledYield(share, (low, high), len(counts), least)

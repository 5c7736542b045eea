"""Two one-sided charts as one: run length of an upper and a lower sum kept together."""

from __future__ import annotations

import math

import numpy as np

from qc.stats.numbers import Floats
from qc.stats.run_lengths.chain import RunLength, TailWatch

_MOST_TERMS = 6000  # beyond, the survival is taken as geometric even if its hazard still moved a little


def join_sides(up: RunLength, down: RunLength, first_up: RunLength, first_down: RunLength) -> RunLength:
    """Run length of two sums together, of which one is at 0 when the other signals.

    Parameters
    ----------
    up, down : RunLength
        The sums alone, started at 0.
    first_up, first_down : RunLength
        The sums alone, started at the head start; the same as above without one.

    Notes
    -----
    With the generating functions of the survivals, U and L of the sums started at 0 and U' and L' of those
    started at the head start, the joint one is (L' U + U' L - U L) / (U + L - (1 - s) U L).

    References
    ----------
    .. [1] Lucas and Crosier, "Fast initial response for CUSUM quality-control schemes", Technometrics 24,
       1982: the same at s = 1 for the means (from memory); the rest by renewal, played out in the tests.

    Examples
    --------
    >>> from qc.stats.run_lengths.chain import shewhart_run_length
    >>> one = shewhart_run_length(3.0)
    >>> round(join_sides(one, one, one, one).mean / one.mean, 6)
    0.5
    """
    moments = [_moments(part) for part in (up, down, first_up, first_down)]
    (u, du), (low, dlow), (fu, dfu), (fl, dfl) = moments
    top = fl * u + fu * low - u * low
    d_top = dfl * u + fl * du + dfu * low + fu * dlow - du * low - u * dlow
    bottom, d_bottom = u + low, du + dlow + u * low
    mean = top / bottom
    weighted = (d_top - mean * d_bottom) / bottom  # derivative at s = 1: the sum of t S_t
    variance = 2.0 * weighted + mean - mean * mean
    survival, ratio = _joined_survival(up, down, first_up, first_down, mean)
    return RunLength(mean, math.sqrt(max(variance, 0.0)), survival, ratio, up.states + down.states)


def _joined_survival(
    up: RunLength, down: RunLength, first_up: RunLength, first_down: RunLength, mean: float
) -> tuple[Floats, float]:
    """Divide the series N by D term by term until the hazard has settled."""
    # a joined tail may settle later than that of either side alone; four times as far is chosen, not derived
    length = min(4 * max(part.survival.size for part in (up, down, first_up, first_down)), _MOST_TERMS)
    u, low, fu, fl = (_listed(part, length) for part in (up, down, first_up, first_down))
    product = np.convolve(u, low)[:length]
    top = np.convolve(fl, u)[:length] + np.convolve(fu, low)[:length] - product
    bottom = u + low - np.diff(product, prepend=0.0)  # its first term is 1
    survival, tail = [1.0], TailWatch(mean)
    for t in range(1, length):
        survival.append(float(top[t] - bottom[t:0:-1] @ np.array(survival)))
        if tail.settled(survival):
            break
    return np.array(survival), tail.ratio


def _moments(part: RunLength) -> tuple[float, float]:
    """Sum of S_t and of t S_t, from mean and sd."""
    return part.mean, (part.sd**2 + part.mean**2 - part.mean) / 2.0


def _listed(part: RunLength, length: int) -> Floats:
    """List the survival of the first `length` points, its tail geometric."""
    have = part.survival[:length]
    tail = have[-1] * part.ratio ** np.arange(1, length - have.size + 1)
    return np.concatenate([have, tail])

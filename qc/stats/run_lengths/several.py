"""Run length of a multivariate EWMA, in control and shifted, and the limit for a wanted run length.

The length of the smoothed vector is a Markov chain while nothing changes; after a shift its part along the
shift and the length of the rest are one. Both are solved at Gauss-Legendre nodes, the first to ten digits,
the second to six.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri, gammaln, ive

from qc.stats.errors import StatisticsError
from qc.stats.numbers import GREATEST, Floats
from qc.stats.run_lengths.chain import RunLength, run_length_of_chain
from qc.stats.run_lengths.nodes import legendre

MOST_FIGURES = 100  # chosen: more is no piece of a workshop
_LEAST_NODES = 14
_NODES_A_SPREAD = 2.5  # of the newest point's part; ten digits (tests)
_NODES_A_SPREAD_SHIFTED = 1.5  # in each of two dimensions: six digits (tests)
_MOST_NODES, _MOST_STATES = 400, 3_000


def mewma_run_length(figures: int, weight: float, limit: float) -> float:
    """In-control average run length of a multivariate EWMA with a fixed limit, zero start. [points].

    Parameters
    ----------
    figures : int
        Number of figures.
    weight : float
        Weight of the newest point, above 0 and at most 1.
    limit : float
        Limit on the squared distance, above 0.

    Raises
    ------
    StatisticsError
        Figures, weight or limit out of range.

    References
    ----------
    .. [1] Runger & Prabhu, "A Markov chain model for the multivariate exponentially weighted moving averages
       control chart", J. American Statistical Association 91 (1996): the states; here an integral equation.

    Examples
    --------
    >>> round(mewma_run_length(1, 1.0, 9.0), 1)  # a plain three-sigma chart
    370.4
    """
    first, step = _still(figures, weight, limit)
    waits = np.linalg.solve(np.eye(first.size) - step, np.ones(first.size))
    return 1.0 + float(first @ waits)


def mewma_run_length_distribution(figures: int, weight: float, limit: float, shift: float = 0.0) -> RunLength:
    """Run length of a multivariate EWMA with a fixed limit, mean and covariance known.

    Parameters
    ----------
    figures, weight, limit
        As `mewma_run_length`, source and errors too; a memory so long or a limit so wide that the states
        outgrow the machine are refused. A shifted chain has two dimensions whatever the number of figures.
    shift : float
        Shift of the means from the first point on: the root of its squared (Mahalanobis) distance. [sigma]

    Examples
    --------
    >>> round(mewma_run_length_distribution(2, 0.1, 8.64, 1.0).mean, 1)
    10.1
    """
    if not abs(shift) <= GREATEST:
        raise StatisticsError(f"run length of MEWMA: shift is {shift}, must be a number")
    if shift == 0.0:
        return run_length_of_chain(*_still(figures, weight, limit))
    return run_length_of_chain(*_shifted(figures, weight, limit, abs(shift)))


def mewma_limit(figures: int, weight: float, run_length: float) -> float:
    """Limit on the squared distance for a wanted in-control run length.

    Parameters
    ----------
    figures, weight
        As `mewma_run_length`, errors too.
    run_length : float
        Wanted mean number of points to a false signal, above 1.

    References
    ----------
    .. [1] As for `mewma_run_length`; Prabhu & Runger, J. Quality Technology 29 (1997) print 8.64 for two
       figures, weight 0.1 and 200 points (from memory, recomputed).

    Examples
    --------
    >>> round(mewma_limit(2, 0.1, 200.0), 2)
    8.63
    """
    if not 1 < run_length < 1e7:
        raise StatisticsError(f"run length is {run_length}: it must be above 1 (and below ten million)")
    _reach(figures, weight, 1.0)  # refuses figures and weight before anything is searched
    return _limit(figures, weight, run_length)


@lru_cache(maxsize=256)
def _limit(figures: int, weight: float, run_length: float) -> float:
    """Search the limit in logs."""

    def gap(limit: float) -> float:
        """Log run length at this limit, less the wanted one."""
        return math.log(mewma_run_length(figures, weight, limit) / run_length)

    # a chart without memory needs the widest limit: its points do not hang together
    return float(brentq(gap, 1e-3, 1.0001 * float(chdtri(figures, 1.0 / run_length)), xtol=1e-10))


def _still(figures: int, weight: float, limit: float) -> tuple[Floats, Floats]:
    """First and repeated step of the vector's length, in units of the newest point's part."""
    reach = _reach(figures, weight, limit)
    unit, weights = legendre(_node_count(reach))
    at, weights = reach * (unit + 1.0) / 2.0, reach * weights / 2.0
    centers = (1.0 - weight) * np.append(at, 0.0)
    mass = _length_density(at, centers, figures) * weights
    return mass[-1], mass[:-1]


def _shifted(figures: int, weight: float, limit: float, shift: float) -> tuple[Floats, Floats]:
    """First and repeated step of the part along the shift and the length of the rest."""
    reach = _reach(figures, weight, limit)
    if figures == 1:
        unit, weights = legendre(_node_count(2.0 * reach))
        along, weights = reach * unit, reach * weights
    else:
        along, weights = _rest_of_disc(figures, weight, limit)
    mass = _normal(along, (1.0 - weight) * np.append(along, 0.0) + shift) * weights
    return mass[-1], mass[:-1]


@lru_cache(maxsize=4)
def _rest_of_disc(figures: int, weight: float, limit: float) -> tuple[Floats, Floats]:
    """Nodes along the shift, and what the length of the rest gives to each step: the same for all shifts."""
    reach = _reach(figures, weight, limit)
    angle, angle_weights = legendre(_node_count(2.0 * reach, _NODES_A_SPREAD_SHIFTED))
    part, part_weights = legendre(_node_count(reach, _NODES_A_SPREAD_SHIFTED))
    if angle.size * part.size > _MOST_STATES:
        raise StatisticsError(
            f"run length of MEWMA: weight {weight} and limit {limit} need too many states for a shifted "
            "chart; take a greater weight"
        )
    # along = reach sin(a): the edge of the disc, a root in `along`, is smooth in the angle
    sine, cosine = np.sin(np.pi / 2.0 * angle), np.cos(np.pi / 2.0 * angle)
    along = np.repeat(reach * sine, part.size)
    across = (reach * cosine[:, None] * (part + 1.0) / 2.0).ravel()
    area = angle_weights * np.pi / 2.0 * (reach * cosine) ** 2
    weights = (area[:, None] * part_weights / 2.0).ravel()
    return along, _length_density(across, (1.0 - weight) * np.append(across, 0.0), figures - 1) * weights


def _normal(at: Floats, centers: Floats) -> Floats:
    """Give the normal density at each node (column) about each centre (row)."""
    return np.asarray(np.exp(-0.5 * (at - centers[:, None]) ** 2) / math.sqrt(2.0 * math.pi))


def _length_density(at: Floats, centers: Floats, figures: int) -> Floats:
    """Density of the length of a normal vector about a centre so far out: a noncentral chi.

    r^(p-1) e^(-(r - c)^2 / 2) times the scaled Bessel function of order p/2 - 1 over (r c)^(p/2 - 1).
    """
    order = figures / 2.0 - 1.0
    product = at * centers[:, None]
    # below this the Bessel function over its power is its value at 0 to sixteen digits
    small = product < 1e-8
    safe = np.where(small, 1.0, product)
    bessel = np.where(
        small, math.exp(-order * math.log(2.0) - gammaln(order + 1.0)), ive(order, safe) / safe**order
    )
    return np.asarray(np.exp(-0.5 * (at - centers[:, None]) ** 2) * at ** (figures - 1) * bessel)


def _node_count(spreads: float, dense: float = _NODES_A_SPREAD) -> int:
    """Nodes for an interval of so many spreads of the newest point."""
    count = _LEAST_NODES + math.ceil(dense * min(spreads, _MOST_NODES))
    if count > _MOST_NODES:
        raise StatisticsError(
            "run length of MEWMA: the chart's memory is too long for the integral equation; take a greater "
            "weight or a smaller limit"
        )
    return count


def _reach(figures: int, weight: float, limit: float) -> float:
    """Greatest length without a signal, in units of the newest point's part; what no chart has is refused."""
    if not 1 <= figures <= MOST_FIGURES or not 0 < weight <= 1 or not (limit > 0 and math.isfinite(limit)):
        raise StatisticsError(
            f"{figures} figures, weight {weight} and limit {limit}: 1 to {MOST_FIGURES} figures, a weight "
            "above 0 and at most 1 and a finite limit above 0 are needed"
        )
    return math.sqrt(limit / (weight * (2.0 - weight)))

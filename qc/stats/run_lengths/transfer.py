"""Moment generating functions of ranges of normal samples, for complex arguments.

The sum of moving ranges is a walk that pays exp(zeta |x - y|) for each step; the operator of one step splits
into two running integrals, so that it costs no more than its nodes. Both functions give the logarithm of a
scale beside a number of moderate size, since the values themselves leave the machine's range.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from qc.stats.numbers import Floats
from qc.stats.run_lengths.nodes import legendre_from_0

Complex = NDArray[Any]  # complex, or float where every argument is real

_NODES = 14  # a panel: a smooth function of scale 1 on a panel of width 1 is held to 1e-15
_AT, _WEIGHTS = legendre_from_0(_NODES)
# nodes and weights for exp(zeta (x - y)) from the edge of a panel to each of its nodes
_INNER, _INNER_WEIGHTS = legendre_from_0(32)
_PHASE = 12.0  # greatest |zeta| times width of a panel that these nodes resolve
_BEYOND = 8.6  # normal mass beyond is 8e-18
_LONGEST = 16.0  # a range beyond has less than 1e-16 of its mass, 100 readings, no tilt
_SETTLED = 3e-15  # relative: a few roundings
_MOST_STEPS = 400  # chosen: from there on the last ratio stands for the rest


def moving_range_log_mgf(zeta: Complex, points: int) -> tuple[Floats, Complex]:
    """Mean of exp(zeta S), S the sum of the moving ranges of independent standard normal points.

    Parameters
    ----------
    zeta : ndarray of float or complex, shape (k,)
        Arguments, of similar size.
    points : int, >= 2
        Points; S has one term less.

    Returns
    -------
    scale, mantissa : ndarray, shape (k,)
        The mean is exp(scale) times mantissa.

    Notes
    -----
    v(x) -> integral of exp(zeta |x - y|) phi(y) v(y) dy, repeated from v = 1 and averaged at the end. v is
    even, so half the line is enough. Once a step multiplies the mean by the same number as the step before,
    the rest is a power.

    References
    ----------
    .. [1] Transfer operator of a Markov chain; checked against the closed form for two points.

    Examples
    --------
    >>> scale, mantissa = moving_range_log_mgf(np.array([0.5]), 2)
    >>> round(float(mantissa[0] * np.exp(scale[0])), 9) == round(math.exp(0.25) * math.erfc(-0.5), 9)
    True
    """
    walk = _Walk(zeta)
    value = np.ones((zeta.size, *walk.density.shape), dtype=zeta.dtype)
    scale, mean = np.zeros(zeta.size), walk.mean(value)
    ratio, before, calm, done = mean, mean, 0, 0
    while done < points - 1 and calm < 3 and done < _MOST_STEPS:
        value = walk.step(value)
        before, ratio = ratio, walk.mean(value) / mean
        size = np.abs(value).max(axis=(1, 2))
        value /= size[:, None, None]
        scale, mean, done = scale + np.log(size), ratio * mean / size, done + 1
        calm = calm + 1 if bool(np.all(np.abs(ratio - before) <= _SETTLED * np.abs(ratio))) else 0
    left = points - 1 - done
    if left:
        scale = scale + left * np.log(np.abs(ratio))
        mean = mean * (ratio / np.abs(ratio)) ** left
    return scale, mean


def range_log_mgf(zeta: Complex, n: int) -> tuple[Floats, Complex]:
    """Mean of exp(zeta R), R the range of n independent standard normal readings.

    Parameters
    ----------
    zeta
        As `moving_range_log_mgf`, and what comes back.
    n : int, 2..100
        Readings.

    References
    ----------
    .. [1] David and Nagaraja, "Order Statistics", 3rd ed. 2003, section 2.3 (density of the range).

    Examples
    --------
    >>> scale, mantissa = range_log_mgf(np.array([0.5]), 2)
    >>> round(float(mantissa[0] * np.exp(scale[0])), 9) == round(math.exp(0.25) * math.erfc(-0.5), 9)
    True
    """
    halvings = max(0, math.ceil(math.log2(float(np.abs(zeta).max()) / _PHASE + 1e-300)))
    panels = math.ceil(_LONGEST + 2.0 * max(0.0, float(zeta.real.max()))) * 2**halvings
    at, weights, log_density = _range_grid(n, panels, 2.0**-halvings)
    exponent = zeta[:, None] * at + log_density
    scale = exponent.real.max(axis=1)
    return scale, np.exp(exponent - scale[:, None]) @ weights


class _Walk:
    """One step of the walk for many arguments at once, on panels of the half line."""

    def __init__(self, zeta: Complex) -> None:
        reach = _BEYOND + 2.0 * max(0.0, float(zeta.real.max()))
        self.width = width = min(1.0, _PHASE / max(float(np.abs(zeta).max()), 1e-9))
        at = (np.arange(math.ceil(reach / width))[:, None] + _AT) * width
        self.density = np.exp(-0.5 * at * at) / math.sqrt(2.0 * math.pi)
        inner = np.exp(zeta[:, None, None] * width * _AT[:, None] * (1.0 - _INNER))
        near = width * np.einsum("zim,imj->zij", inner * _INNER_WEIGHTS * _AT[:, None], _inner_basis())
        # within a panel: from its left edge and, mirrored, from its right edge to each node
        self.near = np.swapaxes(near + near[:, ::-1, ::-1], 1, 2)
        self.across = width * _WEIGHTS * np.exp(zeta[:, None] * width * (1.0 - _AT))
        self.carried = np.exp(zeta * width)
        self.from_edge = np.exp(zeta[:, None] * width * _AT)
        self.from_middle = np.exp(zeta[:, None, None] * at)
        self.weighted = 2.0 * width * self.density * _WEIGHTS
        self.mirror = self.from_middle * (width * _WEIGHTS)

    def mean(self, value: Complex) -> Complex:
        """Average over the standard normal."""
        # no matrix products here and below where a library might spread small ones over busy processors
        found: Complex = np.einsum("zpq,pq->z", value, self.weighted)
        return found

    def step(self, value: Complex) -> Complex:
        """Apply the operator of one step."""
        mass = value * self.density
        from_left, from_right = self._across(mass)
        mirrored = np.einsum("zpq,zpq->z", mass, self.mirror)
        found: Complex = np.matmul(mass, self.near)
        found += from_left[:, :, None] * self.from_edge[:, None, :]
        found += from_right[:, :, None] * self.from_edge[:, None, ::-1]
        found += mirrored[:, None, None] * self.from_middle
        return found

    def _across(self, mass: Complex) -> tuple[Complex, Complex]:
        """Sum what lies in all panels to the left, and to the right, carried to the panel's edge."""
        leftward = np.matmul(mass, self.across[:, ::-1, None])[:, :, 0]
        rightward = np.matmul(mass, self.across[:, :, None])[:, :, 0]
        from_left, from_right = np.zeros_like(rightward), np.zeros_like(leftward)
        for panel in range(1, mass.shape[1]):
            from_left[:, panel] = self.carried * from_left[:, panel - 1] + rightward[:, panel - 1]
            from_right[:, -1 - panel] = self.carried * from_right[:, -panel] + leftward[:, -panel]
        return from_left, from_right


@lru_cache(maxsize=1)
def _inner_basis() -> Floats:
    """Lagrange polynomials of the panel's nodes at each node times each inner node."""
    legendre = np.polynomial.legendre.legvander
    inverse = np.linalg.inv(legendre(2.0 * _AT - 1.0, _NODES - 1))
    return np.asarray(legendre(2.0 * _AT[:, None] * _INNER - 1.0, _NODES - 1) @ inverse)


@lru_cache(maxsize=64)
def _range_grid(n: int, panels: int, width: float) -> tuple[Floats, Floats, Floats]:
    """Nodes, weights and log density of the range: n (n - 1) times an integral over the least reading."""
    at = ((np.arange(panels)[:, None] + _AT) * width).ravel()
    weights = np.tile(_WEIGHTS * width, panels)
    # least reading about -range / 2, where the density lies; smooth, so that the trapezium rule is exact
    middle = np.arange(-9.0, 9.01, 0.1)
    low = middle - at[:, None] / 2.0
    inside = special.ndtr(low + at[:, None]) - special.ndtr(low)
    exponent = -(middle**2) - at[:, None] ** 2 / 4.0 + (n - 2) * np.log(np.maximum(inside, 1e-300))
    log_density = special.logsumexp(exponent, axis=1) + math.log(0.1 * n * (n - 1) / (2.0 * math.pi))
    return at, weights, log_density

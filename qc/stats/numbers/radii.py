"""Half-widths that hold a share of a normal about a mean that errs: the inner part of tolerance factors."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy import special

from qc.stats.numbers.arrays import Floats

# Gauss-Legendre nodes on 0..1 for the integral over the error of the mean. 96 nodes over 9 standard errors
# leave less than 1e-12 against 400 nodes for n = 2 .. 1,000 (tests/stats/test_tolerance.py).
_NODES, _WEIGHTS = special.roots_legendre(96)
_REACH = 9.0  # standard errors of the mean: beyond lie 2e-19 of its distribution
_SHARP = 12.0  # sds of the sd's error within which its distribution goes from 0 to 1
NORMAL_DF = 1e8  # from here on the sd counts as normal: changes a factor by less than 1e-9 of itself
KNOWN_DF = 1e24  # from here on the sd counts as known
_NEWTON_STEPS = 60


@lru_cache(maxsize=1024)
def covering_radii(n: float, content: float) -> tuple[Floats, Floats]:
    """Half-widths that hold a content about a mean that errs, with the weights of its errors.

    Parameters
    ----------
    n : float, > 0
        Readings behind the mean.
    content : float, 0 < content < 1
        Share to be held.

    Returns
    -------
    radius, weight : ndarray, shape (96,)
        The mean of any smooth function of the half-width is `weight @ function(radius)`.

    Examples
    --------
    >>> radius, weight = covering_radii(20.0, 0.9973)
    >>> round(float(weight.sum()), 12), round(float(radius.min()), 3)
    (1.0, 3.0)
    """
    return _radii_between(n, content, (0.0, _REACH))


def radii_near(n: float, content: float, k: float, df: float) -> tuple[Floats, Floats]:
    """Half-widths and weights that also resolve a sharp sd: nodes of their own where they are near k.

    Parameters
    ----------
    n, content : float
        As `covering_radii`.
    k : float, > 0
        Factor at or near which the half-widths are compared with the sd.
    df : float, > 0
        Degrees of freedom of the sd.

    Returns
    -------
    radius, weight : ndarray
        As `covering_radii`, with more nodes where many degrees of freedom make the sd sharp.

    Examples
    --------
    >>> radii_near(20.0, 0.9973, 3.1746, 1e9)[0].size
    288
    """
    sharp = _SHARP / math.sqrt(2.0 * df)
    ends = [error_held(n, content, k * (1.0 + side * sharp)) for side in (-1.0, 1.0)]
    if ends[1] - ends[0] > _REACH / 6.0 or ends[0] >= _REACH:
        return covering_radii(n, content)
    return _radii_between(n, content, tuple(sorted({0.0, ends[0], min(ends[1], _REACH), _REACH})))


@lru_cache(maxsize=1024)
def _radii_between(n: float, content: float, edges: tuple[float, ...]) -> tuple[Floats, Floats]:
    """Half-widths at the nodes between each two edges, which are standard errors of the mean."""
    gaps = np.diff(edges)[:, None]
    u = (np.array(edges[:-1])[:, None] + gaps * (_NODES + 1.0) / 2.0).ravel()
    weight = (gaps * _WEIGHTS).ravel() * np.exp(-0.5 * u * u) / math.sqrt(2.0 * math.pi)
    return half_widths(u / math.sqrt(n), content), weight


def half_widths(z: Floats, content: float) -> Floats:
    """Half-widths that hold the content about a mean off by z >= 0: Newton steps in a bracket. [sigma].

    Parameters
    ----------
    z : ndarray, shape (k,)
        Errors of the mean. [sigma]
    content : float, 0 < content < 1
        Share to be held.

    Examples
    --------
    >>> [round(float(r), 4) for r in half_widths(np.array([0.0, 1.0]), 0.95)]
    [1.96, 2.6461]
    """
    core = float(special.ndtri((1.0 + content) / 2.0))
    low, high = np.full_like(z, core), z + core
    radius = high.copy()
    for _ in range(_NEWTON_STEPS):
        outside = special.ndtr(z - radius) + special.ndtr(-z - radius)
        # in logarithms: for a content near 1 the share outside has digits where 1 - share has none
        gap = np.log(outside) - math.log1p(-content)
        low, high = np.where(gap > 0, radius, low), np.where(gap > 0, high, radius)
        density = np.exp(-0.5 * (radius - z) ** 2) + np.exp(-0.5 * (radius + z) ** 2)
        proposal = radius + gap * outside * math.sqrt(2.0 * math.pi) / density
        proposal = np.where((proposal >= low) & (proposal <= high), proposal, (low + high) / 2.0)
        done = bool(np.max(np.abs(proposal - radius)) < 1e-15 * (1.0 + core))
        radius = proposal
        if done:
            break
    return radius


def error_held(n: float, content: float, radius: float) -> float:
    """Count the standard errors (>= 0) the mean may be off while this half-width still holds the content.

    Parameters
    ----------
    n, content : float
        As `covering_radii`.
    radius : float
        Half-width. [sigma]

    Examples
    --------
    >>> round(error_held(4.0, 0.95, 2.6455), 2), error_held(4.0, 0.95, 1.9)
    (2.0, 0.0)
    """
    low, high = 0.0, max(radius, 0.0)
    if special.ndtr(-radius) * 2.0 >= 1.0 - content:
        return 0.0
    # 80 halvings: past the last digit of a double, whatever the radius
    for _ in range(80):
        z = (low + high) / 2.0
        outside = float(special.ndtr(z - radius) + special.ndtr(-z - radius))
        low, high = (z, high) if outside < 1.0 - content else (low, z)
    return low * math.sqrt(n)


def sd_beyond(ratio: Floats, df: float) -> Floats:
    """Chance that the sd is above this ratio of the true one.

    Parameters
    ----------
    ratio : ndarray
        Sd over the true one.
    df : float, > 0
        Degrees of freedom.

    Examples
    --------
    >>> round(float(sd_beyond(np.array([1.0]), 2.0)[0]), 6) == round(math.exp(-1.0), 6)
    True
    """
    if df >= NORMAL_DF:
        return np.asarray(special.ndtr((1.0 - 0.25 / df - ratio) * math.sqrt(2.0 * df)), dtype=np.float64)
    return np.asarray(special.chdtrc(df, df * ratio * ratio), dtype=np.float64)


def sd_density(ratio: Floats, df: float) -> Floats:
    """Density of the sd over the true one, asked as `sd_beyond`.

    Examples
    --------
    >>> round(float(sd_density(np.array([1.0]), 2.0)[0]), 6) == round(2.0 * math.exp(-1.0), 6)
    True
    """
    if df >= NORMAL_DF:
        off = (ratio - 1.0) * math.sqrt(2.0 * df)
        return np.asarray(np.exp(-0.5 * off * off) * math.sqrt(df / math.pi), dtype=np.float64)
    half = df / 2.0
    log = half * np.log(half) - special.gammaln(half) + (df - 1.0) * np.log(ratio) - half * ratio * ratio
    return np.asarray(2.0 * np.exp(log), dtype=np.float64)

"""Gauss-Legendre nodes and weights, made once."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from qc.stats.numbers import Floats


@lru_cache(maxsize=64)
def legendre(count: int) -> tuple[Floats, Floats]:
    """Nodes and weights on -1..1."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


def legendre_from_0(count: int) -> tuple[Floats, Floats]:
    """Nodes and weights on 0..1."""
    nodes, weights = legendre(count)
    return (nodes + 1.0) / 2.0, weights / 2.0

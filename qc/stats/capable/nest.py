"""How readings lie in pieces, and what nested readings are worth to a mean and to a spread."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats


@dataclass(frozen=True, slots=True)
class Nest:
    """How readings lie in pieces: what a table of variance says of them.

    Attributes
    ----------
    pieces, readings : int
        How many. [count]
    size : float
        Readings a piece, as the expected mean square between weighs them. [count]
    squares : float
        Sum of squared sizes over the squared number of readings: 1 / pieces for equal sizes. [1]
    between_ms, within_ms : float
        Mean squares; `within_ms` NaN where no piece has two readings. [square of the unit]
    """

    pieces: int
    readings: int
    size: float
    squares: float
    between_ms: float
    within_ms: float

    @property
    def variances(self) -> tuple[float, float]:
        """Return the components within and between, the latter not below 0; within NaN when unknown."""
        if math.isnan(self.within_ms):
            return math.nan, self.between_ms
        return self.within_ms, max((self.between_ms - self.within_ms) / self.size, 0.0)


@dataclass(frozen=True, slots=True)
class Worth:
    """Independent readings that nested ones are worth to the mean, and degrees of freedom to the sd."""

    mean_n: float
    sd_df: float


def nest_of(readings: Floats, piece: NDArray[np.generic]) -> Nest:
    """Mean squares between and within pieces.

    Parameters
    ----------
    readings : ndarray, length n
        Finite readings. [unit]
    piece : ndarray, length n
        Piece of each reading.

    Raises
    ------
    StatisticsError
        Fewer than two pieces.

    Examples
    --------
    >>> nest = nest_of(np.array([1.0, 2.0, 3.0, 2.0, 3.0, 4.0]), np.repeat([1, 2], 3))
    >>> nest.pieces, round(nest.between_ms, 6), nest.within_ms
    (2, 1.5, 1.0)
    """
    _, code = np.unique(piece.astype(str) if piece.dtype == object else piece, return_inverse=True)
    sizes = np.bincount(code).astype(np.float64)
    k, n = sizes.size, readings.size
    if k < 2:
        raise StatisticsError(f"capability: {k} piece given, at least 2 are needed to tell their spread")
    away = readings - readings[0]  # a large common offset then costs no digits
    means = np.bincount(code, weights=away) / sizes
    grand = float(away.mean())
    between = float(sizes @ (means - grand) ** 2) / (k - 1)
    inside = float(np.sum((away - means[code]) ** 2)) / (n - k) if n > k else math.nan
    square = float(sizes @ sizes)
    return Nest(k, n, (n - square / n) / (k - 1), square / n**2, between, inside)


def worth(nest: Nest, within: float, between: float, seen: float, between_df: float | None = None) -> Worth:
    """Tell what nested readings are worth to the mean and to a sd.

    Parameters
    ----------
    nest : Nest
        Numbers of pieces and readings.
    within, between : float
        Components of variance. [square of the unit]
    seen : float, > 0
        Variance whose sd is asked about: that of the sample, or the total of the components. [same unit]
    between_df : float, optional
        Degrees of freedom of the spread of piece means, pieces - 1 when left out.

    References
    ----------
    .. [1] Satterthwaite, Biometrics Bulletin 2, 1946 (from memory; simulated in the tests).

    Examples
    --------
    >>> nest = Nest(25, 100, 4.0, 0.04, 5.0, 1.0)
    >>> found = worth(nest, within=1.0, between=1.0, seen=2.0)
    >>> round(found.mean_n, 1), round(found.sd_df, 1)
    (40.0, 55.1)
    """
    mean = between * nest.squares + within / nest.readings
    of_means = between + within / nest.size
    doubt = of_means**2 / (nest.pieces - 1 if between_df is None else between_df)
    if nest.readings > nest.pieces:
        doubt += (within * (1.0 - 1.0 / nest.size)) ** 2 / (nest.readings - nest.pieces)
    return Worth(mean_n=seen / mean, sd_df=seen**2 / doubt)

"""What capability figures rest on: mean and spread of many series, and what is known beside them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.stats.numbers import Flags, Floats, Places

UNSTABLE = "the series has signals: find and remove their cause first"


@dataclass(frozen=True, slots=True)
class Basis:
    """What is known of one series beside its readings; the defaults are those of `capability`.

    Attributes
    ----------
    sigma, sigma_df : float or None
        The chart's short-term sigma [unit of the characteristic] and its degrees of freedom.
    stable, unstable_because : bool, str
        Whether the series is the same process throughout; else why not.
    piece : ndarray or None
        For several readings a piece: the piece of each reading. A fitted shape needs it, to count what the
        readings are worth on its own scale.
    pieces, mean_n, sd_df : float or None
        For several readings a piece: how many pieces, how many independent readings the mean is worth, how
        many degrees of freedom the sd has. Left out, every reading is a piece. [count]
    """

    sigma: float | None = None
    sigma_df: float | None = None
    stable: bool = True
    unstable_because: str = UNSTABLE
    piece: NDArray[np.int64] | None = None
    pieces: int | None = None
    mean_n: float | None = None
    sd_df: float | None = None


@dataclass(frozen=True, slots=True)
class Samples:
    """What the figures of k samples rest on; every array has length k.

    Attributes
    ----------
    n : ndarray
        Pieces. [count]
    mean, sd : ndarray
        Mean and sample sd, > 0. [unit of the characteristic]
    sigma, sigma_df : ndarray
        Short-term sigma for Cp and Cpk [same unit] and its degrees of freedom, infinite where it is known.
    mean_n, sd_df : ndarray
        Independent readings that the mean is worth, degrees of freedom of the sd: n and n - 1 for single
        readings. [count]
    """

    n: Floats
    mean: Floats
    sd: Floats
    sigma: Floats
    sigma_df: Floats
    mean_n: Floats
    sd_df: Floats

    def only(self, rows: Flags) -> Samples:
        """Keep some of the samples."""
        return Samples(*(getattr(self, name)[rows] for name in self.__slots__))


def samples_of(
    series: Sequence[Floats], bases: Sequence[Basis], resolution: float | None
) -> tuple[Samples, Floats]:
    """Mean, spread and worth of every series, and the sample sds as they are.

    Parameters
    ----------
    series : sequence of ndarray, each of length >= 2
        Finite readings. [unit of the characteristic]
    bases : sequence of Basis, as many
        What is known beside the readings.
    resolution : float or None
        Step of the gauge: no sd is taken below resolution / sqrt 12. [same unit]

    Examples
    --------
    >>> samples, own = samples_of([np.array([5.0, 5.0, 5.0])], [Basis()], 0.1)
    >>> round(float(samples.sd[0]), 4), own.tolist()
    (0.0289, [0.0])
    """
    sizes = np.array([part.size for part in series], dtype=np.intp)
    mean, own = means_and_sds(np.concatenate(series), sizes)
    count = sizes.astype(np.float64)
    sd = np.maximum(own, 0.0 if resolution is None else resolution / math.sqrt(12.0))
    pieces = _or_else([basis.pieces for basis in bases], count)
    mean_n = _or_else([basis.mean_n for basis in bases], pieces)
    sd_df = _or_else([basis.sd_df for basis in bases], pieces - 1.0)
    sigma = _or_else([basis.sigma for basis in bases], sd)
    sigma_df = _or_else([basis.sigma_df for basis in bases], sd_df)
    return Samples(pieces, mean, sd, sigma, sigma_df, mean_n, sd_df), own


def means_and_sds(values: Floats, sizes: Places) -> tuple[Floats, Floats]:
    """Mean and sample sd of stretches that follow one another, exactly 0 for equal readings. [same unit].

    Parameters
    ----------
    values : ndarray, length sum of `sizes`
        Readings, series after series. [any unit]
    sizes : ndarray, each >= 2
        Readings of each series.

    Examples
    --------
    >>> [part.tolist() for part in means_and_sds(np.array([1.0, 3.0, 5.0, 5.0]), np.array([2, 2]))]
    [[2.0, 5.0], [1.4142135623730951, 0.0]]
    """
    starts = np.concatenate(([0], np.cumsum(sizes)[:-1])).astype(np.intp)
    origin = values[starts]  # a large common offset then costs no digits
    away = values - np.repeat(origin, sizes)
    middle = np.add.reduceat(away, starts) / sizes
    away -= np.repeat(middle, sizes)
    sd = np.sqrt(np.add.reduceat(away * away, starts) / (sizes - 1.0))
    flat = np.maximum.reduceat(values, starts) == np.minimum.reduceat(values, starts)
    return np.where(flat, origin, origin + middle), np.where(flat, 0.0, sd)


def _or_else(given: Sequence[float | None], otherwise: Floats) -> Floats:
    """Take what is given, and something else where nothing is."""
    found = np.array([math.nan if one is None else one for one in given], dtype=np.float64)
    return np.where(np.isnan(found), otherwise, found)

"""Capability by observed percentiles, for readings of any shape: whole samples or whole pieces resampled."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from qc.stats.capable.fitted import DRAWS, Percentiles, percentile_figures
from qc.stats.capable.gate import LEAST_OBSERVED, TAIL
from qc.stats.capable.nest import Nest, nest_of, worth
from qc.stats.capable.result import Limits
from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, Interval
from qc.stats.tabled import Tabled

Labels = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class ShapeFigures(Tabled):
    """Figures of one sample by the percentile method.

    Attributes
    ----------
    pp : float or None
        Tolerance over the width between the outer percentiles; None with one limit. [1]
    ppk : float
        The nearer limit's distance from the median over that of the outer percentile. [1]
    pp_interval : (float, float) or None
        Two-sided interval. [1]
    ppk_interval : (float, float)
        Two-sided interval. [1]
    ppk_bounds : (float, float)
        One-sided bounds. [1]
    outside, outside_interval
        Fraction outside, 0..1, with its two-sided interval.
    method : str
        How they were made.
    """

    pp: float | None
    ppk: float
    pp_interval: Interval | None
    ppk_interval: Interval
    ppk_bounds: Interval
    outside: float
    outside_interval: Interval
    method: str


def observed_figures(
    readings: Floats, limits: Limits, confidence: float, seed: int, piece: Labels | None = None
) -> ShapeFigures:
    """Observed percentiles, resampled; fraction outside by counting. Arguments and errors as `shape_figures`.

    Single readings are resampled bias-corrected and accelerated; of several a piece whole pieces are drawn,
    so that readings that hang together stay together, and the middle of the draws is taken.

    References
    ----------
    .. [1] Davison and Hinkley, "Bootstrap Methods and their Application", 1997, section 3.8 (resampling of
       whole groups; from memory; how often such an interval holds the truth was not simulated).
    """
    n = int(readings.size) if piece is None else int(np.unique(piece).size)
    if n < LEAST_OBSERVED:
        raise StatisticsError(
            f"capability: {n} pieces cannot show the 0.135 % percentiles, {LEAST_OBSERVED} are needed; "
            "take shape positive or weibull if one of them fits"
        )

    def figures(sample: Floats, axis: int = -1) -> tuple[Floats | None, Floats]:
        """Pp and Ppk of observed percentiles."""
        low, middle, high = np.quantile(sample, (TAIL, 0.5, 1.0 - TAIL), axis=axis)
        return percentile_figures(Percentiles(low, middle, high), limits)

    pp, ppk = figures(readings)
    out = np.zeros(readings.size, dtype=bool)
    if limits.lower is not None:
        out |= readings < limits.lower
    if limits.upper is not None:
        out |= readings > limits.upper
    share = float(out.mean())
    count, of = (float(out.sum()), float(n)) if piece is None else _counted(out, piece, n)
    half = (1.0 - confidence) / 2.0
    worst = float(special.betaincinv(count + 1, of - count, 1.0 - half)) if count < of else 1.0
    best = float(special.betaincinv(count, of - count + 1, half)) if count else 0.0
    if piece is None:
        pp_draws = (
            None
            if pp is None
            else _resampled(readings, lambda x, axis: figures(x, axis)[0], confidence, seed)
        )
        two = _resampled(readings, lambda x, axis: figures(x, axis)[1], confidence, seed)
        one = _resampled(readings, lambda x, axis: figures(x, axis)[1], 2.0 * confidence - 1.0, seed)
        how = "resampled interval (bias-corrected and accelerated)"
    else:
        drawn = [figures(sample) for sample in _whole_pieces(readings, piece, seed)]
        pps = [one for one, _ in drawn if one is not None]
        pp_draws = middle(np.array(pps), confidence) if pps else None
        ppks = np.array([one for _, one in drawn])
        two, one = middle(ppks, confidence), one_sided(ppks, confidence)
        how = "interval by resampling whole pieces"
    return ShapeFigures(
        pp=None if pp is None else float(pp),
        ppk=float(ppk),
        pp_interval=pp_draws,
        ppk_interval=two,
        ppk_bounds=one,
        outside=share,
        outside_interval=(best, worst),
        method=f"observed percentiles; {how}, {DRAWS} draws; "
        "fraction outside counted, exact binomial interval"
        + ("" if piece is None else " of what the readings are worth"),
    )


def _counted(out: NDArray[np.bool_], piece: Labels, pieces: int) -> tuple[float, float]:
    """Return how many readings outside, of how many independent ones, those of pieces are worth."""
    marks = out.astype(np.float64)
    if marks.min() == marks.max():
        # nothing tells how far they hang together: each piece counts once
        return float(marks[0]) * pieces, float(pieces)
    nest = nest_of(marks, piece)
    own = worth(nest, *_known(nest), float(np.var(marks, ddof=1))).mean_n
    of = min(max(own, float(pieces)), float(marks.size))
    return float(marks.mean()) * of, of


def _known(nest: Nest) -> tuple[float, float]:
    within, between = nest.variances
    return (0.0 if math.isnan(within) else within), between


def _whole_pieces(readings: Floats, piece: Labels, seed: int) -> Iterator[Floats]:
    """Draw samples of whole pieces, as many as there are."""
    _, code = np.unique(piece, return_inverse=True)
    order = np.argsort(code, kind="stable")
    sizes = np.bincount(code)
    own = np.split(readings[order], np.cumsum(sizes)[:-1])
    rng = np.random.default_rng(seed)
    for _ in range(DRAWS):
        yield np.concatenate([own[at] for at in rng.integers(0, len(own), len(own))])


def _resampled(
    readings: Floats, statistic: Callable[[Floats, int], Floats | None], confidence: float, seed: int
) -> Interval:
    """Bias-corrected and accelerated interval by scipy; where ties leave none, the middle of the draws."""
    from scipy import stats  # half a second to load, and only this shape needs it

    rng = np.random.default_rng(seed)
    how = {"n_resamples": DRAWS, "batch": 200, "vectorized": True, "rng": rng}
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = stats.bootstrap((readings,), statistic, confidence_level=confidence, **how)
    low, high = (float(end) for end in result.confidence_interval)
    if math.isfinite(low) and math.isfinite(high):
        return low, high
    return middle(result.bootstrap_distribution, confidence)


def middle(draws: Floats, confidence: float) -> Interval:
    """Middle share of the draws."""
    low, high = np.quantile(draws, ((1.0 - confidence) / 2.0, (1.0 + confidence) / 2.0))
    return float(low), float(high)


def one_sided(draws: Floats, confidence: float) -> Interval:
    """Lower and upper bound, each one-sided."""
    low, high = np.quantile(draws, (1.0 - confidence, confidence))
    return float(low), float(high)

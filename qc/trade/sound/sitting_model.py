"""Least squares with a common error per sitting: a player's day moves all notes of that day together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri, stdtrit

from qc.stats import Floats, Integers
from qc.trade.errors import TradeError

PLANNING_READING_SD_CENTS = 5.0
"""Spread of one tuner reading when nothing better is known: planning value, common practice, no source."""

FINEST_STEP_CENTS = 0.1
"""Finest step of a tuner: no spread is taken to be below this over root 12, however well readings agree."""

# that of a rounding error spread evenly over a step
LEAST_VARIANCE = FINEST_STEP_CENTS**2 / 12.0

SPREAD_CENTS = (1e-6, 1e3)
"""Spreads that can be computed with; chosen, no tuner shows less and no player scatters more. [cent]"""


@dataclass(frozen=True, slots=True)
class SittingFit:
    """A weighted least-squares fit with sittings.

    Parameters
    ----------
    estimates : array, shape (p,)
        Parameters.
    covariance : array, shape (p, p)
        Of the estimates.
    reading_sd, sitting_sd : float
        Spread within and between sittings, given or estimated. [unit of y]
    residual_freedom : float
        Degrees of freedom of the within-sitting spread; infinite when it was given.
    influence : array, shape (p, n)
        Rows that turn readings into estimates.
    blocks : array of int, shape (n,)
        Sitting of each reading.
    sitting_freedom : float
        Sittings less 1 where their spread was estimated, else infinite.
    """

    estimates: Floats
    covariance: Floats
    reading_sd: float
    sitting_sd: float
    residual_freedom: float
    influence: Floats
    blocks: Integers
    sitting_freedom: float

    def standard_error(self, weights: Floats) -> float:
        """Give the standard error of a weighted sum of the parameters."""
        return math.sqrt(max(0.0, float(weights @ self.covariance @ weights)))

    def half_width(self, weights: Floats, confidence: float = 0.95) -> float:
        """Give the half-width of the confidence interval of a weighted sum of the parameters.

        What moves with whole sittings rests on sittings less 1, what differs within them on
        `residual_freedom`; each part is widened by its own Student quantile. The sitting part is taken with
        its reading error, so that an estimate of 0 from two sittings does not pass for knowledge.
        """
        total = self.standard_error(weights) ** 2
        row = weights @ self.influence
        sums = np.bincount(self.blocks, weights=row)
        shared = float(sums @ sums) * self.sitting_sd**2
        if not math.isinf(self.sitting_freedom):
            readings = len(self.blocks) / (self.blocks.max() + 1)
            shared = min(total, shared + float(sums @ sums) * self.reading_sd**2 / readings)
        widths = (
            two_sided_quantile(self.sitting_freedom, confidence) ** 2 * shared,
            two_sided_quantile(self.residual_freedom, confidence) ** 2 * max(0.0, total - shared),
        )
        return math.sqrt(math.fsum(widths))


def check_spreads(reading_sd: float | None, sitting_sd: float | None) -> None:
    """Raise TradeError for a spread that no reading has; a sitting may add nothing."""
    least, most = SPREAD_CENTS
    if reading_sd is not None and not least <= reading_sd <= most:
        raise TradeError(f"a spread of {reading_sd:g} cents for one reading", "Give it in cents, above 0")
    if sitting_sd is not None and not (sitting_sd == 0.0 or least <= sitting_sd <= most):
        raise TradeError(f"a spread of {sitting_sd:g} cents from day to day", "Give it in cents, 0 or more")


def two_sided_quantile(freedom: float, confidence: float = 0.95) -> float:
    """Give the two-sided Student quantile; the normal one for infinite degrees of freedom.

    Examples
    --------
    >>> round(two_sided_quantile(10), 3), round(two_sided_quantile(float("inf")), 3)
    (2.228, 1.96)
    """
    level = 0.5 * (1.0 + confidence)
    return float(ndtri(level)) if math.isinf(freedom) else float(stdtrit(freedom, level))


def one_sided_quantile(freedom: float, confidence: float = 0.95) -> float:
    """Give the one-sided Student quantile.

    Examples
    --------
    >>> round(one_sided_quantile(4), 3)
    2.132
    """
    return two_sided_quantile(freedom, 2.0 * confidence - 1.0)


def fit_sittings(
    design: Floats,
    y: Floats,
    blocks: Integers,
    reading_sd: float | None = None,
    sitting_sd: float | None = None,
) -> SittingFit:
    """Fit a linear model whose errors share a part within each sitting.

    Parameters
    ----------
    design : array, shape (n, p), full column rank
        Design matrix.
    y : array, shape (n,)
        Readings.
    blocks : array of int, shape (n,)
        Sitting of each reading, 0 to k - 1.
    reading_sd, sitting_sd : float, optional
        Spread within and between sittings where known. Unknown, the first is estimated from repeats and
        residuals, the second by restricted likelihood from two sittings on, else taken as 0.

    References
    ----------
    .. [1] Patterson and Thompson 1971 (restricted likelihood), Graybill and Wang 1980 (intervals of sums of
       variances), both from memory; coverage checked by simulation in the tests.

    Examples
    --------
    >>> fit = fit_sittings(np.ones((4, 1)), np.array([1.0, 2, 3, 4]), np.zeros(4, int), 1.0, 2.0)
    >>> round(float(fit.estimates[0]), 6), round(fit.standard_error(np.ones(1)) ** 2, 6)
    (2.5, 4.25)
    """
    counts = np.bincount(blocks)
    known_variance = None if reading_sd is None else reading_sd**2
    if sitting_sd is None and len(counts) > 1:
        ratio, variance, freedom = _estimate_ratio(design, y, blocks, known_variance)
        between: float | None = None
    else:
        between = 0.0 if sitting_sd is None else sitting_sd**2
        variance, freedom = _within_variance(design, y, blocks, known_variance, between > 0)
        ratio = between / variance
    rows, target = _whiten(design, blocks, counts, ratio), _whiten(y, blocks, counts, ratio)
    inverse: Floats = np.linalg.inv(rows.T @ rows).astype(np.float64)
    # The whitening is symmetric: whitening the whitened rows again gives the influence on raw readings.
    influence = inverse @ _whiten(rows, blocks, counts, ratio).T
    return SittingFit(
        inverse @ rows.T @ target,
        variance * inverse,
        math.sqrt(variance),
        math.sqrt(ratio * variance),
        freedom,
        influence,
        blocks,
        float(len(counts) - 1) if between is None else math.inf,
    )


def block_numbers(labels: Sequence[str]) -> Integers:
    """Give sittings numbers from 0 in order of first appearance.

    Examples
    --------
    >>> block_numbers(["mon", "tue", "mon"]).tolist()
    [0, 1, 0]
    """
    order = {label: number for number, label in enumerate(dict.fromkeys(labels))}
    return np.array([order[label] for label in labels], dtype=np.int64)


def _whiten(values: Floats, blocks: Integers, counts: Integers, ratio: float) -> Floats:
    """Take out of each sitting's mean what its readings share; no covariance need be laid out for it."""
    shrink = 1.0 - 1.0 / np.sqrt(1.0 + ratio * counts)
    table = values.reshape(len(values), -1)
    sums = np.stack([np.bincount(blocks, weights=column) for column in table.T], axis=1)
    result: Floats = table - (shrink[:, None] * sums / counts[:, None])[blocks]
    return result.reshape(values.shape)


def _within_variance(
    design: Floats, y: Floats, blocks: Integers, known: float | None, shared: bool
) -> tuple[float, float]:
    """Give the variance of one reading with its degrees of freedom, sittings taken out if shared."""
    if known is not None:
        return known, math.inf
    full = design
    if shared:
        full = np.column_stack([design, np.eye(blocks.max() + 1)[blocks]])
    estimates, _, rank, _ = np.linalg.lstsq(full, y, rcond=1e-9)
    freedom = len(y) - int(rank)
    if freedom < 1:
        return PLANNING_READING_SD_CENTS**2, math.inf
    residual = y - full @ estimates
    variance = float(residual @ residual) / freedom
    return max(variance, LEAST_VARIANCE), float(freedom)


def _estimate_ratio(
    design: Floats, y: Floats, blocks: Integers, known: float | None
) -> tuple[float, float, float]:
    """Estimate (sitting variance / reading variance), the reading variance and its degrees of freedom."""
    counts = np.bincount(blocks)
    freedom = len(y) - design.shape[1]
    if known is None and freedom < 1:
        return 0.0, PLANNING_READING_SD_CENTS**2, math.inf

    def loss(log_ratio: float) -> float:
        ratio = math.exp(log_ratio)
        rows, target = _whiten(design, blocks, counts, ratio), _whiten(y, blocks, counts, ratio)
        q, r = np.linalg.qr(rows)
        left = float(target @ target - (q.T @ target) @ (q.T @ target))
        fit = left / known if known is not None else freedom * math.log(max(left, LEAST_VARIANCE))
        return fit + float(np.log1p(ratio * counts).sum()) + 2.0 * float(np.log(np.abs(np.diag(r))).sum())

    from scipy.optimize import minimize_scalar  # slow to load, and most who load this module never ask

    best = minimize_scalar(loss, bounds=(-12.0, 8.0), method="bounded", options={"xatol": 1e-3})
    # the search is open at 0: where no sittings at all fit as well, there are none
    ratio = math.exp(best.x) if best.fun < loss(-30.0) - 1e-9 else 0.0
    if known is not None:
        return ratio, known, math.inf
    rows, target = _whiten(design, blocks, counts, ratio), _whiten(y, blocks, counts, ratio)
    q, _ = np.linalg.qr(rows)
    left = float(target @ target - (q.T @ target) @ (q.T @ target))
    return ratio, max(left / freedom, LEAST_VARIANCE), float(freedom)

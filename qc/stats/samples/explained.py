"""How much of a figure its neighbours already say: foretold for pieces that took no part in the fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats
from qc.stats.tabled import Tabled

FOLDS = 10  # common practice, no source; blocks of neighbours, so that a slow drift foretells nothing
FEWEST = 20  # pieces, and five for each figure beside: with fewer the answer is noise (house rule)
EACH = 5
PENALTIES = np.logspace(-2.0, 5.0, 29)
"""Penalties tried, on figures of spread 1: from the plain fit to one that foretells the mean only."""


@dataclass(frozen=True, slots=True)
class Explained(Tabled):
    """How much other figures say of one.

    Attributes
    ----------
    share : float, 0..1
        Share of its variance that they foretell of pieces left out of the fit; 0 where they foretell nothing.
    error : float
        Standard error of the share, from how the pieces differ. [1]
    raw : float, 0..1
        Share that the plain least-squares fit claims of the pieces it was fitted to; too good by about
        figures / pieces where there is nothing to say.
    pieces, figures : int
        What it rests on.
    """

    share: float
    error: float
    raw: float
    pieces: int
    figures: int


def explained_share(figure: Floats, beside: Floats) -> Explained:
    """Say how much of a figure other figures of the same pieces foretell.

    Parameters
    ----------
    figure : float array, shape (pieces,)
        In order of making, no NaN. [unit of the figure]
    beside : float array, shape (pieces, figures)
        The others; NaN where a piece lacks one, which then says nothing of it. [any units]

    Returns
    -------
    Explained

    Raises
    ------
    StatisticsError
        Fewer than 20 pieces or five for each figure beside, no figure beside, or one without any spread.

    Notes
    -----
    Ridge regression with the penalty chosen by generalised cross-validation within each fit, and ten blocks
    of neighbouring pieces of which each is foretold from the nine others: penalty and fit are both chosen
    without the pieces foretold, so nothing is claimed for having looked. The share is
    1 - sum (y - foretold)^2 / sum (y - mean of the others)^2, its error that of a ratio of two sums.

    References
    ----------
    .. [1] Hoerl & Kennard, "Ridge regression", Technometrics 12 (1970), 55-67; Golub, Heath & Wahba,
       "Generalized cross-validation", Technometrics 21 (1979), 215-223; from memory. The fit is compared with
       least squares on augmented data, the share with simulated ones of a known truth.

    Examples
    --------
    >>> x = np.arange(40.0) % 7
    >>> found = explained_share(2 * x + np.arange(40) % 3, x[:, None])
    >>> round(found.share, 2), round(found.raw, 2)
    (0.96, 0.96)
    """
    y, x = np.asarray(figure, dtype=np.float64), np.asarray(beside, dtype=np.float64)
    n = y.size
    if x.ndim != 2 or x.shape[0] != n or x.shape[1] == 0:
        raise StatisticsError(f"figures beside: an array of {n} rows and at least one column is needed")
    if n < max(FEWEST, EACH * x.shape[1]):
        raise StatisticsError(
            f"figures beside: {n} pieces for {x.shape[1]} figures; at least {FEWEST} pieces and {EACH} for "
            "each figure are needed"
        )
    known = ~np.isnan(x)
    if (
        not np.isfinite(y).all()
        or np.ptp(y) == 0
        or any(np.unique(x[known[:, j], j]).size < 2 for j in range(x.shape[1]))
    ):
        raise StatisticsError("figures beside: each figure needs two different values, and the first all")
    off, missed = np.empty(n), np.empty(n)
    for block in np.array_split(np.arange(n), FOLDS):
        others = np.setdiff1d(np.arange(n), block)
        off[block] = y[block] - y[others].mean()
        missed[block] = y[block] - foretold(y[others], x[others], x[block])
    gained, total = off**2 - missed**2, float((off**2).sum())
    share = float(gained.sum()) / total
    error = float(np.sqrt(n * np.var(gained - share * off**2, ddof=1))) / total
    whole = _standard(x, x)
    fit = np.linalg.lstsq(np.column_stack([np.ones(n), whole]), y, rcond=None)[0]
    rest = y - fit[0] - whole @ fit[1:]
    raw = 1.0 - float((rest**2).sum()) / float(((y - y.mean()) ** 2).sum())
    return Explained(min(max(share, 0.0), 1.0), error, min(max(raw, 0.0), 1.0), n, x.shape[1])


def foretold(y: Floats, x: Floats, asked: Floats, penalty: float | None = None) -> Floats:
    """Foretell a figure of some pieces from others; without a penalty the one of least cross-validation."""
    mean = float(y.mean())
    u, s, vt = np.linalg.svd(_standard(x, x), full_matrices=False)
    along = u.T @ (y - mean)
    if penalty is None:
        kept = s[None, :] ** 2 / (s[None, :] ** 2 + PENALTIES[:, None])
        left = ((y - mean) ** 2).sum() - (along**2).sum() + (((1 - kept) * along) ** 2).sum(axis=1)
        # the mean is fitted too, and costs one
        penalty = float(PENALTIES[np.argmin(left / (y.size - 1 - kept.sum(axis=1)) ** 2)])
    weights = vt.T @ (s * along / (s**2 + penalty))
    return np.asarray(mean + _standard(asked, x) @ weights)


def _standard(x: Floats, by: Floats) -> Floats:
    """Centre figures and give them spread 1 by those of some pieces; what is lacking is taken as the mean."""
    known = ~np.isnan(by)
    count = np.maximum(known.sum(axis=0), 1)
    mean = np.where(known, by, 0.0).sum(axis=0) / count
    spread = np.sqrt(np.where(known, (by - mean) ** 2, 0.0).sum(axis=0) / count)
    scaled = (x - mean) / np.where(spread > 0, spread, 1.0)
    return np.asarray(np.where(np.isnan(x), 0.0, scaled))

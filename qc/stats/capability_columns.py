"""Capability of thousands of series at once, as columns: figures, bounds and verdict without the prose."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from qc.stats.capability import LEAST_PIECES
from qc.stats.capability_bounds import one_sided_bound, two_sided_bound
from qc.stats.capability_result import Limits
from qc.stats.errors import StatisticsError

Floats = NDArray[np.float64]

NEEDED = ("n", "mean", "sd")


def capability_columns(
    levels: pl.DataFrame,
    *,
    lower: float | None = None,
    upper: float | None = None,
    wanted: float = 1.0,
    confidence: float = 0.95,
) -> pl.DataFrame:
    """Add capability figures of normal readings to a table with one row a series.

    Parameters
    ----------
    levels : DataFrame
        Columns `n` (pieces), `mean` and `sd` (sample sd, floored by the caller where readings are coarse);
        with `sigma` (the chart's) also Cp and Cpk, with `stable` (bool) unstable series are withheld.
    lower, upper : float, optional
        Specification limits, at least one. [unit of the characteristic]
    wanted, confidence : float
        As `capability`.

    Returns
    -------
    DataFrame
        The same rows with `cp, cpk, pp, ppk, ppk_low, ppk_high` (two-sided interval), `outside_ppm` and
        `capable`. A withheld figure is null and its verdict `unproven`.

    Raises
    ------
    StatisticsError
        A column that is missing, no limit, limits the wrong way round, or an option out of range.

    References
    ----------
    .. [1] As `capability`; both agree to the last digits (tests).

    Examples
    --------
    >>> table = pl.DataFrame({"series": ["a", "b"], "n": [50, 12], "mean": [10.0, 10.0], "sd": [0.2, 0.2]})
    >>> capability_columns(table, lower=9.0, upper=11.0)["capable"].to_list()
    ['proven', 'unproven']
    """
    limits = Limits(lower, upper)
    missing = [name for name in NEEDED if name not in levels.columns]
    if missing:
        raise StatisticsError(
            f"capability of many series: column {missing[0]!r} is missing; {NEEDED} are needed"
        )
    if not (wanted > 0 and 0.0 < confidence < 1.0):
        raise StatisticsError(
            f"capability: wanted Ppk {wanted} and confidence {confidence}; above 0, and 0 to 1, are needed"
        )
    n, mean, sd = (levels[name].cast(pl.Float64).to_numpy() for name in NEEDED)
    shown = (n >= LEAST_PIECES) & (sd > 0)
    if "stable" in levels.columns:
        shown &= levels["stable"].to_numpy()
    figures = _figures(
        limits, np.where(shown, n, LEAST_PIECES), mean, np.where(shown, sd, 1.0), wanted, confidence
    )
    if "sigma" in levels.columns:
        sigma = levels["sigma"].cast(pl.Float64).to_numpy()
        known = np.where(np.isfinite(sigma) & (sigma > 0), sigma, np.nan)
        figures["cp"] = np.broadcast_to(_width(limits, known), n.shape)
        figures["cpk"] = _nearest(limits, mean, known)
    columns = [
        pl.Series(name, np.where(shown, figures[name], np.nan)).fill_nan(None)
        for name in ("cp", "cpk", "pp", "ppk", "ppk_low", "ppk_high", "outside_ppm")
        if name in figures
    ]
    words = np.where(shown & figures["proven"], "proven", np.where(shown & figures["no"], "no", "unproven"))
    return levels.with_columns(*columns, pl.Series("capable", words))


def _figures(
    limits: Limits, n: Floats, mean: Floats, sd: Floats, wanted: float, confidence: float
) -> dict[str, NDArray[Any]]:
    """Figures from the sample sd, with the bounds of Ppk."""
    ppk = _nearest(limits, mean, sd)
    bound = one_sided_bound if limits.sides == 1 else two_sided_bound
    half = (1.0 - confidence) / 2.0
    below = np.zeros_like(sd) if limits.lower is None else special.ndtr((limits.lower - mean) / sd)
    above = np.zeros_like(sd) if limits.upper is None else special.ndtr((mean - limits.upper) / sd)
    return {
        "pp": _width(limits, sd),
        "ppk": ppk,
        "ppk_low": bound(ppk, half, n, n - 1.0),
        "ppk_high": bound(ppk, 1.0 - half, n, n - 1.0),
        "outside_ppm": 1e6 * (below + above),
        "proven": bound(ppk, 1.0 - confidence, n, n - 1.0) >= wanted,
        "no": bound(ppk, confidence, n, n - 1.0) < wanted,
    }


def _width(limits: Limits, spread: Floats) -> Floats:
    """Tolerance over six spreads; not a number with one limit."""
    if limits.lower is None or limits.upper is None:
        return np.full(spread.shape, np.nan)
    return np.asarray((limits.upper - limits.lower) / (6.0 * spread))


def _nearest(limits: Limits, mean: Floats, spread: Floats) -> Floats:
    """Distance of the mean to the nearer limit over three spreads."""
    sides = []
    if limits.upper is not None:
        sides.append(limits.upper - mean)
    if limits.lower is not None:
        sides.append(mean - limits.lower)
    return np.asarray(np.minimum.reduce(sides) / (3.0 * spread))

"""Capability of thousands of series at once, as columns: figures, intervals and verdict without the prose."""

from __future__ import annotations

import numpy as np
import polars as pl

from qc.stats.capable.basis import Samples
from qc.stats.capable.gate import LEAST_PIECES
from qc.stats.capable.normal import normal_figures, pieces_of
from qc.stats.capable.result import Limits
from qc.stats.capable.spread import FIGURES
from qc.stats.errors import StatisticsError
from qc.stats.numbers import GREATEST, LEAST, Flags, Floats

NEEDED = ("n", "mean", "sd")
CHARTED = ("cp", "cp_low", "cp_high", "cpk", "cpk_low", "cpk_high")  # only with the chart's sigma


def capability_columns(
    levels: pl.DataFrame,
    *,
    lower: float | None = None,
    upper: float | None = None,
    target: float | None = None,
    wanted: float = 1.0,
    confidence: float = 0.95,
) -> pl.DataFrame:
    """Add capability figures of normal readings to a table with one row a series.

    Parameters
    ----------
    levels : DataFrame
        Columns `n` (pieces), `mean` and `sd` (sample sd, floored by the caller where readings are coarse);
        with `sigma` (the chart's) also Cp and Cpk, with `sigma_df` its degrees of freedom (else n - 1), with
        `stable` (bool) unstable series are withheld.
    lower, upper, target : float, optional
        Specification limits, at least one, and wanted value. [unit of the characteristic]
    wanted, confidence : float
        As `capability`.

    Returns
    -------
    DataFrame
        The same rows with `cp, cpk, cpm, pp, ppk`, each with its two-sided interval `_low` and `_high`;
        `outside_ppm, outside_low_ppm, outside_high_ppm`; `capable`; `pieces_to_settle` (0 where settled). A
        withheld figure is null and its verdict `unproven`; Cp and Cpk are there only with `sigma`.

    Raises
    ------
    StatisticsError
        A column that is missing, or as `capability`, which is the same computation (source there).

    Examples
    --------
    >>> table = pl.DataFrame({"series": ["a", "b"], "n": [50, 12], "mean": [10.0, 10.0], "sd": [0.2, 0.2]})
    >>> found = capability_columns(table, lower=9.0, upper=11.0)
    >>> found["capable"].to_list(), found["pieces_to_settle"].to_list()
    (['proven', 'unproven'], [0, 8])
    """
    limits = Limits(lower, upper, target)
    missing = [name for name in NEEDED if name not in levels.columns]
    if missing:
        raise StatisticsError(
            f"capability of many series: column {missing[0]!r} is missing; {NEEDED} are needed"
        )
    if not (0 < wanted <= GREATEST and 0.0 < confidence < 1.0):
        raise StatisticsError(
            f"capability: wanted Ppk {wanted} and confidence {confidence}; above 0, and 0 to 1, are needed"
        )
    samples = _samples(levels)
    # what cannot be squared has no figures, as what is missing has none
    usable = (samples.n >= 2) & (samples.sd >= LEAST) & (samples.sd <= GREATEST)
    usable &= np.abs(samples.mean) <= GREATEST
    if "stable" in levels.columns:
        usable &= levels["stable"].fill_null(False).to_numpy()
    shown = usable & (samples.n >= LEAST_PIECES)
    figures = normal_figures(samples.only(shown), limits, wanted=wanted, confidence=confidence)
    proven, no = figures["bound_low"] >= wanted, figures["bound_high"] < wanted
    few = usable & ~shown
    more = np.full(samples.n.size, np.nan)
    # too few for figures, but the pieces still wanted can be told from their mean and spread
    more[few] = pieces_of(samples.only(few), limits, wanted=wanted, confidence=confidence)
    more[shown] = np.where(proven | no, 0.0, figures["pieces_to_settle"])
    words = np.full(samples.n.size, "unproven", dtype=object)
    words[shown] = np.where(proven, "proven", np.where(no, "no", "unproven"))
    names = [name for figure in FIGURES for name in (figure, f"{figure}_low", f"{figure}_high")]
    names += ["outside_ppm", "outside_low_ppm", "outside_high_ppm"]
    columns = [
        _column(name, shown, figures[name])
        for name in names
        if name not in CHARTED or "sigma" in levels.columns
    ]
    settle = pl.Series("pieces_to_settle", more).fill_nan(None).cast(pl.Int64)
    return levels.with_columns(*columns, pl.Series("capable", words, dtype=pl.String), settle)


def _samples(levels: pl.DataFrame) -> Samples:
    """Take the columns as samples; a chart sigma that is not above 0 is none."""
    n, mean, sd = (_numbers(levels, name) for name in NEEDED)
    sigma, sigma_df = sd, n - 1.0
    if "sigma" in levels.columns:
        sigma = _numbers(levels, "sigma")
        sigma = np.where(np.isfinite(sigma) & (sigma > 0), sigma, np.nan)
    if "sigma_df" in levels.columns:
        given = _numbers(levels, "sigma_df")
        sigma_df = np.where(given > 0, given, sigma_df)
    return Samples(n, mean, sd, sigma, sigma_df, n, n - 1.0)


def _numbers(levels: pl.DataFrame, name: str) -> Floats:
    """Take one column as numbers, what is missing as NaN."""
    return levels[name].cast(pl.Float64).fill_null(float("nan")).to_numpy()


def _column(name: str, shown: Flags, values: Floats) -> pl.Series:
    """Put the figures of the rows that show one into a column, null elsewhere."""
    out = np.full(shown.size, np.nan)
    out[shown] = values
    return pl.Series(name, out).fill_nan(None)

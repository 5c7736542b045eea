"""A gauge over days and runs, from averages and sds of repeats: levels of spread, check-standard limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.gauge_layout import lay_out
from qc.stats.points import as_number, as_readings

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class NestedLevels:
    """Spread at three levels of time.

    Attributes
    ----------
    repeat_sd, day_sd, run_sd : float
        s1 within a day, s2 of daily averages, s3 of run averages. [unit of the readings]
    repeat_df, day_df, run_df : int
        Their degrees of freedom.
    days_sd, runs_sd : float
        What days and runs add by themselves, not below 0. [unit]
    reading_sd : float
        Spread of a single reading on any day of any run. [unit]
    warnings : tuple of str
        Components that had to be set to 0.
    """

    repeat_sd: float
    day_sd: float
    run_sd: float
    repeat_df: int
    day_df: int
    run_df: int
    days_sd: float
    runs_sd: float
    reading_sd: float
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CheckStandard:
    """Limits for a check standard measured with repeats again and again.

    Attributes
    ----------
    repeat_sd : float
        Pooled sd of the repeats. [unit of the readings]
    repeat_df : int
        Its degrees of freedom.
    average_sd : float
        Sd of the averages. [unit]
    center, lower, upper : float
        Of the averages. [unit]
    f_point : float
        F value behind the limit of the sds.
    sd_limit : float
        Upper limit of the sd of one set of repeats. [unit]
    sd_signals, average_signals : tuple of int
        1-based sets whose sd or average lies outside.
    """

    repeat_sd: float
    repeat_df: int
    average_sd: float
    center: float
    lower: float
    upper: float
    f_point: float
    sd_limit: float
    sd_signals: tuple[int, ...]
    average_signals: tuple[int, ...]


def nested_levels(
    averages: ArrayLike,
    sds: ArrayLike,
    artefacts: Sequence[object],
    runs: Sequence[object],
    *,
    repeats: int,
) -> NestedLevels:
    """Spread within days, between days and between runs, from daily averages and sds.

    Parameters
    ----------
    averages, sds : array_like of float, length n
        Average and sd of the repeats of one day. [any unit]
    artefacts, runs : sequence, length n
        What was measured, and in which run; every artefact has the same days in every run.
    repeats : int, >= 2
        Readings behind each average.

    Returns
    -------
    NestedLevels
        The three levels and what days and runs add.

    Raises
    ------
    StatisticsError
        A layout with holes, fewer than two days or runs, negative sds, or under two repeats.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook 2.6.1 and 2.4.3 (probe 2362, data MPC61).

    Examples
    --------
    >>> found = nested_levels([1.0, 1.2, 1.1, 1.4], [0.1] * 4, ["a"] * 4, [1, 1, 2, 2], repeats=4)
    >>> round(found.day_sd, 4), round(found.run_sd, 4)
    (0.1803, 0.1061)
    """
    as_number(repeats, "levels of spread: number of repeats", least=2.0)
    spreads = as_readings(sds, "levels of spread: sd", least=4)
    if np.min(spreads) < 0.0:
        raise StatisticsError(f"levels of spread: an sd is {np.min(spreads)}, must be at least 0")
    y = lay_out(averages, artefacts, runs).readings
    things, series, days = y.shape
    if spreads.size != y.size or series < 2 or days < 2:
        raise StatisticsError(
            f"levels of spread: {things} artefacts, {series} runs, {days} days; two runs of two days or "
            "more, and an sd for each, are needed"
        )
    day = float(np.mean(y.var(axis=2, ddof=1)))
    run = float(np.mean(y.mean(axis=2).var(axis=1, ddof=1)))
    repeat = float(np.mean(spreads**2))
    of_days, of_runs = day - repeat / repeats, run - day / days
    notes = tuple(
        f"{name}: the estimate is negative ({value:.3g}) and set to 0, no spread is seen there"
        for name, value in (("days", of_days), ("runs", of_runs))
        if value < 0.0
    )
    of_days, of_runs = max(of_days, 0.0), max(of_runs, 0.0)
    return NestedLevels(
        repeat_sd=math.sqrt(repeat),
        day_sd=math.sqrt(day),
        run_sd=math.sqrt(run),
        repeat_df=y.size * (repeats - 1),
        day_df=things * series * (days - 1),
        run_df=things * (series - 1),
        days_sd=math.sqrt(of_days),
        runs_sd=math.sqrt(of_runs),
        reading_sd=math.sqrt(repeat + of_days + of_runs),
        warnings=notes,
    )


def check_standard(
    averages: ArrayLike, sds: ArrayLike, *, repeat_df: int, factor: float = 2.0, confidence: float = 0.95
) -> CheckStandard:
    """Limits for the repeats and the averages of a check standard.

    Parameters
    ----------
    averages, sds : array_like of float, length n >= 2
        Average and sd of each set of repeats. [any unit]
    repeat_df : int, >= 1
        Degrees of freedom of each sd.
    factor : float, > 0
        Limits of the averages at so many sds.
    confidence : float, 0..1
        Of the one-sided F limit of the sds.

    Returns
    -------
    CheckStandard
        Limits, and the sets outside.

    Raises
    ------
    StatisticsError
        Too few sets, lengths that differ, a negative sd, or an option out of range.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook 2.6.2 and 2.2.2 (data MPC62).

    Examples
    --------
    >>> found = check_standard([9.9, 10.1, 10.0], [0.1, 0.12, 0.09], repeat_df=5)
    >>> round(found.center, 3), round(found.sd_limit, 4)
    (10.0, 0.1773)
    """
    levels = as_readings(averages, "check standard: average", least=2)
    spreads = as_readings(sds, "check standard: sd", least=2)
    if levels.size != spreads.size or np.min(spreads) < 0.0:
        raise StatisticsError(
            f"check standard: {levels.size} averages and {spreads.size} sds, least {np.min(spreads)}; an "
            "sd of at least 0 for each average is needed"
        )
    as_number(repeat_df, "check standard: degrees of freedom", least=1.0)
    as_number(factor, "check standard: factor", above=0.0)
    if not 1e-9 <= confidence < 1.0:
        raise StatisticsError(f"check standard: confidence is {confidence}, must lie between 0 and 1")
    pooled = math.sqrt(float(np.mean(spreads**2)))
    df = repeat_df * spreads.size
    point = float(special.fdtri(repeat_df, df, confidence))
    limit = pooled * math.sqrt(point)
    center, spread = float(levels.mean()), float(levels.std(ddof=1))
    lower, upper = center - factor * spread, center + factor * spread
    out = (levels < lower) | (levels > upper)
    return CheckStandard(
        repeat_sd=pooled,
        repeat_df=df,
        average_sd=spread,
        center=center,
        lower=lower,
        upper=upper,
        f_point=point,
        sd_limit=limit,
        sd_signals=tuple(int(i) + 1 for i in np.flatnonzero(spreads > limit)),
        average_signals=tuple(int(i) + 1 for i in np.flatnonzero(out)),
    )

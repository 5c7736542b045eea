"""A gauge over days and runs, from averages and sds of repeats: levels of spread, check-standard limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.gauges.intervals import sum_interval, variance_interval
from qc.stats.gauges.layout import lay_out
from qc.stats.numbers import Floats, Interval, as_number, as_readings
from qc.stats.tabled import Tabled, frame_of
from qc.words import count_words

if TYPE_CHECKING:
    import polars as pl


_FEW = 5  # degrees of freedom; with fewer an sd's 95 % interval spans more than a factor of four
_SETS = 20  # averages; with fewer their limits are said to be uncertain (common practice, no source)
_ROUNDING = 1e-12  # of the whole variance: a component below it is the computer's rounding


@dataclass(frozen=True, slots=True)
class NestedLevels(Tabled):
    """Spread at two or three levels of time.

    Attributes
    ----------
    repeat_sd, day_sd, run_sd : float
        s1 within a day, s2 of daily averages, s3 of run averages; None without runs. [unit of the readings]
    repeat_df, day_df, run_df : int
        Their degrees of freedom.
    days_sd, runs_sd : float
        What days and runs add by themselves, not below 0. [unit]
    reading_sd : float
        Spread of a single reading on any day of any run. [unit]
    intervals : dict of str to (float, float)
        Of each sd, by the name of its attribute. [unit]
    confidence : float
        Of each interval.
    warnings : tuple of str
        Components that had to be set to 0, and what to know before believing the rest.
    """

    repeat_sd: float
    day_sd: float
    run_sd: float | None
    repeat_df: int
    day_df: int
    run_df: int | None
    days_sd: float
    runs_sd: float | None
    reading_sd: float
    intervals: dict[str, Interval]
    confidence: float
    warnings: tuple[str, ...]

    def to_frame(self) -> pl.DataFrame:
        """Return one row per sd: its degrees of freedom, where it is a mean square's, and its interval."""
        df = {"repeat_sd": self.repeat_df, "day_sd": self.day_df, "run_sd": self.run_df}
        return frame_of(
            {"spread": name, "sd": getattr(self, name), "df": df.get(name), "low": low, "high": high}
            for name, (low, high) in self.intervals.items()
        )


@dataclass(frozen=True, slots=True)
class CheckStandard(Tabled):
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
    factor, confidence : float
        The averages' limits lie at so many sds; one-sided confidence of the limit of the sds.
    f_point : float
        F value behind the limit of the sds.
    sd_limit : float
        Upper limit of the sd of one set of repeats. [unit]
    sd_signals, average_signals : tuple of int
        1-based sets whose sd or average lies outside.
    warnings : tuple of str
        What to know before believing the limits.
    """

    repeat_sd: float
    repeat_df: int
    average_sd: float
    center: float
    lower: float
    upper: float
    factor: float
    confidence: float
    f_point: float
    sd_limit: float
    sd_signals: tuple[int, ...]
    average_signals: tuple[int, ...]
    warnings: tuple[str, ...]


def nested_levels(
    averages: ArrayLike,
    sds: ArrayLike,
    artefacts: Sequence[object],
    runs: Sequence[object] | None = None,
    *,
    repeats: int,
    confidence: float = 0.95,
) -> NestedLevels:
    """Spread within days, between days and between runs, from daily averages and sds, and what each adds.

    Parameters
    ----------
    averages, sds : array_like of float, length n
        Average and sd of the repeats of one day. [any unit]
    artefacts, runs : sequence, length n
        What was measured, and in which run; every artefact has as many days in every run. Without runs there
        are two levels only.
    repeats : int, >= 2
        Readings behind each average.
    confidence : float, 0..1
        Of the intervals: exact by chi-square for the three levels, modified large sample for the rest.

    Raises
    ------
    StatisticsError
        A layout with holes, fewer than two days or runs, negative sds, or under two repeats.

    Notes
    -----
    As in the source each artefact's days count as its own. Artefacts that share their days share what the
    days bring, and the intervals of days and runs are then too narrow.

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
    if spreads.size != y.size or days < 2 or (runs is not None and series < 2):
        raise StatisticsError(
            f"levels of spread: {things} artefacts, {series} runs, {days} days; two runs of two days or "
            "more, and an sd for each, are needed"
        )
    squares = _mean_squares(y, spreads, repeats, with_runs=runs is not None)
    found, notes = _added(squares, repeats, days)
    sd = {name: math.sqrt(variance) for name, variance in found.items()}
    return NestedLevels(
        repeat_sd=sd["repeat_sd"],
        day_sd=sd["day_sd"],
        run_sd=sd.get("run_sd"),
        repeat_df=squares["repeat_sd"][1],
        day_df=squares["day_sd"][1],
        run_df=squares["run_sd"][1] if "run_sd" in squares else None,
        days_sd=sd["days_sd"],
        runs_sd=sd.get("runs_sd"),
        reading_sd=sd["reading_sd"],
        intervals=_level_intervals(squares, found, repeats, days, confidence),
        confidence=confidence,
        warnings=notes + _few_df(squares) + _alike(spreads),
    )


def check_standard(
    averages: ArrayLike, sds: ArrayLike, *, repeat_df: int, factor: float = 2.0, confidence: float = 0.95
) -> CheckStandard:
    """Limits for the repeats and the averages of a check standard, and the sets outside.

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
        factor=factor,
        confidence=confidence,
        f_point=point,
        sd_limit=limit,
        sd_signals=tuple(int(i) + 1 for i in np.flatnonzero(spreads > limit)),
        average_signals=tuple(int(i) + 1 for i in np.flatnonzero(out)),
        warnings=_few_sets(levels) + _alike(spreads),
    )


def _mean_squares(
    y: Floats, spreads: Floats, repeats: int, *, with_runs: bool
) -> dict[str, tuple[float, int]]:
    """Mean square and degrees of freedom of each level."""
    things, series, days = y.shape
    squares = {
        "repeat_sd": (float(np.mean(spreads**2)), y.size * (repeats - 1)),
        "day_sd": (float(np.mean(y.var(axis=2, ddof=1))), things * series * (days - 1)),
    }
    if with_runs:
        squares["run_sd"] = (float(np.mean(y.mean(axis=2).var(axis=1, ddof=1))), things * (series - 1))
    return squares


def _weights(runs: bool, repeats: int, days: int) -> dict[str, dict[str, float]]:
    """Write each added spread as a sum of the mean squares."""
    weights = {"days_sd": {"day_sd": 1.0, "repeat_sd": -1.0 / repeats}}
    reading = {"repeat_sd": 1.0 - 1.0 / repeats, "day_sd": 1.0}
    if runs:
        weights["runs_sd"] = {"run_sd": 1.0, "day_sd": -1.0 / days}
        reading |= {"day_sd": 1.0 - 1.0 / days, "run_sd": 1.0}
    return weights | {"reading_sd": reading}


def _added(
    squares: dict[str, tuple[float, int]], repeats: int, days: int
) -> tuple[dict[str, float], tuple[str, ...]]:
    """Variances of the levels and of what days and runs add, floored at 0, with a sentence for each floor."""
    found, notes = {name: square for name, (square, _) in squares.items()}, []
    whole = sum(found.values())
    # from the floored parts, so that the spread of a reading is never less than what it is made of
    reading = found["repeat_sd"]
    for name, weights in _weights("run_sd" in squares, repeats, days).items():
        if name == "reading_sd":
            continue
        value = sum(weight * squares[source][0] for source, weight in weights.items())
        if value < -_ROUNDING * whole:
            notes.append(
                f"{name.removesuffix('_sd')}: the estimate is negative ({value:.3g}) and set to 0, no spread "
                "is seen there"
            )
        found[name] = max(value, 0.0)
        reading += found[name]
    return found | {"reading_sd": reading}, tuple(notes)


def _level_intervals(
    squares: dict[str, tuple[float, int]], found: dict[str, float], repeats: int, days: int, confidence: float
) -> dict[str, Interval]:
    """Interval of every sd; one whose estimate was floored still holds the estimate."""
    out = {name: variance_interval(square, df, confidence) for name, (square, df) in squares.items()}
    for name, weights in _weights("run_sd" in squares, repeats, days).items():
        low, high = sum_interval(weights, squares, confidence)
        out[name] = (min(low, found[name]), max(high, found[name]))
    return {name: (math.sqrt(low), math.sqrt(high)) for name, (low, high) in out.items()}


def _few_df(squares: dict[str, tuple[float, int]]) -> tuple[str, ...]:
    """Say which level has too few days or runs behind it."""
    return tuple(
        f"{name.removesuffix('_sd')}s: {count_words(df, 'degree')} of freedom only, their spread is very "
        "uncertain"
        for name, (_, df) in squares.items()
        if df < _FEW
    )


def _alike(spreads: Floats) -> tuple[str, ...]:
    """Say when the step of the gauge hides the spread of repeats."""
    same = int(np.count_nonzero(spreads == 0.0))
    if 2 * same <= spreads.size:
        return ()
    return (
        f"in {same} of {spreads.size} sets all repeats read the same: the step hides their spread, read the "
        "gauge finer",
    )


def _few_sets(levels: Floats) -> tuple[str, ...]:
    """Say how uncertain limits from few averages are, and when the averages show no spread."""
    if np.ptp(levels) == 0.0:
        return ("all averages are the same: their limits leave no room, read the gauge finer",)
    if levels.size >= _SETS:
        return ()
    share = 100.0 / math.sqrt(2.0 * (levels.size - 1))  # relative standard error of an sd, to first order
    return (f"limits from {levels.size} averages only: their sd is uncertain by about {share:.0f} %",)

"""Capability: does a process keep its limits, said with an interval and a verdict or not said at all."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qc.stats.capability_bounds import (
    MOST_PIECES,
    cp_bound,
    one_sided_bound,
    pieces_to_settle,
    two_sided_bound,
)
from qc.stats.capability_outside import fraction_outside, fraction_outside_interval
from qc.stats.capability_result import Capability, Interval, Limits, verdict, withheld
from qc.stats.capability_shape import LEAST_OBSERVED, SHAPES, shape_figures
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.points import as_readings

Floats = NDArray[np.float64]

LEAST_PIECES = 20  # fewer pieces give no capability figure (common practice, no source)
_PPM = 1e6


def capability(
    values: ArrayLike,
    *,
    lower: float | None = None,
    upper: float | None = None,
    target: float | None = None,
    sigma: float | None = None,
    sigma_df: float | None = None,
    wanted: float = 1.0,
    confidence: float = 0.95,
    stable: bool = True,
    unstable_because: str = "the series has signals: find and remove their cause first",
    shape: str = "normal",
    resolution: float | None = None,
    gauge_sd: float | None = None,
    seed: int = 20240501,
) -> Capability:
    """Capability of one characteristic from single readings.

    Parameters
    ----------
    values : array_like of float, length n >= 2
        One reading per piece. [unit of the characteristic]
    lower, upper, target : float, optional
        Specification limits, at least one; the target gives Cpm (two limits only). [same unit]
    sigma, sigma_df : float, optional
        The chart's short-term sigma for Cp and Cpk, the sample sd when left out [same unit], and its degrees
        of freedom (infinite when it is known), n - 1 when left out.
    wanted, confidence : float
        Wanted Ppk; confidence of the two-sided intervals and of each one-sided bound of the verdict. [1]
    stable, unstable_because : bool, str
        Whether the series is the same process throughout; else the figures are withheld, and what to say.
    shape : {"normal", "positive", "weibull", "half-normal", "any"}
        Distribution of the readings; all but the first go by percentiles (`qc.stats.capability_shape`).
    resolution, gauge_sd : float, optional
        Step of the gauge, so that the sample sd is not taken below resolution / sqrt 12; spread of the gauge
        itself, for `ppk_without_gauge`. [same unit]
    seed : int
        Of the bootstrap behind the intervals of the shapes that are not normal.

    Returns
    -------
    Capability
        Figures, intervals and verdict, or the reason why they are withheld: under 20 pieces, not stable, or
        no spread to be seen. `proven` when the one-sided lower bound of Ppk reaches `wanted`, `no` when the
        upper bound is below it.

    Raises
    ------
    StatisticsError
        Readings that are not finite numbers or that the shape cannot have, no limit, limits the wrong way
        round, a target outside them, or an option out of range; StatisticsUsageError: no such shape.

    References
    ----------
    .. [1] Ppk with two limits: Bissell, Applied Statistics 39, 1990; with one, exact: Chou, Owen and Borrego,
       Journal of Quality Technology 22, 1990; definitions: NIST/SEMATECH e-Handbook 6.1.6.

    Examples
    --------
    >>> readings = [10.1, 9.8, 10.0, 10.3, 9.9, 10.2, 9.7, 10.0, 10.1, 9.9] * 3
    >>> result = capability(readings, lower=9.0, upper=11.0)
    >>> result.capable, round(result.ppk, 3), [round(x, 2) for x in result.ppk_interval]
    ('proven', 1.892, [1.39, 2.39])
    """
    limits = Limits(lower, upper, target)
    readings = as_readings(values, "capability: value", least=2)
    _check_options(confidence, sigma, sigma_df, wanted, resolution, gauge_sd)
    sample = _Sample.of(readings, resolution)
    reason = _why_withheld(sample, stable, unstable_because, shape)
    if reason is not None:
        more = _more(sample, limits, wanted, confidence) if stable and sample.sd > 0.0 else None
        return withheld(sample.n, reason, wanted, confidence, more)
    if shape != "normal":
        return _shaped(sample, limits, shape, wanted, confidence, seed)
    short = (sample.sd, sample.n - 1.0) if sigma is None else (sigma, sigma_df or sample.n - 1.0)
    return _normal(sample, limits, short, wanted, confidence, charted=sigma is not None, gauge_sd=gauge_sd)


@dataclass(frozen=True, slots=True)
class _Sample:
    """Readings with their mean and floored sd."""

    readings: Floats
    mean: float
    sd: float
    floored: bool

    @classmethod
    def of(cls, readings: Floats, resolution: float | None) -> _Sample:
        """Take the sample sd, but not below resolution / sqrt 12."""
        floor = 0.0 if resolution is None else resolution / math.sqrt(12.0)
        own = _sample_sd(readings)
        return cls(readings, float(np.mean(readings)), max(own, floor), floor > own)

    @property
    def n(self) -> int:
        """Pieces."""
        return int(self.readings.size)


def _normal(
    sample: _Sample,
    limits: Limits,
    short: tuple[float, float],
    wanted: float,
    confidence: float,
    *,
    charted: bool,
    gauge_sd: float | None,
) -> Capability:
    """Figures of normal readings; `short` is the sigma of Cp and Cpk with its degrees of freedom."""
    n, mean, sd = sample.n, sample.mean, sample.sd
    df, (sigma, sigma_df) = n - 1.0, short
    two, one = ((1.0 - confidence) / 2.0, (1.0 + confidence) / 2.0), (1.0 - confidence, confidence)
    bound = one_sided_bound if limits.sides == 1 else two_sided_bound
    cp, pp = limits.width_over(sigma), limits.width_over(sd)
    cpk, ppk = limits.nearest_over(mean, sigma), limits.nearest_over(mean, sd)
    bounds = _pair(bound(ppk, one, n, df))
    outside_low, outside_high = fraction_outside_interval(
        mean, sd, n, lower=limits.lower, upper=limits.upper, confidence=confidence
    )
    about_target = None if limits.target is None else math.hypot(sd, mean - limits.target)
    own = None if gauge_sd is None or not gauge_sd < sd else math.sqrt(sd**2 - gauge_sd**2)
    capable = verdict(bounds, wanted)
    more: int | None = 0
    if capable == "unproven":
        more = pieces_to_settle(ppk, n, sides=limits.sides, wanted=wanted, confidence=confidence)
    return Capability(
        n=n,
        cp=cp,
        cpk=cpk,
        cpm=None if about_target is None else limits.width_over(about_target),
        pp=pp,
        ppk=ppk,
        cp_interval=None if cp is None else _pair(cp_bound(cp, two, sigma_df)),
        cpk_interval=_pair(bound(cpk, two, n, sigma_df)),
        pp_interval=None if pp is None else _pair(cp_bound(pp, two, df)),
        ppk_interval=_pair(bound(ppk, two, n, df)),
        ppk_bounds=bounds,
        confidence=confidence,
        outside_ppm=fraction_outside(mean, sd, lower=limits.lower, upper=limits.upper) * _PPM,
        outside_interval=(outside_low * _PPM, outside_high * _PPM),
        reason=None,
        method=_method(limits.sides, charted, sample.floored),
        capable=capable,
        wanted=wanted,
        pieces_to_settle=more,
        ppk_without_gauge=None if own is None else limits.nearest_over(mean, own),
    )


def _shaped(
    sample: _Sample, limits: Limits, shape: str, wanted: float, confidence: float, seed: int
) -> Capability:
    """Figures by percentiles; Cp and Cpk stay empty, a short-term sigma has no percentiles."""
    figures = shape_figures(sample.readings, limits, shape, confidence=confidence, seed=seed)
    capable = verdict(figures.ppk_bounds, wanted)
    return Capability(
        n=sample.n,
        cp=None,
        cpk=None,
        cpm=None,
        pp=figures.pp,
        ppk=figures.ppk,
        cp_interval=None,
        cpk_interval=None,
        pp_interval=figures.pp_interval,
        ppk_interval=figures.ppk_interval,
        ppk_bounds=figures.ppk_bounds,
        confidence=confidence,
        outside_ppm=figures.outside * _PPM,
        outside_interval=_scaled(figures.outside_interval),
        reason=None,
        method=figures.method,
        capable=capable,
        wanted=wanted,
        pieces_to_settle=_more_by_width(figures.ppk, figures.ppk_bounds, sample.n, wanted),
        ppk_without_gauge=None,
    )


def _why_withheld(sample: _Sample, stable: bool, unstable_because: str, shape: str) -> str | None:
    """Say why no figure may be given, or None."""
    if shape not in SHAPES:
        raise StatisticsUsageError(f"capability: shape {shape!r} is not known; there are {', '.join(SHAPES)}")
    least = LEAST_OBSERVED if shape == "any" else LEAST_PIECES
    if not stable:
        return (
            f"the process is not stable, so the figure would describe nothing that lasts; {unstable_because}"
        )
    if sample.n < least:
        seen = " to see the 0.135 % percentiles" if shape == "any" else ""
        return f"{sample.n} pieces are too few{seen}: at least {least} are needed"
    if sample.sd == 0.0 or (shape != "normal" and np.ptp(sample.readings) == 0.0):
        return "all readings are equal, so the spread is unknown: give the resolution of the gauge"
    return None


def _more(sample: _Sample, limits: Limits, wanted: float, confidence: float) -> int | None:
    """Further pieces that would settle the question, counted from a sample too small for a figure."""
    index = limits.nearest_over(sample.mean, sample.sd)
    return pieces_to_settle(
        index, sample.n, sides=limits.sides, wanted=wanted, confidence=confidence, least=LEAST_PIECES
    )


def _more_by_width(ppk: float, bounds: Interval, n: int, wanted: float) -> int | None:
    """Further pieces by the rule that the interval shrinks with the root of n."""
    low, high = bounds
    if low >= wanted or high < wanted:
        return 0
    gap = abs(ppk - wanted)
    reach = ppk - low if ppk > wanted else high - ppk
    if gap == 0.0 or (reach / gap) ** 2 * n > MOST_PIECES:
        return None
    return math.ceil((reach / gap) ** 2 * n) - n


def _check_options(
    confidence: float,
    sigma: float | None,
    sigma_df: float | None,
    wanted: float,
    resolution: float | None,
    gauge_sd: float | None,
) -> None:
    """Refuse a confidence outside 0..1 and what must be above 0 and is not."""
    if not 0.0 < confidence < 1.0:
        raise StatisticsError(f"capability: confidence is {confidence}, must lie between 0 and 1")
    above = {"sigma": sigma, "degrees of freedom of sigma": sigma_df, "wanted Ppk": wanted}
    for name, value in (above | {"resolution": resolution, "gauge sd": gauge_sd}).items():
        if value is not None and not value > 0:
            raise StatisticsError(f"capability: {name} is {value}, must be above 0")


def _method(sides: int, charted: bool, floored: bool) -> str:
    """Say in words how the figures of normal readings were made."""
    parts = [
        "normal readings",
        "Cp and Cpk from the chart's sigma"
        if charted
        else "Cp and Cpk from the sample sd (no chart sigma given)",
        "Pp, Ppk and Cpm from the sample sd",
        "interval of Ppk exact by the noncentral t" if sides == 1 else "interval of Ppk by Bissell 1990",
        "fraction outside from the normal curve"
        + (", exact interval" if sides == 1 else ", generalised interval"),
    ]
    if floored:
        parts.append("sample sd not taken below resolution / sqrt 12")
    return "; ".join(parts)


def _sample_sd(readings: Floats) -> float:
    """Sample standard deviation, exactly 0 for equal readings."""
    return 0.0 if np.ptp(readings) == 0.0 else float(np.std(readings, ddof=1))


def _pair(bounds: Floats) -> Interval:
    """Turn an array of two into a plain pair."""
    return float(bounds[0]), float(bounds[1])


def _scaled(interval: Interval) -> Interval:
    """Turn fractions into parts per million."""
    return interval[0] * _PPM, interval[1] * _PPM

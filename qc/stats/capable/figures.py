"""Capability: does a process keep its limits, said with an interval and a verdict or not said at all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qc.plain import Arguments, as_meant
from qc.stats.capable.basis import UNSTABLE, Basis, Samples, samples_of
from qc.stats.capable.gate import why_withheld
from qc.stats.capable.gauge import Seen, gauge_share
from qc.stats.capable.normal import PPM, Figures, normal_figures, pieces_of
from qc.stats.capable.pieces import more_by_width
from qc.stats.capable.result import Capability, Limits, verdict, withheld
from qc.stats.capable.shape import check_shape, shape_figures
from qc.stats.capable.spread import FIGURES, GaugeShare
from qc.stats.errors import StatisticsError
from qc.stats.numbers import GREATEST, LEAST, Floats, as_readings, check_between

SEED = 20240501  # any fixed number: the same readings must give the same interval every time


@as_meant
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
    unstable_because: str = UNSTABLE,
    shape: str = "normal",
    resolution: float | None = None,
    gauge_sd: float | None = None,
    seed: int = SEED,
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
        Distribution of the readings; all but the first go by percentiles (`qc.stats.capable.shape`).
    resolution, gauge_sd : float, optional
        Step of the gauge, so that the sample sd is not taken below resolution / sqrt 12; spread of the gauge
        itself, for its share of what is seen (`gauge`). [same unit]
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
    readings = as_readings(values, "capability: value", least=2)
    check_shape(readings, shape)
    return capability_many(
        [readings],
        [Basis(sigma, sigma_df, stable, unstable_because)],
        lower=lower,
        upper=upper,
        target=target,
        wanted=wanted,
        confidence=confidence,
        shape=shape,
        resolution=resolution,
        gauge_sd=gauge_sd,
        seed=seed,
    )[0]


def capability_many(
    series: Sequence[Floats],
    bases: Sequence[Basis],
    *,
    lower: float | None = None,
    upper: float | None = None,
    target: float | None = None,
    wanted: float = 1.0,
    confidence: float = 0.95,
    shape: str = "normal",
    resolution: float | None = None,
    gauge_sd: float | None = None,
    seed: int = SEED,
) -> tuple[Capability, ...]:
    """Capability of many series of one characteristic in one pass.

    Parameters
    ----------
    series : sequence of ndarray, each of length >= 2
        Finite readings of each series. [unit of the characteristic]
    bases : sequence of Basis, as many
        What is known of each beside its readings.
    lower, upper, target, wanted, confidence, shape, resolution, gauge_sd, seed
        As `capability`, the same for all series.

    Returns
    -------
    tuple of Capability
        One a series, the same as `capability` gives one at a time; one whose readings the shape cannot have
        is withheld with the reason.

    Raises
    ------
    StatisticsError
        As `capability` (source there too), or not as many bases as series.

    Examples
    --------
    >>> once = np.array([10.1, 9.8, 10.0, 10.3, 9.9, 10.2, 9.7, 10.0, 10.1, 9.9])
    >>> found = capability_many([np.tile(once, 3), once], [Basis(), Basis()], lower=9.0, upper=11.0)
    >>> [one.capable for one in found], found[1].reason
    (['proven', 'unproven'], '10 pieces are too few: at least 20 are needed')
    """
    limits = Limits(lower, upper, target)
    if len(series) != len(bases):
        raise StatisticsError(f"capability: {len(series)} series, {len(bases)} bases: one each is needed")
    _check_options(confidence, bases, wanted, resolution, gauge_sd)
    check_shape(np.ones(1), shape)
    samples, own = samples_of(series, bases, resolution)
    reasons = [
        why_withheld(int(n), float(sd), float(raw), basis, shape)
        for n, sd, raw, basis in zip(samples.n, samples.sd, own, bases, strict=True)
    ]
    shown = np.array([reason is None for reason in reasons], dtype=bool)
    more = np.full(shown.size, np.nan)
    # withheld for too few pieces, not for a process that moves: then more pieces would settle it
    few = ~shown & np.array([basis.stable for basis in bases], dtype=bool) & (samples.sd > 0.0)
    more[few] = pieces_of(samples.only(few), limits, wanted=wanted, confidence=confidence)
    figures: Figures = {}
    if shape == "normal" and shown.any():
        figures = normal_figures(samples.only(shown), limits, wanted=wanted, confidence=confidence)
    place = np.cumsum(shown) - 1
    out = []
    for row, reason in enumerate(reasons):
        n, basis = int(samples.n[row]), bases[row]
        if reason is not None:
            out.append(withheld(n, reason, wanted, confidence, _count(more[row]), gauge_sd))
            continue
        gauge = _gauge(samples, row, basis, limits, gauge_sd, confidence)
        if shape == "normal":
            at = {name: float(part[place[row]]) for name, part in figures.items()}
            method = _method(limits.sides, basis, floored=bool(samples.sd[row] > own[row]))
            out.append(_normal(at, n, wanted, confidence, method, gauge))
        else:
            out.append(_shaped(series[row], basis.piece, n, limits, shape, wanted, confidence, seed, gauge))
    return tuple(out)


def _gauge(
    samples: Samples, row: int, basis: Basis, limits: Limits, gauge_sd: float | None, confidence: float
) -> GaugeShare | None:
    """Share of the gauge in one sample, where its sd was given."""
    if gauge_sd is None:
        return None
    s = samples
    mean, sd, mean_n, sd_df = (float(part[row]) for part in (s.mean, s.sd, s.mean_n, s.sd_df))
    return gauge_share(Seen(mean, sd, mean_n, sd_df, basis.sigma), limits, gauge_sd, confidence=confidence)


def _normal(
    at: dict[str, float],
    n: int,
    wanted: float,
    confidence: float,
    method: str,
    gauge: GaugeShare | None,
) -> Capability:
    """Turn the figures of one sample into the answer."""
    bounds = at["bound_low"], at["bound_high"]
    capable = verdict(bounds, wanted)
    # NaN where the limits allow no such figure
    figures: Arguments = {}
    for name in FIGURES:
        if not math.isnan(at[name]):
            figures |= {name: at[name], f"{name}_interval": (at[f"{name}_low"], at[f"{name}_high"])}
    return Capability(
        n=n,
        **figures,
        ppk_bounds=bounds,
        confidence=confidence,
        outside_ppm=at["outside_ppm"],
        outside_interval=(at["outside_low_ppm"], at["outside_high_ppm"]),
        method=method,
        capable=capable,
        wanted=wanted,
        pieces_to_settle=_count(at["pieces_to_settle"]) if capable == "unproven" else 0,
        gauge=gauge,
    )


def _shaped(
    readings: Floats,
    piece: NDArray[np.int64] | None,
    n: int,
    limits: Limits,
    shape: str,
    wanted: float,
    confidence: float,
    seed: int,
    gauge: GaugeShare | None,
) -> Capability:
    """Figures by percentiles; Cp and Cpk stay empty, a short-term sigma has no percentiles."""
    try:
        # percentiles that do not rise are a fault of these readings alone: the other series
        # still get their figures
        figures = shape_figures(readings, limits, shape, piece=piece, confidence=confidence, seed=seed)
    except StatisticsError as error:
        reason = str(error).removeprefix("capability: ")
        return withheld(n, reason, wanted, confidence, None, None if gauge is None else gauge.sd)
    if gauge is not None and gauge.reason is None:
        reason = "behind readings of this shape the pieces cannot be told from the gauge"
        gauge = replace(gauge, cp=None, cpk=None, pp=None, ppk=None, ppk_interval=None, reason=reason)
    capable = verdict(figures.ppk_bounds, wanted)
    return Capability(
        n=n,
        pp=figures.pp,
        ppk=figures.ppk,
        pp_interval=figures.pp_interval,
        ppk_interval=figures.ppk_interval,
        ppk_bounds=figures.ppk_bounds,
        confidence=confidence,
        outside_ppm=figures.outside * PPM,
        outside_interval=(figures.outside_interval[0] * PPM, figures.outside_interval[1] * PPM),
        method=figures.method,
        capable=capable,
        wanted=wanted,
        pieces_to_settle=more_by_width(figures.ppk, figures.ppk_bounds, n, wanted),
        gauge=gauge,
    )


def _check_options(
    confidence: float,
    bases: Sequence[Basis],
    wanted: float,
    resolution: float | None,
    gauge_sd: float | None,
) -> None:
    """Refuse a confidence outside 0..1 and what must be above 0 and is not."""
    # below a half the two bounds of the verdict would change places
    check_between(confidence, "capability: confidence", 0.5)
    above = [("wanted Ppk", wanted), ("resolution", resolution), ("gauge sd", gauge_sd)]
    for basis in bases:
        above.append(("sigma", basis.sigma))
        if basis.sigma_df is not None and not basis.sigma_df > 0:  # infinite: sigma is known
            raise StatisticsError(
                f"capability: degrees of freedom of sigma is {basis.sigma_df}, must be above 0"
            )
    for name, value in above:
        if value is not None and not LEAST <= value <= GREATEST:
            raise StatisticsError(f"capability: {name} is {value}, must be above 0 and finite")


def _method(sides: int, basis: Basis, *, floored: bool) -> str:
    """Say in words how the figures of normal readings were made."""
    parts = [
        "normal readings",
        "Cp and Cpk from the chart's sigma"
        if basis.sigma is not None
        else "Cp and Cpk from the sample sd (no chart sigma given)",
        "Pp, Ppk and Cpm from the sample sd",
        "interval of Ppk exact by the noncentral t" if sides == 1 else "interval of Ppk by Bissell 1990",
        "fraction outside from the normal curve"
        + (", exact interval" if sides == 1 else ", generalised interval"),
    ]
    if basis.mean_n is not None:
        parts.append("several readings a piece: intervals rest on what they are worth, not on their number")
    if floored:
        parts.append("sample sd not taken below resolution / sqrt 12")
    return "; ".join(parts)


def _count(value: float) -> int | None:
    """Turn a count into a plain number, NaN into None."""
    return None if math.isnan(value) else int(value)

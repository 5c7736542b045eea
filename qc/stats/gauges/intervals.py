"""Confidence intervals for variance components by the modified large sample method."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.gauges.anova import Design
from qc.stats.numbers import Interval, as_number, check_between

_DRAWS = 20_000  # the ends of the share's interval are then good to about 0.001 in level (binomial)


def variance_interval(ms: float, df: float, confidence: float = 0.95) -> Interval:
    """Exact interval of a variance, by chi-square. [square of the unit].

    Parameters
    ----------
    ms : float, >= 0
        Mean square. [square of the unit]
    df : float, > 0
        Its degrees of freedom.
    confidence : float, 0..1
        Confidence of the interval.

    Raises
    ------
    StatisticsError
        Degrees of freedom or confidence out of range.

    References
    ----------
    .. [1] Chi-square distribution of a mean square.

    Examples
    --------
    >>> [round(x, 4) for x in variance_interval(0.5111111, 60)]
    [0.3682, 0.7575]
    """
    check_between(confidence, "variance interval: confidence")
    ms = as_number(ms, "variance interval: mean square", least=0.0)
    df = as_number(df, "variance interval: degrees of freedom", above=1e-6)
    half = (1.0 - confidence) / 2.0
    return ms * df / float(special.chdtri(df, half)), ms * df / float(special.chdtri(df, 1.0 - half))


def sum_interval(
    weights: Mapping[str, float],
    mean_squares: Mapping[str, tuple[float, int]],
    confidence: float = 0.95,
) -> Interval:
    """Interval, cut at 0, of a weighted sum of mean squares, weights of either sign. [square of the unit].

    Parameters
    ----------
    weights : mapping of source to float
        Weight of each mean square.
    mean_squares : mapping of source to (float, int)
        Mean square and degrees of freedom. [square of the unit]
    confidence : float, 0..1
        Confidence of the interval.

    Raises
    ------
    StatisticsError
        Confidence out of range, or no weight that is not 0.

    Notes
    -----
    Positive weights only: Graybill and Wang. Mixed: Ting, Burdick, Graybill, Jeyaratnam and Lu. Both give
    the exact interval when all but one degrees of freedom are infinite.

    References
    ----------
    .. [1] Burdick and Graybill, "Confidence Intervals on Variance Components", 1992, section 3.2 and 3.3
       (formulae from memory; coverage simulated in the tests).

    Examples
    --------
    >>> squares = {"person": (19.6333333, 2), "person_part": (2.6950617, 18), "repeatability": (0.5111, 60)}
    >>> gauge = {"person": 1 / 30, "person_part": 9 / 30, "repeatability": 2 / 3}
    >>> [round(x, 3) for x in sum_interval(gauge, squares)]
    [1.206, 27.017]
    """
    check_between(confidence, "variance interval: confidence")
    level = (1.0 - confidence) / 2.0
    terms = [(w * mean_squares[s][0], mean_squares[s][1]) for s, w in weights.items() if w != 0.0]
    if not terms:
        raise StatisticsError("variance interval: no mean square has a weight")
    plus = [(value, df) for value, df in terms if value >= 0.0]
    minus = [(-value, df) for value, df in terms if value < 0.0]
    estimate = sum(value for value, _ in terms)
    low = estimate - _reach(plus, minus, level, upper=False)
    high = estimate + _reach(plus, minus, level, upper=True)
    return max(low, 0.0), max(high, 0.0)


def component_intervals(
    design: Design, confidence: float = 0.95, *, floor: float = 0.0
) -> dict[str, Interval]:
    """Interval of every variance component of a design. [square of the unit].

    Parameters
    ----------
    design : Design
        Table and weights.
    confidence : float, 0..1
        Confidence of each interval.
    floor : float
        Variance that the step of the gauge alone makes: no end of repeatability, gauge or total lies below
        it. [square of the unit]

    Raises
    ------
    StatisticsError
        Confidence out of range.

    References
    ----------
    .. [1] As `sum_interval`; a component that is one mean square has its exact interval.

    Examples
    --------
    >>> from qc.stats.gauges.anova import one_person_design
    >>> design = one_person_design(np.array([[1.0, 2.0], [4.0, 4.0], [8.0, 9.0]]))
    >>> sorted(component_intervals(design))
    ['gauge', 'part', 'repeatability', 'total']
    """
    squares = {row.source: (row.ms, row.df) for row in design.rows[:-1]}
    out = {}
    for component, weights in design.weights.items():
        # weights that cancel leave rounding, which would turn an exact interval into an approximate one
        used = {source: weight for source, weight in weights.items() if abs(weight) > 1e-14}
        if len(used) == 1:
            ((source, weight),) = used.items()
            low, high = variance_interval(*squares[source], confidence)
            out[component] = (weight * low, weight * high)
        else:
            out[component] = sum_interval(used, squares, confidence)
        if component in ("repeatability", "gauge", "total"):
            low, high = out[component]
            out[component] = (max(low, floor), max(high, floor))
    return out


def share_interval(
    design: Design, confidence: float = 0.95, *, seed: int = 20240501, floor: float = 0.0
) -> Interval:
    """Interval of the gauge's share (0..1) of all variation, as a ratio of standard deviations.

    Parameters
    ----------
    design, confidence, floor
        As for `component_intervals`, and errors.
    seed : int
        Of the draws.

    References
    ----------
    .. [1] Hamada and Weerahandi, "Measurement system assessment via generalized inference", Journal of
       Quality Technology 32, 2000 (method; coverage simulated in the tests).

    Examples
    --------
    >>> from qc.stats.gauges.anova import one_person_design
    >>> design = one_person_design(np.array([[1.0, 2.0], [4.0, 4.0], [8.0, 9.0], [5.0, 5.5]]))
    >>> low, high = share_interval(design)
    >>> 0 < low < high < 1
    True
    """
    check_between(confidence, "variance interval: confidence")
    rng = np.random.default_rng(seed)
    draws = {row.source: row.ms * row.df / rng.chisquare(row.df, _DRAWS) for row in design.rows[:-1]}

    def component(name: str) -> np.ndarray:
        """Draws of a component, cut at 0."""
        return np.maximum(sum(w * draws[s] for s, w in design.weights[name].items()), 0.0)

    others = (name for name in design.weights if name not in ("repeatability", "part", "gauge", "total"))
    own = sum((component(name) for name in others), np.maximum(component("repeatability"), floor))
    total = own + component("part")
    ratio = np.sqrt(np.divide(own, total, out=np.ones_like(total), where=total > 0))
    low, high = np.quantile(ratio, ((1.0 - confidence) / 2.0, (1.0 + confidence) / 2.0))
    return float(low), float(high)


def _reach(
    plus: list[tuple[float, int]], minus: list[tuple[float, int]], level: float, *, upper: bool
) -> float:
    """Distance of the lower or upper bound from the estimate: the two swap the parts of plus and minus."""
    of_plus, of_minus = (_h, _g) if upper else (_g, _h)
    squared = sum((of_plus(df, level) * value) ** 2 for value, df in plus)
    squared += sum((of_minus(df, level) * value) ** 2 for value, df in minus)
    for value, df in plus:
        for other, other_df in minus:
            f = _f_point(df, other_df, 1.0 - level if upper else level)
            joint = (f - 1.0) ** 2 - (of_plus(df, level) * f) ** 2 - of_minus(other_df, level) ** 2
            squared += joint / f * value * other
    same, against = (minus, plus) if upper else (plus, minus)
    if against and len(same) > 1:
        squared += sum(
            _g_star(df, other_df, level) * value * other / (len(same) - 1)
            for i, (value, df) in enumerate(same)
            for other, other_df in same[i + 1 :]
        )
    return math.sqrt(max(squared, 0.0))


def _g(df: float, level: float) -> float:
    """One less the inverse of the upper F point with infinite second degrees of freedom."""
    return 1.0 - df / float(special.chdtri(df, level))


def _h(df: float, level: float) -> float:
    """Inverse of the lower such F point, less one."""
    return df / float(special.chdtri(df, 1.0 - level)) - 1.0


def _f_point(df: float, other: float, level: float) -> float:
    """Upper point of F."""
    return float(special.fdtri(df, other, 1.0 - level))


def _g_star(df: float, other: float, level: float) -> float:
    """Joint term of two mean squares of the same sign."""
    both = _g(df + other, level) ** 2 * (df + other) ** 2 / (df * other)
    return both - _g(df, level) ** 2 * df / other - _g(other, level) ** 2 * other / df

"""Expected fraction of pieces outside the limits, with an interval."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from qc.stats.capability_bounds import one_sided_bound
from qc.stats.errors import StatisticsError

Floats = NDArray[np.float64]

_NODES, _WEIGHTS = special.roots_legendre(60)
_TAIL = 1e-13  # share of the sd's distribution left out at either end of the integral
_SECANT_STEPS = 10
_MOST_SCORE = 7.5  # beyond this normal score a fraction can no longer be told from 0 or 1 in this way
_ROOT_2PI = math.sqrt(2.0 * math.pi)
_LOGITS = (-60.0, 34.0)  # fractions are searched between 1e-26 and 1 - 1e-15


def fraction_outside(mean: float, sd: float, *, lower: float | None, upper: float | None) -> float:
    """Fraction of a normal process outside its limits, taking mean and sd at their word.

    Parameters
    ----------
    mean : float
        Mean of the characteristic. [unit of the characteristic]
    sd : float, > 0
        Standard deviation. [same unit]
    lower, upper : float or None
        Limits; at least one. [same unit]

    Returns
    -------
    float
        Fraction outside, 0..1.

    Raises
    ------
    StatisticsError
        No limit, limits the wrong way round, or an sd not above 0.

    References
    ----------
    .. [1] Normal distribution; NIST/SEMATECH e-Handbook 6.1.6 example (mean 16, sd 2, limits 8 and 20).

    Examples
    --------
    >>> round(fraction_outside(16.0, 2.0, lower=8.0, upper=20.0) * 1e6, 2)
    22781.8
    """
    _check(sd, lower, upper)
    below = special.ndtr((lower - mean) / sd) if lower is not None else 0.0
    above = special.ndtr((mean - upper) / sd) if upper is not None else 0.0
    return float(below + above)


def fraction_outside_interval(
    mean: float,
    sd: float,
    n: int,
    *,
    lower: float | None,
    upper: float | None,
    confidence: float = 0.95,
    df: float | None = None,
) -> tuple[float, float]:
    """Two-sided confidence interval of the fraction outside the limits.

    Parameters
    ----------
    mean, sd : float
        Sample mean and standard deviation, sd > 0. [unit of the characteristic]
    n : int, >= 2
        Pieces.
    lower, upper : float or None
        Limits; at least one. [same unit]
    confidence : float, 0..1
        Confidence of the interval.
    df : float, optional
        Degrees of freedom of the sd, n - 1 when left out.

    Returns
    -------
    (float, float)
        Least and greatest fraction, 0..1.

    Raises
    ------
    StatisticsError
        As `fraction_outside`, fewer than two pieces, or a confidence outside 0..1.

    Notes
    -----
    One limit: exact, from the noncentral t. Two limits: generalised interval; the pivotal distribution of
    (mean, sd) is integrated over sd by Gauss-Legendre. It becomes the exact one when a limit is far away.

    References
    ----------
    .. [1] Weerahandi, "Generalized confidence intervals", Journal of the American Statistical Association
       88, 1993 (method; coverage simulated in the tests).

    Examples
    --------
    >>> low, high = fraction_outside_interval(16.0, 2.0, 30, lower=8.0, upper=20.0)
    >>> round(low * 1e6), round(high * 1e6)
    (4423, 86444)
    """
    _check(sd, lower, upper)
    if n < 2:
        raise StatisticsError(f"fraction outside: {n} pieces given, at least 2 are needed")
    if not 0.0 < confidence < 1.0:
        raise StatisticsError(f"fraction outside: confidence is {confidence}, must lie between 0 and 1")
    freedom = float(n - 1) if df is None else float(df)
    tails = ((1.0 - confidence) / 2.0, (1.0 + confidence) / 2.0)
    if lower is None or upper is None:
        distance = (upper - mean) if upper is not None else mean - (lower if lower is not None else 0.0)
        bounds = one_sided_bound(distance / (3.0 * sd), np.array(tails), n, freedom)
        best, worst = special.ndtr(-3.0 * bounds[1]), special.ndtr(-3.0 * bounds[0])
        return float(best), float(worst)
    half, off = (upper - lower) / (2.0 * sd), (mean - (upper + lower) / 2.0) / sd

    low, high = (_pivotal_quantile(level, half, off, n, freedom) for level in tails)
    return low, high


def _pivotal_quantile(level: float, half: float, off: float, n: int, df: float) -> float:
    """Fraction below which the true one lies with pivotal chance `level`.

    In normal scores the pivotal distribution is almost a straight line, so secant steps from the one-sided
    answer of the nearer limit arrive in four or five; the plain search is for samples far outside or inside.
    """
    wanted = float(special.ndtri(level))

    def excess(score: float) -> float:
        """Compare the normal score of the pivotal chance with the wanted one."""
        return float(special.ndtri(_pivotal_cdf(float(special.ndtr(score)), half, off, n, df))) - wanted

    nearest = (half - abs(off)) / 3.0
    here = -3.0 * float(one_sided_bound(nearest, 1.0 - level, n, df))
    gap = excess(here) if abs(here) < _MOST_SCORE else math.nan
    step = -gap / math.sqrt(n)  # as if one score of the fraction were one standard error of the mean
    for _ in range(_SECANT_STEPS):
        if not math.isfinite(gap) or not abs(here + step) < _MOST_SCORE:
            break
        if abs(step) < 1e-9 * (1.0 + abs(here)):
            return float(special.ndtr(here + step))
        before, here = gap, here + step
        gap = excess(here)
        step *= gap / (before - gap) if before != gap else math.nan
    return _searched_quantile(level, half, off, n, df)


def _searched_quantile(level: float, half: float, off: float, n: int, df: float) -> float:
    """Find the same by bracketing on the logit; 0 or 1 when it lies beyond what is searched."""

    def excess(logit: float) -> float:
        """Pivotal chance that the fraction is below this value, less the wanted level."""
        return _pivotal_cdf(float(special.expit(logit)), half, off, n, df) - level

    least, greatest = _LOGITS
    if excess(least) >= 0.0:
        return 0.0
    if excess(greatest) <= 0.0:
        return 1.0
    return float(special.expit(optimize.brentq(excess, least, greatest, xtol=1e-10)))


def _pivotal_cdf(fraction: float, half: float, off: float, n: int, df: float) -> float:
    """Pivotal chance that the true fraction outside is at most `fraction`.

    `half` and `off` are the half-width of the limits and the distance of the mean from their middle, in
    sample sds. For a true sd, a is the half-width in true sds; the fraction stays below `fraction` while the
    mean is within `reach(a)` of the middle. The variable is t with a = a0 + range t^2, because the reach
    starts like a square root at a0, the least half-width that can hold the fraction at all.
    """
    ends = np.sqrt(special.chdtri(df, np.array([1.0 - _TAIL, _TAIL])) / df) * half
    start = max(float(-special.ndtri(fraction / 2.0)), float(ends[0]))
    if start >= ends[1]:
        return 0.0
    t = (_NODES + 1.0) / 2.0
    span = float(ends[1]) - start
    a = start + span * t * t
    chi2 = df * (a / half) ** 2
    log_density = (df / 2.0) * np.log(chi2 / 2.0) - chi2 / 2.0 - special.gammaln(df / 2.0)
    mass = np.exp(log_density) * 2.0 / a * span * t * _WEIGHTS  # density of chi2 times d(chi2)/dt times dt
    reach = _reach(a, fraction)
    centre, root = off * a / half, math.sqrt(n)
    inside = special.ndtr(root * (reach - centre)) - special.ndtr(root * (-reach - centre))
    return float(mass @ inside)


def _reach(a: Floats, fraction: float) -> Floats:
    """Greatest distance of the mean from the middle at which at most `fraction` lies outside +-a.

    Newton steps from the right, where the fraction outside is convex: from the distance at which the nearer
    limit alone would take it all, or from the parabola at the middle, whichever is less.
    """
    density = np.exp(-0.5 * a * a) / _ROOT_2PI
    surplus = np.maximum(fraction - 2.0 * special.ndtr(-a), 0.0)
    with np.errstate(all="ignore"):  # no density left far out: the other start is taken there
        parabola = np.sqrt(surplus / (a * density))
    high = np.maximum(a + special.ndtri(fraction), 0.0) + 1e-12
    low, reach = np.zeros_like(a), np.fmin(high, parabola)
    for _ in range(60):
        gap = special.ndtr(reach - a) + special.ndtr(-reach - a) - fraction
        low, high = np.where(gap > 0, low, reach), np.where(gap > 0, reach, high)
        slope = (np.exp(-0.5 * (a - reach) ** 2) - np.exp(-0.5 * (a + reach) ** 2)) / _ROOT_2PI
        with np.errstate(all="ignore"):  # an overshoot is caught by the bracket
            better = reach - gap / slope
        better = np.where((better >= low) & (better <= high), better, (low + high) / 2.0)
        moved = float(np.abs(better - reach).max())
        reach = better
        if moved < 1e-9:
            break
    return np.asarray(reach)


def _check(sd: float, lower: float | None, upper: float | None) -> None:
    """Refuse limits and spreads that make no question."""
    if lower is None and upper is None:
        raise StatisticsError("fraction outside: no limit given, a lower or an upper one is needed")
    if lower is not None and upper is not None and not lower < upper:
        raise StatisticsError(f"fraction outside: lower limit {lower} is not below upper limit {upper}")
    if not (math.isfinite(sd) and sd > 0):
        raise StatisticsError(f"fraction outside: standard deviation is {sd}, must be above 0")

"""Expected fraction of pieces outside the limits, with an interval, for one sample or for thousands."""

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from qc.stats.capable.bounds import one_sided_bound
from qc.stats.errors import StatisticsError
from qc.stats.numbers import GREATEST, LEAST, Floats, Interval, as_number, check_between

Rule = tuple[Floats, Floats]

_RULE = special.roots_legendre(60)  # nodes and weights
_FINE_RULE = special.roots_legendre(160)  # for a mean beyond its limit, and for few degrees of freedom
_FEW = 10.0  # degrees of freedom below which `_FINE_RULE` is taken
_TAIL = 1e-13  # share of the sd's distribution left out at either end of the integral
_SCORES = (-10.6, 7.9)  # normal scores of the fractions searched: 1e-26 to 1 - 1e-15
_STEPS = 60  # more than halving the bracket alone would need
_SMALL_STEP = 1e-6  # Newton's next error is about the square of this
_ROWS = 512  # samples taken together: their nodes then stay in the processor's cache
_ROOT_2PI = math.sqrt(2.0 * math.pi)


def fraction_outside(mean: float, sd: float, *, lower: float | None, upper: float | None) -> float:
    """Fraction (0..1) of a normal process outside its limits, taking mean and sd at their word.

    Parameters
    ----------
    mean : float
        Mean of the characteristic. [unit of the characteristic]
    sd : float, > 0
        Standard deviation. [same unit]
    lower, upper : float or None
        Limits; at least one. [same unit]

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
    _check(np.array([mean]), np.array([sd]), lower, upper)
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
) -> Interval:
    """Two-sided confidence interval of the fraction (0..1) outside the limits.

    Parameters
    ----------
    mean, sd, lower, upper
        As `fraction_outside`, mean and sd being those of the sample.
    n : int, >= 2
        Pieces.
    confidence : float, 0..1
        Confidence of the interval.
    df : float, optional
        Degrees of freedom of the sd, n - 1 when left out.

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
    low, high = fraction_outside_intervals(
        [mean], [sd], [n], lower=lower, upper=upper, confidence=confidence, df=None if df is None else [df]
    )
    return float(low[0]), float(high[0])


def fraction_outside_intervals(
    mean: ArrayLike,
    sd: ArrayLike,
    n: ArrayLike,
    *,
    lower: float | None,
    upper: float | None,
    confidence: float = 0.95,
    df: ArrayLike | None = None,
) -> tuple[Floats, Floats]:
    """Two-sided confidence intervals of the fractions outside the limits of many samples in one pass.

    Parameters
    ----------
    mean, sd, n : array_like, length k
        Sample means, standard deviations (> 0) and pieces (>= 2). [unit of the characteristic; count]
    lower, upper, confidence
        As `fraction_outside_interval`, the same for all samples.
    df : array_like, length k, optional
        Degrees of freedom of the sds, n - 1 when left out.

    Returns
    -------
    (ndarray, ndarray)
        Least and greatest fractions, 0..1, each of length k: those of `fraction_outside_interval` (errors and
        source there), of which this is the whole computation.

    Examples
    --------
    >>> low, high = fraction_outside_intervals([16.0, 14.0], [2.0, 2.0], [30, 30], lower=8.0, upper=20.0)
    >>> (low * 1e6).round().tolist(), (high * 1e6).round().tolist()
    ([4423.0, 197.0], [86444.0, 28494.0])
    """
    try:
        mean, sd, n = np.broadcast_arrays(*(np.asarray(part, dtype=np.float64) for part in (mean, sd, n)))
        freedom = n - 1.0 if df is None else np.broadcast_to(np.asarray(df, dtype=np.float64), n.shape)
    except ValueError:
        raise StatisticsError(
            "fraction outside: means, standard deviations, pieces and degrees of freedom must be equally many"
        ) from None
    if mean.ndim != 1:
        raise StatisticsError(f"fraction outside: {mean.ndim} dimensions given, one value a sample is needed")
    _check(mean, sd, lower, upper)
    if not np.all((n >= 2) & (n <= GREATEST)):
        raise StatisticsError(f"fraction outside: {np.min(n):g} pieces given, at least 2 are needed")
    check_between(confidence, "fraction outside: confidence")
    tails = ((1.0 - confidence) / 2.0, (1.0 + confidence) / 2.0)
    if lower is None or upper is None:
        distance = (upper - mean) if upper is not None else mean - (lower if lower is not None else 0.0)
        bounds = [one_sided_bound(distance / (3.0 * sd), level, n, freedom) for level in tails]
        return special.ndtr(-3.0 * bounds[1]), special.ndtr(-3.0 * bounds[0])
    half, off = (upper - lower) / (2.0 * sd), (mean - (upper + lower) / 2.0) / sd
    low, high = np.empty(mean.size), np.empty(mean.size)
    hard = (np.abs(off) > half) | (freedom < _FEW)
    for rows, rule in ((np.flatnonzero(~hard), _RULE), (np.flatnonzero(hard), _FINE_RULE)):
        for start in range(0, rows.size, _ROWS):
            part = rows[start : start + _ROWS]
            samples = half[part], off[part], n[part], freedom[part]
            low[part] = _pivotal_quantile(tails[0], *samples, rule)
            high[part] = _pivotal_quantile(tails[1], *samples, rule)
    return low, high


def _pivotal_quantile(level: float, half: Floats, off: Floats, n: Floats, df: Floats, rule: Rule) -> Floats:
    """Fractions below which the true ones lie with pivotal chance `level`; 0 or 1 beyond what is searched.

    In normal scores the pivotal distribution is almost a straight line, so Newton steps from the one-sided
    answer of the nearer limit arrive in two or three; a bracket catches a step that leads astray.
    """
    wanted = float(special.ndtri(level))
    here = np.clip(-3.0 * one_sided_bound((half - np.abs(off)) / 3.0, 1.0 - level, n, df), *_SCORES)
    low, high = np.full(here.size, _SCORES[0]), np.full(here.size, _SCORES[1])
    moving = np.arange(here.size)
    for _ in range(_STEPS):
        at = here[moving]
        chance, slope = _pivotal_chance(at, half[moving], off[moving], n[moving], df[moving], rule)
        under = chance < level
        low[moving], high[moving] = np.where(under, at, low[moving]), np.where(under, high[moving], at)
        reached = special.ndtri(chance)
        with np.errstate(all="ignore"):  # far from the answer chances are 0 or 1: the bracket takes over
            step = (wanted - reached) * np.exp(-0.5 * reached * reached) / (_ROOT_2PI * slope)
        ahead = at + step
        inside = (ahead >= low[moving]) & (ahead <= high[moving])
        ahead = np.where(inside, ahead, 0.5 * (low[moving] + high[moving]))
        here[moving] = ahead
        arrived = (inside & (np.abs(step) < _SMALL_STEP)) | (high[moving] - low[moving] < 1e-11)
        moving = moving[~arrived]
        if moving.size == 0:
            break
    fraction = special.ndtr(here)
    fraction = np.where(here <= _SCORES[0] + 1e-9, 0.0, fraction)
    return np.asarray(np.where(here >= _SCORES[1] - 1e-9, 1.0, fraction))


def _pivotal_chance(
    score: Floats, half: Floats, off: Floats, n: Floats, df: Floats, rule: Rule
) -> tuple[Floats, Floats]:
    """Pivotal chance that the true fraction outside is at most that of a normal score, and its slope in it.

    `half` and `off` are the half-width of the limits and the distance of the mean from their middle, in
    sample sds. For a true sd, a is the half-width in true sds; the fraction stays below the given one while
    the mean is within `reach(a)` of the middle. The variable is t with a = a0 + range t^2, because the reach
    starts like a square root at a0, the least half-width that can hold the fraction at all.
    """
    fraction = special.ndtr(score)
    ends = [np.sqrt(special.chdtri(df, tail) / df) * half for tail in (1.0 - _TAIL, _TAIL)]
    start = np.maximum(-special.ndtri(fraction / 2.0), ends[0])
    span = np.maximum(ends[1] - start, 0.0)[
        :, None
    ]  # none left: the fraction cannot be held, the chance is 0
    nodes, weights = rule
    t = (nodes + 1.0) / 2.0
    a = start[:, None] + span * t * t
    ratio = a / half[:, None]
    freedom = (df / 2.0)[:, None]
    chi2 = freedom * ratio * ratio  # half of it
    log_density = freedom * np.log(chi2) - chi2 - special.gammaln(df / 2.0)[:, None]
    mass = np.exp(log_density) * 2.0 / a * span * t * weights  # density of chi2 times d(chi2)/dt times dt
    reach, rise = _reach(a, fraction[:, None])
    centre, root = off[:, None] * ratio, np.sqrt(n)[:, None]
    right, left = root * (reach - centre), root * (-reach - centre)
    inside = special.ndtr(right) - special.ndtr(left)
    growth = (np.exp(-0.5 * right * right) + np.exp(-0.5 * left * left)) * root * rise
    slope = np.sum(mass * growth, axis=1) * np.exp(-0.5 * score * score) / _ROOT_2PI
    return np.sum(mass * inside, axis=1), slope


def _reach(a: Floats, fraction: Floats) -> tuple[Floats, Floats]:
    """Greatest distance of the mean from the middle at which at most `fraction` lies outside +-a.

    Halley steps from the right, where the fraction outside is convex: from the distance at which the nearer
    limit alone would take it all, or from the parabola at the middle, whichever is less. The second array is
    the derivative of the reach in the fraction, over the root of 2 pi.
    """
    surplus = np.maximum(fraction - 2.0 * special.ndtr(-a), 0.0)
    with np.errstate(all="ignore"):  # no density left far out: the other start is taken there
        parabola = np.sqrt(surplus * _ROOT_2PI / (a * np.exp(-0.5 * a * a)))
    high = np.maximum(a + special.ndtri(fraction), 0.0) + 1e-12
    low, reach = np.zeros_like(a), np.fmin(high, parabola)
    for _ in range(_STEPS):
        near, far = a - reach, a + reach
        gap = special.ndtr(-near) + special.ndtr(-far) - fraction
        low, high = np.where(gap > 0, low, reach), np.where(gap > 0, reach, high)
        near_density, far_density = np.exp(-0.5 * near * near), np.exp(-0.5 * far * far)
        slope = near_density - far_density
        gap *= _ROOT_2PI
        with np.errstate(all="ignore"):  # an overshoot is caught by the bracket
            bend = gap * (near * near_density + far * far_density) / slope
            better = reach - gap / (slope - 0.5 * bend)
        better = np.where((better >= low) & (better <= high), better, (low + high) / 2.0)
        moved = float(np.abs(better - reach).max())
        reach = better
        if moved < 1e-5:  # the next error is about its cube
            break
    with np.errstate(all="ignore"):
        rise = 1.0 / (np.exp(-0.5 * (a - reach) ** 2) - np.exp(-0.5 * (a + reach) ** 2))
    return reach, np.where(np.isfinite(rise), rise, 0.0)


def _check(mean: Floats, sd: Floats, lower: float | None, upper: float | None) -> None:
    """Refuse limits and spreads that make no question."""
    if lower is None and upper is None:
        raise StatisticsError("fraction outside: no limit given, a lower or an upper one is needed")
    if lower is not None and upper is not None and not lower < upper:
        raise StatisticsError(f"fraction outside: lower limit {lower} is not below upper limit {upper}")
    for name, limit in (("lower limit", lower), ("upper limit", upper)):
        if limit is not None:
            as_number(limit, f"fraction outside: {name}")
    lost = ~(np.abs(mean) <= GREATEST)
    if np.any(lost):
        raise StatisticsError(f"fraction outside: mean is {mean[lost][0]}, must be a finite number")
    wrong = ~((sd >= LEAST) & (sd <= GREATEST))
    if np.any(wrong):
        raise StatisticsError(f"fraction outside: standard deviation is {sd[wrong][0]}, must be above 0")

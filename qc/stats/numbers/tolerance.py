"""Normal tolerance and prediction factors: how far limits from few pieces must stand off the mean.

A limit `mean + k * sd` from n pieces is a guess. The factors here make it an honest one: a *tolerance*
factor holds a stated content with a stated confidence, a *prediction* factor holds the next piece. All are
exact for normal readings; `howe_factor` and `natrella_factor` are the classical approximations, kept for
comparison with printed tables only.
"""

import math
from functools import lru_cache

import numpy as np
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers.radii import (
    KNOWN_DF,
    NORMAL_DF,
    error_held,
    half_widths,
    radii_near,
    sd_beyond,
    sd_density,
)
from qc.stats.numbers.readings import GREATEST, LEAST

LEAST_SHARE = 1e-9  # a content or confidence below it is a slip, and its normal point overflows later on
_NEWTON_STEPS = 60  # chosen: what halving alone needs to bring the bracket below a double's last digit
_LEAST_DF = 0.1  # chosen: such a sigma says nothing, and its factor runs to 1e20


def tolerance_factor(
    n: float, content: float, confidence: float, *, sides: int = 2, df: float | None = None
) -> float:
    """Exact normal tolerance factor k: `mean +- k sd` holds `content` with `confidence`. [1].

    Parameters
    ----------
    n : float, >= 2 (> 0 when `df` is given)
        Readings behind the mean. For the mean of subgroups, the number of subgroup means.
    content : float, 0 < content < 1
        Share of the process to be held between the limits (`sides=2`) or on one side (`sides=1`).
    confidence : float, 0 < confidence < 1
        Chance, before the readings are taken, that the limits hold at least `content`.
    sides : {1, 2}
        One limit or two.
    df : float, optional
        Degrees of freedom of the sd, > 0; n - 1 when left out. A pooled sd has its own, a known one infinity.

    Raises
    ------
    StatisticsError
        Too few readings, a share outside 0..1, or `sides` neither 1 nor 2.

    Notes
    -----
    One-sided: noncentral t. Two-sided: for an error z of the mean, r(z) is the half-width that holds
    `content`; the confidence is the mean over z of P(chi2 >= df r(z)^2 / k^2), solved for k by Newton steps.

    References
    ----------
    .. [1] Odeh and Owen, "Tables for Normal Tolerance Limits, Sampling Plans, and Screening", 1980.
    .. [2] ISO 16269-6:2014, "Determination of statistical tolerance intervals" (title; formula from memory,
       recomputed by simulation in the tests).

    Examples
    --------
    >>> round(tolerance_factor(20, 0.9973, 0.90), 3)
    3.922
    >>> round(tolerance_factor(43, 0.90, 0.99, sides=1), 6)
    1.873954
    """
    n, df = _checked(n, df, "tolerance factor")
    check_share(content, "content")
    check_share(confidence, "confidence")
    if sides == 1:
        return _one_sided(n, content, confidence, df)
    if sides == 2:
        return _two_sided(n, content, confidence, df)
    raise StatisticsError(f"tolerance factor: sides is {sides}, must be 1 or 2")


def guaranteed_factor(
    n: float, false_alarm_rate: float, confidence: float = 0.90, *, df: float | None = None
) -> float:
    """Limit factor whose true false-alarm rate is, with `confidence`, at most the one asked for.

    It is the two-sided tolerance factor with content 1 - rate; the rest, and errors, as `tolerance_factor`.

    Parameters
    ----------
    n, df
        Pieces that the limits rest on, and degrees of freedom of the sd, n - 1 when left out.
    false_alarm_rate : float, 0 < rate < 1
        Wanted chance of a false signal per point; 0.0027 is that of three sigma.
    confidence : float, 0 < confidence < 1
        Chance that the limits keep the promise.

    References
    ----------
    .. [1] Goedhart, Schoonhoven and Does, "Guaranteed in-control performance for the Shewhart X and X-bar
       control charts", Journal of Quality Technology 49, 2017 (method).

    Examples
    --------
    >>> round(guaranteed_factor(10, 0.0027), 3), round(guaranteed_factor(30, 0.0027), 3)
    (4.597, 3.694)
    """
    check_share(false_alarm_rate, "false-alarm rate")
    return tolerance_factor(n, 1.0 - false_alarm_rate, confidence, df=df)


def tolerance_confidence(n: float, k: float, content: float, *, df: float | None = None) -> float:
    """Confidence (0..1) that `mean +- k sd` holds at least `content`: `tolerance_factor` read backwards.

    Parameters
    ----------
    n, content, df
        As `tolerance_factor`, errors and source too.
    k : float, > 0
        Factor on the sd; another is refused. [1]

    Examples
    --------
    >>> round(tolerance_confidence(20, 3.0, 0.9973), 3)
    0.407
    """
    n, df = _checked(n, df, "tolerance confidence")
    check_share(content, "content")
    if not LEAST <= k <= GREATEST:
        raise StatisticsError(f"tolerance confidence: factor k is {k}, must be above 0")
    if df >= KNOWN_DF:
        return 2.0 * float(special.ndtr(error_held(n, content, k))) - 1.0
    radius, weight = radii_near(n, content, k, df)
    return float(weight @ sd_beyond(radius / k, df))


def prediction_factor(
    n: float, coverage: float, *, sides: int = 2, df: float | None = None, future: int = 1
) -> float:
    """Factor k: the next reading falls inside `mean +- k sd` with chance `coverage`, over all samples. [1].

    Parameters
    ----------
    n, sides, df
        As `tolerance_factor`.
    coverage : float, 0 < coverage < 1
        Chance that the next reading is inside.
    future : int, >= 1
        Predict the mean of this many further readings.

    Raises
    ------
    StatisticsError
        Too few readings, a share outside 0..1, `sides` neither 1 nor 2, or `future` under 1.

    References
    ----------
    .. [1] Hahn and Meeker, "Statistical Intervals", 1991, section 4.7 (formula from memory; checked by
       simulation in the tests).

    Examples
    --------
    >>> [round(prediction_factor(n, 0.9973), 4) for n in (10, 20)]
    [4.294, 3.5323]
    """
    n, df = _checked(n, df, "prediction factor")
    check_share(coverage, "coverage")
    if sides not in (1, 2):
        raise StatisticsError(f"prediction factor: sides is {sides}, must be 1 or 2")
    if future < 1:
        raise StatisticsError(f"prediction factor: {future} further readings asked for, at least 1 is needed")
    chance = 1.0 - (1.0 - coverage) / sides
    quantile = special.ndtri(chance) if df >= KNOWN_DF else special.stdtrit(df, chance)
    return float(quantile * math.sqrt(1.0 / future + 1.0 / n))


def howe_factor(
    n: float, content: float, confidence: float, *, df: float | None = None, corrected: bool = False
) -> float:
    """Approximate two-sided tolerance factor k by Howe, for comparison with printed tables.

    Parameters
    ----------
    n, content, confidence, df
        As `tolerance_factor`, and errors.
    corrected : bool
        Also apply the weight of Guenther.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.3.

    Examples
    --------
    >>> round(howe_factor(43, 0.90, 0.99), 6)
    2.217316
    """
    n, df = _checked(n, df, "tolerance factor by Howe")
    check_share(content, "content")
    check_share(confidence, "confidence")
    if df >= KNOWN_DF:
        return float(special.ndtri((1.0 + content) / 2.0) * math.sqrt(1.0 + 1.0 / n))
    quantile = special.chdtri(df, confidence)
    k = special.ndtri((1.0 + content) / 2.0) * math.sqrt(df * (1.0 + 1.0 / n) / quantile)
    if corrected:
        k *= math.sqrt(1.0 + (n - 3.0 - quantile) / (2.0 * (n + 1.0) ** 2))
    return float(k)


def natrella_factor(n: float, content: float, confidence: float) -> float:
    """Approximate one-sided tolerance factor k by Natrella, for comparison with printed tables.

    Asked as `tolerance_factor` and refused alike, or where readings are too few for the approximation to
    have a value; source as `howe_factor`.

    Examples
    --------
    >>> round(natrella_factor(43, 0.90, 0.99), 5)
    1.87519
    """
    n, df = _checked(n, None, "tolerance factor by Natrella")
    check_share(content, "content")
    check_share(confidence, "confidence")
    z_content, z_confidence = special.ndtri(content), special.ndtri(confidence)
    a = 1.0 - z_confidence**2 / (2.0 * df)
    b = z_content**2 - z_confidence**2 / n
    if a <= 0 or z_content**2 < a * b:
        raise StatisticsError(
            f"tolerance factor by Natrella: {n:g} readings are too few for this approximation"
        )
    return float((z_content + math.sqrt(z_content**2 - a * b)) / a)


@lru_cache(maxsize=4096)
def _one_sided(n: float, content: float, confidence: float, df: float) -> float:
    """Solve for the one-sided factor: a noncentral t quantile over the root of n."""
    if df >= NORMAL_DF:
        return _one_sided_normal(n, float(special.ndtri(content)), float(special.ndtri(confidence)), df)
    root = math.sqrt(n)
    k = float(special.nctdtrit(df, root * special.ndtri(content), confidence)) / root
    if not math.isfinite(k):
        raise StatisticsError(
            f"tolerance factor: no finite value for n = {n:g}, content {content}, {confidence}"
        )
    return k


def _one_sided_normal(n: float, wanted: float, sure: float, df: float) -> float:
    """Solve k (1 - 1 / 4 df) - wanted = sure * sqrt(1 / n + k^2 / 2 df), a quadratic, for its right root."""
    mean, variance = 1.0 - 0.25 / df, 0.5 / df
    root = math.sqrt(mean * mean / n + variance * (wanted * wanted - sure * sure / n))
    return (wanted * mean + sure * root) / (mean * mean - sure * sure * variance)


@lru_cache(maxsize=4096)
def _two_sided(n: float, content: float, confidence: float, df: float) -> float:
    """Newton steps in log k from Howe's value, kept inside a bracket so that they cannot run off."""
    known = _known_sd(n, content, confidence)
    if df >= KNOWN_DF:
        return known
    radius, weight = radii_near(n, content, known, df)
    low, high = -30.0, 60.0
    step_at = math.log(howe_factor(n, content, confidence, df=df)) if df < NORMAL_DF else math.log(known)
    for _ in range(_NEWTON_STEPS):
        ratio = radius * math.exp(-step_at)
        gap = float(weight @ sd_beyond(ratio, df)) - confidence
        if gap > 0:
            high = step_at
        else:
            low = step_at
        slope = float(weight @ (sd_density(ratio, df) * ratio))
        proposal = step_at - gap / slope if slope > 0 else math.nan
        if not low < proposal < high:
            proposal = (low + high) / 2.0
        if abs(proposal - step_at) < 1e-14 * max(1.0, abs(step_at)):
            break
        step_at = proposal
    return math.exp(step_at)


def _known_sd(n: float, content: float, confidence: float) -> float:
    """Half-width that holds the content about a mean as wrong as the confidence calls for."""
    error = float(special.ndtri((1.0 + confidence) / 2.0)) / math.sqrt(n)
    return float(half_widths(np.array([error]), content)[0])


def _checked(n: float, df: float | None, what: str) -> tuple[float, float]:
    """Return readings and degrees of freedom, or say why they will not do."""
    if df is None:
        if not 2 <= n <= GREATEST:
            raise StatisticsError(f"{what}: {n:g} readings given, at least 2 are needed")
        return float(n), float(n) - 1.0
    if not (0 < n <= GREATEST and df >= _LEAST_DF):
        raise StatisticsError(
            f"{what}: n is {n:g} and the degrees of freedom {df:g}; above 0 and 0.1 or more are needed"
        )
    return float(n), float(df)


def check_share(value: float, what: str) -> None:
    """Refuse a share that is not strictly between 0 and 1."""
    if not LEAST_SHARE <= value < 1.0:
        raise StatisticsError(f"limit factors: {what} is {value}, must lie between 0 and 1")

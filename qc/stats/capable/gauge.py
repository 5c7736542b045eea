"""What the gauge's own spread does to capability: its share, and what a perfect gauge would show."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import special

from qc.stats.capable.result import Limits
from qc.stats.capable.spread import GaugeShare
from qc.stats.errors import StatisticsError
from qc.stats.numbers import check_between


@dataclass(frozen=True, slots=True)
class Seen:
    """What a sample shows: mean, spread, and what both are worth.

    Attributes
    ----------
    mean, sd : float
        Mean and sample sd of the readings. [unit of the characteristic]
    mean_n : float
        Independent readings that the mean is worth. [count]
    sd_df : float
        Degrees of freedom of the sd. [count]
    sigma : float or None
        Short-term sigma of Cp and Cpk. [unit of the characteristic]
    """

    mean: float
    sd: float
    mean_n: float
    sd_df: float
    sigma: float | None = None


def gauge_share(seen: Seen, limits: Limits, gauge_sd: float, *, confidence: float = 0.95) -> GaugeShare:
    """Share of the gauge in the variance seen, and the capability of the pieces behind it.

    Parameters
    ----------
    seen : Seen
        Mean and spread of the readings.
    limits : Limits
        Specification limits. [unit of the characteristic]
    gauge_sd : float, > 0
        Sd of the gauge from a gauge study, taken as known. [same unit]
    confidence : float, 0..1
        Confidence of the interval.

    Returns
    -------
    GaugeShare
        Without figures, and with the reason, where the gauge alone scatters as much as all that is seen.

    Raises
    ------
    StatisticsError
        A spread that is not above 0, or a confidence outside 0..1.

    Notes
    -----
    Readings vary by the pieces and, independently, by the gauge: the variance seen is that of the pieces and
    that of the gauge together. The interval of Ppk is Bissell's with the sd of the pieces, whose relative
    error is that of the sample sd times seen over own variance (first order); it is rough where the gauge's
    share is above one half (simulated in the tests).

    References
    ----------
    .. [1] ISO 22514-7 keeps the spread of the measuring system beside the capability figure (title and
       pattern, from memory); sums of variances: NIST/SEMATECH e-Handbook 2.4.

    Examples
    --------
    >>> share = gauge_share(Seen(0.0, 1.0, 50, 49), Limits(-3.6, 3.6), 0.6)
    >>> round(share.share_of_variance, 2), round(share.ppk, 2), [round(x, 2) for x in share.ppk_interval]
    (0.36, 1.5, [1.02, 1.98])
    """
    if not (gauge_sd > 0 and math.isfinite(gauge_sd) and seen.sd > 0):
        raise StatisticsError(
            f"capability: gauge sd is {gauge_sd}, sd of the readings {seen.sd}; both must be above 0"
        )
    check_between(confidence, "capability: confidence")
    share = (gauge_sd / seen.sd) ** 2
    if share >= 1.0:
        reason = (
            f"the gauge alone (sd {gauge_sd:g}) scatters as much as all readings (sd {seen.sd:.4g}), "
            "so they say nothing about the pieces: check the gauge's sd"
        )
        return GaugeShare(sd=gauge_sd, share_of_variance=share, confidence=confidence, reason=reason)
    own = seen.sd * math.sqrt(1.0 - share)
    ppk = limits.nearest_over(seen.mean, own)
    swing = 1.0 / (1.0 - share)  # seen over own variance
    variance = swing / (9.0 * seen.mean_n) + (ppk * swing) ** 2 / (2.0 * seen.sd_df)
    reach = float(special.ndtri((1.0 + confidence) / 2.0)) * math.sqrt(variance)
    # a short-term sigma no larger than the gauge's leaves nothing for the pieces: no Cp, and no reason
    # needed, since Pp says it
    short = None
    if seen.sigma is not None and seen.sigma > gauge_sd:
        short = math.sqrt(seen.sigma**2 - gauge_sd**2)
    return GaugeShare(
        sd=gauge_sd,
        share_of_variance=share,
        cp=None if short is None else limits.width_over(short),
        cpk=None if short is None else limits.nearest_over(seen.mean, short),
        pp=limits.width_over(own),
        ppk=ppk,
        ppk_interval=(ppk - reach, ppk + reach),
        confidence=confidence,
    )

"""How many standard deviations a limit stands off the centre: textbook, prediction or guaranteed.

`textbook` limits stand at three sigma as if centre and sigma were known. From few points that promise is
false; `prediction` limits hold the next point with the textbook rate on average, `guaranteed` limits keep the
rate at or below it with a stated confidence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import chdtri, ndtr, ndtri, stdtrit

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers.radii import half_widths
from qc.stats.numbers.tolerance import tolerance_factor

Method = Literal["textbook", "prediction", "guaranteed"]
METHODS: tuple[Method, ...] = ("textbook", "prediction", "guaranteed")
THREE_SIGMA_RATE = 2.0 * float(ndtr(-3.0))  # 0.0026998: two-sided false-alarm rate of three-sigma limits
# common practice where a rate is guaranteed: one baseline in ten may miss it
DEFAULT_CONFIDENCE = 0.90
LEAST_PERCENT = 50.0  # a confidence from here on is read as a percentage; 2 is a slip, not 2 %


@dataclass(frozen=True, slots=True)
class LimitRule:
    """Which kind of limit, for which false-alarm rate, and with which confidence it is guaranteed."""

    method: Method = "textbook"
    confidence: float = DEFAULT_CONFIDENCE
    rate: float = THREE_SIGMA_RATE

    @classmethod
    def parse(cls, text: str, rate: float = THREE_SIGMA_RATE) -> LimitRule:
        """Read `textbook`, `prediction`, `guaranteed` or `guaranteed:CONFIDENCE`.

        Raises
        ------
        StatisticsUsageError
            Another word, or a confidence that is not a share between 0 and 1 (or a percentage up to 100).

        Examples
        --------
        >>> LimitRule.parse("guaranteed:95").confidence
        0.95
        """
        name, _, given = text.partition(":")
        matches = [method for method in METHODS if method == name.strip()]
        if not matches or (given and matches[0] != "guaranteed"):
            known = "textbook, prediction, guaranteed or guaranteed:CONFIDENCE"
            raise StatisticsUsageError(f"limits {text!r} are not known: use {known}")
        confidence = _confidence(given) if given else DEFAULT_CONFIDENCE
        return cls(method=matches[0], confidence=confidence, rate=rate)

    def factor(self, center_points: float = math.inf, sigma_df: float = math.inf) -> float:
        """Multiplier, about 3, of the sd of a plotted point, given what centre and sigma rest on.

        Parameters
        ----------
        center_points : float
            Variance of a point over variance of the centre: the number of points for a plain mean, infinite
            for a centre that was given.
        sigma_df : float
            Degrees of freedom of sigma, infinite for a sigma that was given.

        Raises
        ------
        StatisticsError
            Fewer than one point or one degree of freedom.

        References
        ----------
        .. [1] Hahn & Meeker, "Statistical Intervals", 1991 (prediction interval for one further reading).
        .. [2] Goedhart, Schoonhoven & Does, J. Quality Technology 49 (2017): the guaranteed factor, which is
           the exact two-sided normal tolerance factor.

        Examples
        --------
        >>> round(LimitRule("prediction").factor(5, 4), 2)
        7.25
        >>> round(LimitRule("guaranteed").factor(10, 9), 2)
        4.6
        """
        if not (center_points >= 1 and sigma_df >= 1):
            raise StatisticsError(
                f"limits rest on {center_points:g} points and {sigma_df:g} degrees of freedom: "
                "at least two points are needed"
            )
        known = float(ndtri(1 - self.rate / 2))
        if self.method == "textbook" or (math.isinf(center_points) and math.isinf(sigma_df)):
            return known
        if self.method == "prediction":
            # t allows for the error of sigma, the root for that of the centre
            quantile = known if math.isinf(sigma_df) else float(stdtrit(sigma_df, 1 - self.rate / 2))
            return quantile * math.sqrt(1 + 1 / center_points)
        return self._guaranteed(center_points, sigma_df, known)

    def _guaranteed(self, center_points: float, sigma_df: float, known: float) -> float:
        """Choose the exact factor for what is uncertain: sigma, the centre, or both."""
        if math.isinf(center_points):  # only sigma is uncertain: its lower chi-square bound
            return known * math.sqrt(sigma_df / float(chdtri(sigma_df, self.confidence)))
        if math.isinf(sigma_df):  # only the centre is uncertain: the widest limit its error calls for
            error = float(ndtri((1 + self.confidence) / 2)) / math.sqrt(center_points)
            return float(half_widths(np.array([error]), 1 - self.rate)[0])
        return tolerance_factor(center_points, 1 - self.rate, self.confidence, df=sigma_df)


def _confidence(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    share = value / 100 if value >= LEAST_PERCENT else value
    if not 0 < share < 1:
        raise StatisticsUsageError(f"confidence {text!r} must be a share between 0 and 1, such as 0.9")
    return share

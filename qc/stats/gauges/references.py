"""Bias and linearity of a gauge against references."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from qc.intervals import digits_words
from qc.stats.charts import fit_trend
from qc.stats.errors import StatisticsError
from qc.stats.numbers import Interval, as_readings, check_between
from qc.stats.tabled import Tabled, plain


@dataclass(frozen=True, slots=True)
class Bias(Tabled):
    """Bias at one reference.

    Attributes
    ----------
    reference : float
        Value of the reference. [unit of the readings]
    n : int
        Readings.
    bias : float
        Mean reading less reference. [unit]
    interval : (float, float) or None
        Confidence interval of the bias; None for a single reading. [unit]
    clear : bool
        Whether the interval leaves 0 out.
    """

    reference: float
    n: int
    bias: float
    interval: Interval | None
    clear: bool


@dataclass(frozen=True, slots=True)
class FittedLine(Tabled):
    """Straight line through points, with the errors of its figures.

    Attributes
    ----------
    slope, intercept : float
        Of the line. [y per x; y]
    slope_error, intercept_error : float
        Standard errors. [same]
    residual_sd : float
        Spread of the points about the line. [y]
    df : int
        Degrees of freedom, n - 2.
    r_squared : float
        Share of the spread that the line takes, 0..1.
    f : float or None
        F ratio of the line; None when the points lie on it.
    """

    slope: float
    intercept: float
    slope_error: float
    intercept_error: float
    residual_sd: float
    df: int
    r_squared: float
    f: float | None


@dataclass(frozen=True, slots=True)
class Linearity(Tabled):
    """Bias over the range of a gauge.

    Attributes
    ----------
    biases : tuple of Bias
        At each reference, rising.
    line : FittedLine
        Bias against reference.
    slope_interval : (float, float)
        Of the slope; a slope that is clear means the scale is off. [1]
    scale_off : bool
        Whether the slope's interval leaves 0 out.
    zero_off : bool
        Whether the mean bias over all references is clear.
    mean_bias : float
        Mean over all readings. [unit]
    verdict : str
        The finding in a sentence.
    """

    ROWS = "references"

    biases: tuple[Bias, ...]
    line: FittedLine
    slope_interval: Interval
    scale_off: bool
    zero_off: bool
    mean_bias: float
    verdict: str

    def to_dict(self) -> dict[str, object]:
        """Return plain values."""
        return {
            "references": plain(self.biases),
            "slope": self.line.slope,
            "intercept": self.line.intercept,
            "slope_interval": list(self.slope_interval),
            "residual_sd": self.line.residual_sd,
            "mean_bias": self.mean_bias,
            "scale_off": self.scale_off,
            "zero_off": self.zero_off,
            "verdict": self.verdict,
        }


def gauge_bias(readings: ArrayLike, reference: float, *, confidence: float = 0.95) -> Bias:
    """Bias of a gauge at one reference, with Student's interval.

    Parameters
    ----------
    readings : array_like of float, length n >= 1
        Repeated readings of the reference. [any unit]
    reference : float
        Its value. [same unit]
    confidence : float, 0..1
        Confidence of the interval.

    Raises
    ------
    StatisticsError
        No readings, a reference that is not a number, or a confidence outside 0..1.

    References
    ----------
    .. [1] Student's t for the mean of n readings.

    Examples
    --------
    >>> found = gauge_bias([10.02, 10.01, 10.03, 10.02], 10.0)
    >>> round(found.bias, 3), found.clear
    (0.02, True)
    """
    values = as_readings(readings, f"bias at {reference}: value", least=1)
    if not math.isfinite(reference):
        raise StatisticsError(f"bias: reference is {reference}, must be a number")
    check_between(confidence, "bias: confidence")
    bias = float(np.mean(values - reference))
    if values.size == 1:
        return Bias(reference, 1, bias, None, False)
    t = float(special.stdtrit(values.size - 1, (1.0 + confidence) / 2.0))
    reach = t * float(values.std(ddof=1)) / math.sqrt(values.size)
    return Bias(reference, int(values.size), bias, (bias - reach, bias + reach), abs(bias) > reach)


def fit_line(x: ArrayLike, y: ArrayLike) -> FittedLine:
    """Least-squares line: slope, intercept and their errors.

    Parameters
    ----------
    x, y : array_like of float, length n >= 3
        Points; x must vary. [any units]

    Raises
    ------
    StatisticsError
        Lengths that differ, fewer than three points, or x that does not vary.

    References
    ----------
    .. [1] NIST StRD linear regression sets (Norris).

    Examples
    --------
    >>> line = fit_line([0.0, 1.0, 2.0, 3.0], [1.0, 3.0, 5.0, 7.0])
    >>> round(line.slope, 9), round(line.intercept, 9), line.df
    (2.0, 1.0, 2)
    """
    points, heights = as_readings(x, "line: x", least=3), as_readings(y, "line: y", least=3)
    if points.size != heights.size:
        raise StatisticsError(
            f"line: {points.size} x and {heights.size} y; one of each is needed for every point"
        )
    if np.ptp(points) == 0.0:
        raise StatisticsError("line: all x are equal; references that differ are needed")
    found = fit_trend(points, heights)
    taken = found.slope**2 * found.square_x
    around = float(np.sum((heights - found.at(points)) ** 2))
    whole = float(np.sum((heights - found.mean_y) ** 2))
    return FittedLine(
        slope=found.slope,
        intercept=found.intercept,
        slope_error=found.slope_se,
        intercept_error=found.intercept_se,
        residual_sd=found.sd,
        df=found.df,
        r_squared=1.0 - around / whole if whole > 0 else 1.0,
        f=taken / found.sd**2 if found.sd > 0 else None,
    )


def linearity(readings: ArrayLike, references: Sequence[float], *, confidence: float = 0.95) -> Linearity:
    """Bias of a gauge over its range: zero off, scale off, or neither.

    Parameters
    ----------
    readings : array_like of float, length n >= 3
        Readings. [any unit]
    references : sequence of float, length n
        Value of the reference behind each reading; at least two values. [same unit]
    confidence : float, 0..1
        Confidence of each interval.

    Raises
    ------
    StatisticsError
        Lengths that differ, too few readings, or a single reference.

    References
    ----------
    .. [1] Regression of bias on reference, as `fit_line`; NIST/SEMATECH e-Handbook 2.4.5.2 asks the same.

    Examples
    --------
    >>> found = linearity([10.00, 10.01, 20.02, 20.03, 30.04, 30.05], [10.0, 10.0, 20.0, 20.0, 30.0, 30.0])
    >>> round(found.line.slope, 4), found.scale_off
    (0.002, True)
    """
    values = as_readings(readings, "linearity: value", least=3)
    known = as_readings(references, "linearity: reference", least=3)
    check_between(confidence, "bias: confidence")
    off = values - known if values.size == known.size else values
    line = fit_line(known, off)
    t = float(special.stdtrit(line.df, (1.0 + confidence) / 2.0))
    reach = t * line.slope_error
    biases = tuple(
        gauge_bias(values[known == reference], float(reference), confidence=confidence)
        for reference in np.unique(known)
    )
    # about the mean of the references the line is the mean bias, and there its error is least
    mean_bias = float(off.mean())
    zero_off = abs(mean_bias) > t * line.residual_sd / math.sqrt(values.size)
    scale_off = abs(line.slope) > reach
    return Linearity(
        biases=biases,
        line=line,
        slope_interval=(line.slope - reach, line.slope + reach),
        scale_off=scale_off,
        zero_off=zero_off,
        mean_bias=mean_bias,
        verdict=_verdict(scale_off, zero_off, mean_bias, line.slope),
    )


def _verdict(scale_off: bool, zero_off: bool, mean_bias: float, slope: float) -> str:
    """Say the finding in a sentence."""
    if scale_off:
        return (
            f"The scale is off: the gauge reads {digits_words(1000.0 * slope, 3, signed=True)} in "
            "1,000 wrong as the size grows. "
            "Have it mended; re-zeroing alone does not help."
        )
    if zero_off:
        off = digits_words(mean_bias, 4, signed=True)
        return f"The zero is off by {off} over the whole range. Re-zero on the reference and repeat."
    return "Neither zero nor scale is seen to be off."

"""`qc factors`: chart constants for a subgroup size, and limit factors for a number of pieces."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass

from qc.plain import JsonObject, as_meant
from qc.report.terminal import chart_factors_text, limit_factors_text, t2_limits_text
from qc.stats import (
    THREE_SIGMA_RATE,
    Factors,
    LimitRule,
    StatisticsError,
    StatisticsUsageError,
    Tabled,
    factors,
    guaranteed_factor,
    howe_factor,
    natrella_factor,
    phase_one_limit,
    phase_two_limit,
    prediction_factor,
    tolerance_confidence,
    tolerance_factor,
)
from qc.stats.numbers import check_share

KNOWN = ("center", "sigma")
_TEXTBOOK = 3.0


@dataclass(frozen=True, slots=True)
class ChartFactors(Tabled):
    """Constants and chart factors by sample size."""

    ROWS = "factors"

    rows: tuple[Factors, ...]

    def to_dict(self) -> JsonObject:
        """Return the object that `--json` prints."""
        return {"kind": "chart", "factors": [row.to_dict() for row in self.rows]}

    def to_text(self) -> str:
        """Return a sentence for the first size, and a table with a factor a line."""
        return chart_factors_text(self.rows)


@dataclass(frozen=True, slots=True)
class PieceFactors:
    """Limit factors from so many pieces, in standard deviations; None where one does not exist.

    Attributes
    ----------
    n : int
        Pieces.
    tolerance, prediction, guaranteed : float or None
        Holds the content with the confidence; holds further pieces with chance content; keeps the false-alarm
        rate with the confidence.
    confidence_of : float or None
        Confidence with which the factor asked about holds the content.
    approximate : float or None
        The printed approximation of the tolerance factor: Howe for two limits, Natrella for one.
    """

    n: int
    tolerance: float
    prediction: float
    guaranteed: float | None
    confidence_of: float | None
    approximate: float | None


@dataclass(frozen=True, slots=True)
class LimitFactors(Tabled):
    """Limit factors by number of pieces, with what they promise.

    Attributes
    ----------
    content, confidence, rate : float
        Share to be held, confidence of the promise, false-alarm rate.
    sides : int
        Limits: 1 or 2.
    k : float
        Factor whose confidence is given.
    known : str, optional
        What is known and not estimated: `center` or `sigma`.
    future : int
        Further pieces whose mean is predicted.
    rows : tuple of PieceFactors
        One a number of pieces.
    """

    ROWS = "factors"

    content: float
    confidence: float
    rate: float
    sides: int
    k: float
    known: str | None
    future: int
    rows: tuple[PieceFactors, ...]

    def to_dict(self) -> JsonObject:
        """Return the object that `--json` prints."""
        asked = {name: getattr(self, name) for name in ("content", "confidence", "rate", "sides", "k")}
        rows = [asdict(row) for row in self.rows]
        return {"kind": "limits", **asked, "known": self.known, "future": self.future, "factors": rows}

    def to_text(self) -> str:
        """Return a sentence for the first number of pieces, and a table with one a line."""
        return limit_factors_text(self.to_dict())


@dataclass(frozen=True, slots=True)
class T2Limits(Tabled):
    """Limits of T2 for several figures at once, by number of points in the baseline."""

    ROWS = "limits"

    figures: int
    rate: float
    rows: tuple[tuple[int, float, float], ...]

    def to_dict(self) -> JsonObject:
        """Return the object that `--json` prints."""
        rows = [{"points": n, "baseline": first, "later": second} for n, first, second in self.rows]
        return {"kind": "t2", "figures": self.figures, "rate": self.rate, "limits": rows}

    def to_text(self) -> str:
        """Return a sentence for the first number of points, and a table with one a line."""
        return t2_limits_text(self.figures, self.rate, self.rows)


def chart_factors(sizes: Sequence[int]) -> ChartFactors:
    """Chart constants and factors for sample sizes.

    Parameters
    ----------
    sizes : sequence of int
        Readings in a sample, 2 to 100.

    Returns
    -------
    ChartFactors
        With `to_dict()` and `to_text()`.

    Raises
    ------
    StatisticsError
        A size outside 2..100.

    Examples
    --------
    >>> round(chart_factors([5]).rows[0].A2, 3)
    0.577
    """
    return ChartFactors(tuple(factors(n) for n in sizes))


@as_meant
def limit_factors(
    pieces: Sequence[int],
    *,
    content: float = 1.0 - THREE_SIGMA_RATE,
    confidence: float = 0.9,
    rate: float | None = None,
    sides: int = 2,
    k: float = _TEXTBOOK,
    known: str | None = None,
    df: float | None = None,
    future: int = 1,
) -> LimitFactors:
    """Tolerance, prediction and guaranteed factors from few pieces.

    Parameters
    ----------
    pieces : sequence of int
        Pieces that the mean rests on.
    content, confidence : float, 0..1
        Share to be held, and the confidence of the promise.
    rate : float, optional
        False-alarm rate of the guaranteed factor; 1 - content when left out.
    sides : {1, 2}
        One limit or two.
    k : float
        Factor whose own confidence is given.
    known : {"center", "sigma"}, optional
        What is known and not estimated (two limits).
    df : float, optional
        Degrees of freedom of the sd; pieces - 1 when left out.
    future : int
        Predict the mean of this many further pieces.

    Returns
    -------
    LimitFactors
        With `to_dict()` and `to_text()`.

    Raises
    ------
    StatisticsUsageError
        Something known that is neither, or that does not go with the other options.
    StatisticsError
        Too few pieces or a share out of range.

    Examples
    --------
    >>> round(limit_factors([43], content=0.90, confidence=0.99, sides=1).rows[0].tolerance, 6)
    1.873954
    """
    if known is not None and known not in KNOWN:
        raise StatisticsUsageError(f"known is {known!r}: use center or sigma")
    if known is not None and (sides == 1 or future > 1):
        raise StatisticsUsageError("a known centre or sigma goes with two limits and one further piece only")
    if known == "sigma" and df is not None:
        raise StatisticsUsageError("a known sigma has no degrees of freedom: leave --df out")
    check_share(content, "content")
    check_share(confidence, "confidence")
    if rate is not None:
        check_share(rate, "false-alarm rate")
    asked = 1.0 - content if rate is None else rate
    rows = tuple(_row(n, content, confidence, asked, sides, k, known, df, future) for n in pieces)
    return LimitFactors(content, confidence, asked, sides, k, known, future, rows)


@as_meant
def t2_limits(points: Sequence[int], figures: int, rate: float = THREE_SIGMA_RATE) -> T2Limits:
    """Limits of T2 within a baseline and afterwards.

    Parameters
    ----------
    points : sequence of int
        Points in the baseline.
    figures : int
        Figures judged together.
    rate : float
        False-alarm rate a point.

    Returns
    -------
    T2Limits
        With `to_dict()` and `to_text()`.

    Raises
    ------
    StatisticsError
        Too few points for so many figures, or a rate out of range.

    Examples
    --------
    >>> round(t2_limits([30], 3, 0.005).rows[0][2], 3)
    17.851
    """
    rows = tuple((n, phase_one_limit(figures, n, rate), phase_two_limit(figures, n, rate)) for n in points)
    return T2Limits(figures, rate, rows)


def _row(
    n: int,
    content: float,
    confidence: float,
    rate: float,
    sides: int,
    k: float,
    known: str | None,
    df: float | None,
    future: int,
) -> PieceFactors:
    """All factors from one number of pieces."""
    if known is not None:
        center = math.inf if known == "center" else float(n)
        sigma = math.inf if known == "sigma" else float(n - 1 if df is None else df)
        tolerance = LimitRule("guaranteed", confidence, 1.0 - content).factor(center, sigma)
        prediction = LimitRule("prediction", confidence, 1.0 - content).factor(center, sigma)
        guaranteed = LimitRule("guaranteed", confidence, rate).factor(center, sigma)
        return PieceFactors(n, tolerance, prediction, guaranteed, None, None)
    tolerance = tolerance_factor(n, content, confidence, sides=sides, df=df)
    prediction = prediction_factor(n, content, sides=sides, df=df, future=future)
    if sides == 1:
        approximate = None if df is not None else _natrella(n, content, confidence)
        return PieceFactors(n, tolerance, prediction, None, None, approximate)
    guaranteed = guaranteed_factor(n, rate, confidence, df=df)
    held = tolerance_confidence(n, k, content, df=df)
    return PieceFactors(
        n, tolerance, prediction, guaranteed, held, howe_factor(n, content, confidence, df=df)
    )


def _natrella(n: int, content: float, confidence: float) -> float | None:
    """Give the printed approximation; None where the pieces are too few for it."""
    try:
        return natrella_factor(n, content, confidence)
    except StatisticsError:
        return None

"""What a capability question is made of and what it answers: limits, figures, intervals, verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from qc.stats.capable.spread import FIGURES, GaugeShare, Spread, no_share
from qc.stats.errors import StatisticsError
from qc.stats.numbers import GREATEST, Interval
from qc.stats.tabled import Tabled
from qc.words import places_words

Verdict = Literal["proven", "unproven", "no"]


@dataclass(frozen=True, slots=True)
class Limits:
    """Specification limits of a characteristic, checked; either may be missing, not both.

    Attributes
    ----------
    lower, upper : float or None
        Limits. [unit of the characteristic]
    target : float or None
        Wanted value, inside the limits. [same unit]
    """

    lower: float | None
    upper: float | None
    target: float | None = None

    def __post_init__(self) -> None:
        """Refuse limits that make no question here, so that nobody who is handed `Limits` has to."""
        for name, value in (
            ("lower limit", self.lower),
            ("upper limit", self.upper),
            ("target", self.target),
        ):
            if value is not None and not abs(value) <= GREATEST:
                raise StatisticsError(f"capability: {name} is {value}, must be a number")
        if self.lower is None and self.upper is None:
            raise StatisticsError("capability: no limit given, a lower or an upper one is needed")
        if self.lower is not None and self.upper is not None and not self.lower < self.upper:
            raise StatisticsError(
                f"capability: lower limit {self.lower:g} is not below upper limit {self.upper:g}; "
                "exchange or correct them"
            )
        if self.target is not None and not (
            (self.lower is None or self.lower <= self.target)
            and (self.upper is None or self.target <= self.upper)
        ):
            raise StatisticsError(f"capability: target {self.target:g} lies outside the limits; correct it")

    @property
    def sides(self) -> int:
        """One limit or two."""
        return 1 if self.lower is None or self.upper is None else 2

    def width_over(self, spread: float) -> float | None:
        """Tolerance over six spreads (Cp, Pp, Cpm); none with one limit."""
        if self.lower is None or self.upper is None:
            return None
        return (self.upper - self.lower) / (6.0 * spread)

    def nearest_over(self, mean: float, spread: float) -> float:
        """Distance of the mean to the nearer limit over three spreads (Cpk, Ppk)."""
        above = math.inf if self.upper is None else (self.upper - mean) / (3.0 * spread)
        below = math.inf if self.lower is None else (mean - self.lower) / (3.0 * spread)
        return min(above, below)


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability(Tabled):
    """Capability of one characteristic; a figure that cannot be given is None and `reason` says why.

    Attributes
    ----------
    n : int
        Pieces.
    cp, cpk, cpm, pp, ppk : float or None
        The figures. Cp and Cpk use the chart's sigma, the others the sample sd. [1]
    cp_interval, cpk_interval, cpm_interval, pp_interval, ppk_interval : (float, float) or None
        Two-sided intervals at `confidence`. [1]
    ppk_bounds : (float, float) or None
        One-sided lower and upper bound of Ppk, each at `confidence`: the verdict rests on them. [1]
    confidence : float
        Confidence of intervals and bounds.
    outside_ppm : float or None
        Expected pieces outside in a million. [ppm]
    outside_interval : (float, float) or None
        Its two-sided interval. [ppm]
    reason : str or None
        Why the figures are withheld.
    method : str
        How the figures were made.
    capable : str
        `proven`, `unproven` or `no`.
    wanted : float
        Ppk that the verdict is held against. [1]
    pieces_to_settle : int or None
        Further pieces that would settle an `unproven`, if they were like these; 0 when settled.
    gauge : GaugeShare or None
        Part of the gauge, where its own spread is known.
    spread : Spread or None
        Spread within and between pieces, where pieces have several readings.
    """

    n: int
    cp: float | None = None
    cpk: float | None = None
    cpm: float | None = None
    pp: float | None = None
    ppk: float | None = None
    cp_interval: Interval | None = None
    cpk_interval: Interval | None = None
    cpm_interval: Interval | None = None
    pp_interval: Interval | None = None
    ppk_interval: Interval | None = None
    ppk_bounds: Interval | None = None
    confidence: float
    outside_ppm: float | None = None
    outside_interval: Interval | None = None
    reason: str | None = None
    method: str
    capable: Verdict
    wanted: float
    pieces_to_settle: int | None
    gauge: GaugeShare | None = None
    spread: Spread | None = None

    def to_dict(self) -> dict[str, object]:
        """Return the agreed plain form: figures, their intervals, what lies outside, verdict.

        `gauge` and `spread` are there only where they were asked for or can be told.
        """
        plain = Tabled.to_dict(self)
        beside = ("confidence", "outside_ppm", "outside_interval", "reason", "method", "capable")
        out = {name: plain[name] for name in FIGURES}
        out["intervals"] = {name: plain[f"{name}_interval"] for name in FIGURES}
        out |= {name: plain[name] for name in beside}
        for name in ("spread", "gauge"):
            if plain[name] is not None:
                out[name] = plain[name]
        return out

    @property
    def sentences(self) -> tuple[str, ...]:
        """Return the verdict, then what can be said of the spread and of the gauge, a sentence each."""
        beside = [part.sentence for part in (self.spread, self.gauge) if part is not None]
        return (self.sentence, *beside)

    @property
    def sentence(self) -> str:
        """Return the verdict in one plain sentence."""
        if self.reason is not None or self.ppk is None or self.ppk_interval is None:
            return f"Capability withheld: {self.reason}."
        low, high = self.ppk_interval
        sure = (
            f"{100.0 * self.confidence:g} % sure between {places_words(low, 2)} and {places_words(high, 2)}"
        )
        figure = f"Ppk {places_words(self.ppk, 2)} from {self.n} pieces, {sure}"
        if self.capable == "proven":
            return f"Proven: {figure}; {self.wanted:.2f} is wanted."
        if self.capable == "no":
            return f"Not capable: {figure}; {self.wanted:.2f} is wanted."
        if self.pieces_to_settle is None:
            return f"Unproven: {figure}; too near the wanted {self.wanted:.2f} for more pieces to settle it."
        return f"Unproven: {figure}; about {self.pieces_to_settle} more pieces like these would settle it."


def verdict(bounds: Interval, wanted: float) -> Verdict:
    """Turn the one-sided bounds of Ppk into a verdict: `proven`, `unproven` or `no`.

    Parameters
    ----------
    bounds : (float, float)
        Lower and upper bound. [1]
    wanted : float
        Wanted Ppk. [1]

    Raises
    ------
    StatisticsError
        Bounds the wrong way round or not numbers.

    References
    ----------
    .. [1] The rule is ours: proven when the lower bound reaches the wanted value, no when the upper bound is
       below it.

    Examples
    --------
    >>> verdict((0.93, 1.37), 1.0), verdict((1.0, 1.4), 1.0), verdict((0.5, 0.99), 1.0)
    ('unproven', 'proven', 'no')
    """
    low, high = bounds
    if not low <= high:
        raise StatisticsError(
            f"capability verdict: bounds {low} and {high} are the wrong way round or missing"
        )
    if low >= wanted:
        return "proven"
    return "no" if high < wanted else "unproven"


def withheld(
    n: int, reason: str, wanted: float, confidence: float, more: int | None, gauge_sd: float | None = None
) -> Capability:
    """Withhold every figure, with the reason; the verdict is `unproven`.

    Parameters
    ----------
    n : int
        Pieces.
    reason : str
        Why.
    wanted : float
        Wanted Ppk. [1]
    confidence : float
        Confidence that was asked for.
    more : int or None
        Further pieces that would settle the question.
    gauge_sd : float or None
        Spread of the gauge, where it was given. [unit of the characteristic]

    Examples
    --------
    >>> withheld(7, "7 pieces are too few: at least 20 are needed", 1.0, 0.95, None).sentence
    'Capability withheld: 7 pieces are too few: at least 20 are needed.'
    """
    return Capability(
        n=n,
        confidence=confidence,
        reason=reason,
        method="withheld",
        capable="unproven",
        wanted=wanted,
        pieces_to_settle=more,
        gauge=None if gauge_sd is None else no_share(gauge_sd, confidence),
    )

"""What is shown beside capability: the gauge's part of the spread, spread within and between pieces."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from qc.stats.numbers import Interval
from qc.stats.tabled import Tabled
from qc.words import places_words

FIGURES = ("cp", "cpk", "cpm", "pp", "ppk")
"""The figures of capability, by the names of their fields."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeShare(Tabled):
    """The gauge's part of the spread that is seen, and the capability of the pieces behind it.

    Attributes
    ----------
    sd : float
        Spread of the gauge. [unit of the characteristic]
    share_of_variance : float or None
        Gauge variance over the variance of the readings; None while capability is withheld.
    cp, cpk, pp, ppk : float or None
        What a perfect gauge would show. [1]
    ppk_interval : (float, float) or None
        Two-sided interval of that Ppk at `confidence`. [1]
    confidence : float
        Confidence of the interval.
    reason : str or None
        Why there are no figures.
    share_of_within : float or None
        Gauge variance over the variance within pieces, where that is known.
    of : str
        What the readings are nested in.
    doubtful : bool
        Whether the spread within pieces is smaller than such a gauge could leave (1 time in 20 by chance).
    """

    sd: float
    share_of_variance: float | None = None
    cp: float | None = None
    cpk: float | None = None
    pp: float | None = None
    ppk: float | None = None
    ppk_interval: Interval | None = None
    confidence: float
    reason: str | None = None
    share_of_within: float | None = None
    of: str = "pieces"
    doubtful: bool = False

    def to_dict(self) -> dict[str, object]:
        """Return plain values; the share of the spread within only where pieces have several readings."""
        names = ("sd", "share_of_variance", "cp", "cpk", "pp", "ppk")
        interval = None if self.ppk_interval is None else list(self.ppk_interval)
        out: dict[str, object] = {name: getattr(self, name) for name in names}
        out |= {"intervals": {"ppk": interval}, "reason": self.reason}
        if self.share_of_within is not None:
            out["share_of_within"] = self.share_of_within
        return out

    @property
    def sentence(self) -> str:
        """Return the finding in one plain sentence."""
        if self.share_of_variance is None:
            return f"What the gauge adds is not said: {self.reason}."
        if self.ppk is None or self.ppk_interval is None:
            if self.share_of_variance >= 1.0:
                return f"{str(self.reason)[:1].upper()}{str(self.reason)[1:]}."
            return f"The gauge makes {_percent(self.share_of_variance)} of the variance seen; {self.reason}."
        low, high = self.ppk_interval
        said = (
            f"The gauge makes {_percent(self.share_of_variance)} of the variance seen; with a perfect gauge "
            f"Ppk would be {places_words(self.ppk, 2)} ({100.0 * self.confidence:g} % sure: "
            f"{places_words(low, 2)} to {places_words(high, 2)})."
        )
        if self.doubtful:
            said += f" It is larger than all spread within {self.of}: check the gauge's sd."
        return said


@dataclass(frozen=True, slots=True)
class Spread(Tabled):
    """Spread within pieces, between pieces and in all, with the capability by each.

    Attributes
    ----------
    within, between, total : float or None
        Standard deviations; `within` None where no piece has two readings. [unit of the characteristic]
    cp, cpk : mapping of "within", "between", "total" to float or None
        Cp and Cpk if only this spread were there; None for a spread that is 0 or unknown, Cp with one limit,
        and while capability is withheld. [1]
    of : str
        What the readings are nested in: `pieces` or `subgroups`.
    """

    within: float | None
    between: float
    total: float
    cp: Mapping[str, float | None]
    cpk: Mapping[str, float | None]
    of: str = "pieces"

    def to_dict(self) -> dict[str, object]:
        """Return plain values: the three sds, then Cp and Cpk by each."""
        return {name: value for name, value in Tabled.to_dict(self).items() if name != "of"}

    @property
    def sentence(self) -> str:
        """Return where the spread lies, in one plain sentence, with what would be left of it."""
        if self.within is None:
            return f"The spread within {self.of} is unknown: two readings of one are needed."
        if self.total == 0.0:
            return "All readings are equal: there is no spread to tell apart."
        between = self.between**2 / self.total**2
        said = (
            f"Spread (sd) within {self.of} {self.within:.4g}, between {self.of} {self.between:.4g}, in all "
            f"{self.total:.4g}: {_percent(between)} of the variance lies between {self.of}."
        )
        alike = self.cpk["within"]
        if alike is not None and self.between > 0.0:
            said += f" If all {self.of} had the same mean, Cpk would be {places_words(alike, 2)}."
        return said


def no_share(gauge_sd: float, confidence: float) -> GaugeShare:
    """Say that nothing is said of the gauge's part while capability itself is withheld.

    Examples
    --------
    >>> no_share(0.2, 0.95).share_of_variance is None
    True
    """
    return GaugeShare(sd=gauge_sd, confidence=confidence, reason="capability is withheld")


def _percent(share: float) -> str:
    """Write a share as a person does."""
    return f"{100.0 * share:.0f} %"

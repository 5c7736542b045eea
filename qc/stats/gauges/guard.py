"""Guard bands: accept, reject, or say "not proven" near a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from qc.stats.errors import StatisticsError
from qc.stats.tabled import Tabled


@dataclass(frozen=True, slots=True)
class GuardBand(Tabled):
    """Limits with an uncertainty taken off them.

    Attributes
    ----------
    lower, upper : float or None
        Specification limits. [unit of the characteristic]
    uncertainty : float
        Expanded uncertainty U (k = 2: about 95 %). [same unit]
    """

    lower: float | None
    upper: float | None
    uncertainty: float

    @property
    def accept(self) -> tuple[float | None, float | None]:
        """Zone in which a reading proves the piece good; None where there is no limit."""
        low = None if self.lower is None else self.lower + self.uncertainty
        high = None if self.upper is None else self.upper - self.uncertainty
        return low, high

    @property
    def possible(self) -> bool:
        """Whether the band leaves an acceptance zone at all."""
        low, high = self.accept
        return low is None or high is None or low <= high

    def judge(self, reading: float) -> str:
        """Judge one reading: `accept`, `reject`, or `not proven` within the uncertainty of a limit."""
        if not math.isfinite(reading):
            raise StatisticsError(f"guard band: reading is {reading}, must be a number")
        low, high = self.accept
        if (low is None or reading >= low) and (high is None or reading <= high):
            return "accept"
        beyond_low = self.lower is not None and reading < self.lower - self.uncertainty
        beyond_high = self.upper is not None and reading > self.upper + self.uncertainty
        return "reject" if beyond_low or beyond_high else "not proven"

    def to_dict(self) -> dict[str, object]:
        """Return plain values, the zone of acceptance among them."""
        return Tabled.to_dict(self) | {"accept": list(self.accept), "possible": self.possible}


def guard_band(
    *, lower: float | None = None, upper: float | None = None, uncertainty: float | None = None,
    gauge_sd: float | None = None, coverage: float = 2.0,
) -> GuardBand:  # fmt: skip
    """Take the uncertainty of measuring off the limits.

    Parameters
    ----------
    lower, upper : float, optional
        Specification limits, at least one. [unit of the characteristic]
    uncertainty : float, optional
        Expanded uncertainty U. [same unit]
    gauge_sd : float, optional
        Spread of the gauge, instead of the uncertainty: U = coverage * gauge_sd. [same unit]
    coverage : float, > 0
        Coverage factor.

    Raises
    ------
    StatisticsError
        No limit, limits the wrong way round, or not exactly one of `uncertainty` and `gauge_sd`.

    Notes
    -----
    A supplier proves conformity inside the limits less U, a customer the contrary outside the limits plus U;
    in between neither is proven. A workshop may decide to accept on the plain limits, but must say so.

    References
    ----------
    .. [1] ISO 14253-1, decision rules (pattern read in summaries).

    Examples
    --------
    >>> band = guard_band(lower=100.0, upper=200.0, uncertainty=8.0)
    >>> band.accept, band.judge(195.0), band.judge(209.0)
    ((108.0, 192.0), 'not proven', 'reject')
    """
    if lower is None and upper is None:
        raise StatisticsError("guard band: no limit given, a lower or an upper one is needed")
    for name, value in (("lower limit", lower), ("upper limit", upper)):
        if value is not None and not math.isfinite(value):
            raise StatisticsError(f"guard band: {name} is {value}, must be a number")
    if lower is not None and upper is not None and not lower < upper:
        raise StatisticsError(f"guard band: lower limit {lower:g} is not below upper limit {upper:g}")
    if (uncertainty is None) == (gauge_sd is None):
        raise StatisticsError("guard band: give either the expanded uncertainty or the gauge's sd")
    width = uncertainty if uncertainty is not None else coverage * (gauge_sd or 0.0)
    if not (math.isfinite(width) and width >= 0):
        raise StatisticsError(f"guard band: uncertainty is {width}, must be at least 0")
    return GuardBand(lower, upper, width)

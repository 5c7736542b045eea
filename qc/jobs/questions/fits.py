"""`qc fit`: what the limits of a hole and a shaft promise before either is made."""

from __future__ import annotations

from dataclasses import dataclass

from qc.plain import JsonObject, as_meant
from qc.report.terminal import fit_text
from qc.stats import Tabled
from qc.trade import LimitFit, limit_fit


@dataclass(frozen=True, slots=True)
class FitOfLimits(Tabled):
    """A fit with the limit deviations it follows from. [um]."""

    fit: LimitFit
    hole_um: tuple[float, float]
    shaft_um: tuple[float, float]

    def to_dict(self) -> JsonObject:
        """Return the object that `--json` prints."""
        ends = {"hole_um": list(self.hole_um), "shaft_um": list(self.shaft_um)}
        return {**self.fit.to_dict(), **ends}

    def to_text(self) -> str:
        """Return the kind of fit and its clearances in a sentence each."""
        return fit_text(self.fit, self.hole_um, self.shaft_um)


@as_meant
def fit_of_limits(hole_um: tuple[float, float], shaft_um: tuple[float, float]) -> FitOfLimits:
    """Give the fit that two pairs of limit deviations promise.

    Parameters
    ----------
    hole_um, shaft_um : (float, float)
        Deviations from the nominal size, in either order. [um]

    Raises
    ------
    TradeError
        A deviation that is not a finite number.
    """
    hole = min(hole_um), max(hole_um)
    shaft = min(shaft_um), max(shaft_um)
    return FitOfLimits(limit_fit(hole, shaft), hole, shaft)

"""Where along its legs a pair of tubes is tight: the end to look at before anything is lapped."""

from __future__ import annotations

from dataclasses import dataclass

from qc.stats import Tabled
from qc.trade.slide.fit import leg_clearance
from qc.trade.slide.pairing import Tube

EVEN_WITHIN_UM = 3.0
"""Stations that differ by less are said to be even: a bore gauge reads no finer (planning value)."""


@dataclass(frozen=True, slots=True)
class TightEnd(Tabled):
    """The tightest place of a pair, and how much looser its loosest is.

    Parameters
    ----------
    inner, outer : str
        The pair.
    leg, station : str
        Where it is tightest; `leg` is empty where the tubes have one.
    um : float
        Mean clearance there. [um]
    looser_um : float
        How much more the loosest place of the pair has. [um]
    """

    inner: str
    outer: str
    leg: str
    station: str
    um: float
    looser_um: float

    @property
    def even(self) -> bool:
        """Whether the clearance is the same at every place, as far as a gauge can tell."""
        return self.looser_um < EVEN_WITHIN_UM


def tight_end(inner: Tube, outer: Tube) -> TightEnd:
    """Say where a pair is tightest, by the bore of each station.

    Parameters
    ----------
    inner, outer : Tube
        Tubes with a leg in common.

    Returns
    -------
    TightEnd
        The place with the least mean clearance.

    References
    ----------
    .. [1] Clearance at a station, mean bore less mean stocking: as `leg_clearance`. Computed.

    Examples
    --------
    >>> inner = Tube("a", {"": {"mouth": [13.900]}})
    >>> outer = Tube("x", {"": {"mouth": [14.058], "crook": [14.041]}})
    >>> end = tight_end(inner, outer)
    >>> end.station, round(end.um, 3), round(end.looser_um, 3)
    ('crook', 141.0, 17.0)
    """
    found = [
        (um, leg, station)
        for leg in outer.readings
        if leg in inner.readings
        for station, um in leg_clearance(outer.readings[leg], inner.readings[leg]).stations
    ]
    um, leg, station = min(found)
    return TightEnd(inner.name, outer.name, leg, station, um, max(found)[0] - um)

"""The fit of a hand slide: clearance between an outer tube's bore and the stocking of the inner.

All diameters in millimetres, all clearances diametral and in micrometres. The stocking is the slightly
swollen working end of the inner tube; its body is about 0.1 mm thinner and takes no part in the fit.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from qc.stats import Tabled
from qc.trade.errors import TradeError
from qc.trade.sound import BRASS_EXPANSION_PER_K

STEEL_EXPANSION_PER_K = 1.15e-5
"""Linear expansion of gauge steel, usual handbook value (from memory)."""

ISO_1_REFERENCE_C = 20.0
"""Reference temperature of ISO 1."""

VOLUME_BALANCE_LIMIT = 0.02
"""Beyond this share a volume balance means a wrong reading: common practice, no source."""

INCH_MM = 25.4


@dataclass(frozen=True, slots=True)
class LegClearance(Tabled):
    """The clearance of one leg of a slide.

    Parameters
    ----------
    least_um, mean_um, greatest_um : float
        Least bore less greatest stocking; difference of the means; greatest bore less least stocking. [um]
    stations : tuple of (str, float)
        Clearance at each station of the bore: its mean bore less the mean stocking. [um]
    least_station : str
        Station with the least bore reading.
    """

    least_um: float
    mean_um: float
    greatest_um: float
    stations: tuple[tuple[str, float], ...]
    least_station: str


@dataclass(frozen=True, slots=True)
class LimitFit(Tabled):
    """What the limits of two parts promise before any part is made.

    Parameters
    ----------
    kind : str
        `clearance` when every pair goes together with room, `interference` when none does, else `transition`.
    least_um, greatest_um : float
        Least and greatest diametral clearance; below 0 is interference. [um]
    spread_um : float
        Tolerance of the fit: the two tolerances together. [um]
    """

    kind: str
    least_um: float
    greatest_um: float
    spread_um: float


def clearance_um(bore_mm: float, stocking_mm: float) -> float:
    """Give the diametral clearance of a bore over a stocking; negative when it does not go in. [um].

    Parameters
    ----------
    bore_mm, stocking_mm : float
        Inside diameter of the outer, outside diameter of the stocking. [mm]

    Raises
    ------
    TradeError
        A diameter that is not a finite number above 0.

    References
    ----------
    .. [1] Definition. Computed.

    Examples
    --------
    >>> round(clearance_um(14.052, 13.897), 1)
    155.0
    """
    for value in (bore_mm, stocking_mm):
        if not (math.isfinite(value) and value > 0):
            raise TradeError(f"{value} mm is not a diameter", "Give diameters in millimetres")
    return 1000.0 * (bore_mm - stocking_mm)


def leg_clearance(
    bores: Mapping[str, Sequence[float]], stockings: Mapping[str, Sequence[float]]
) -> LegClearance:
    """Give least, mean and greatest clearance of one leg, and that at each station of the bore. [um].

    Parameters
    ----------
    bores : mapping of station to sequence of float
        Bore readings of the outer, each direction one reading. [mm]
    stockings : mapping of station to sequence of float
        Stocking readings of the inner. A station named alike in both is set against its own; any other bore
        station against the mean of the stocking, which passes it. [mm]

    Raises
    ------
    TradeError
        No readings on one side, or a reading that is no diameter.

    References
    ----------
    .. [1] Least possible clearance: least bore less greatest stocking over the engaged length. Computed.

    Examples
    --------
    >>> bores = {"mouth": [14.052, 14.046], "middle": [14.050, 14.049], "crook": [14.055, 14.041]}
    >>> stockings = {"upper": [13.897, 13.892], "lower": [13.895, 13.894], "end": [13.899, 13.890]}
    >>> fit = leg_clearance(bores, stockings)
    >>> round(fit.least_um, 1), fit.least_station
    (142.0, 'crook')
    """
    all_bores = [(value, station) for station, values in bores.items() for value in values]
    all_stockings = [value for values in stockings.values() for value in values]
    if not all_bores or not all_stockings:
        side = "stocking" if all_bores else "bore"
        raise TradeError(f"no {side} readings for this leg", "Measure it, or leave the tube out")
    least_bore, least_station = min(all_bores)
    mean_bore = math.fsum(value for value, _ in all_bores) / len(all_bores)
    mean_stocking = math.fsum(all_stockings) / len(all_stockings)
    stations = []
    for station, values in bores.items():
        # the stocking is read at its own places: where none bears the bore's name, the
        # whole of it meets the bore
        mate = stockings.get(station) or all_stockings
        stations.append((station, 1000.0 * (math.fsum(values) / len(values) - math.fsum(mate) / len(mate))))
    return LegClearance(
        least_um=clearance_um(least_bore, max(all_stockings)),
        mean_um=1000.0 * (mean_bore - mean_stocking),
        greatest_um=clearance_um(max(all_bores)[0], min(all_stockings)),
        stations=tuple(stations),
        least_station=least_station,
    )


def per_side_um(diametral_um: float) -> float:
    """Give the clearance on each side, half of the diametral one.

    Examples
    --------
    >>> per_side_um(150.0)
    75.0
    """
    return diametral_um / 2.0


def ovality_um(diameters_mm: Sequence[float]) -> float:
    """Give the ovality of a section: greatest less least diameter, >= 0. [um].

    Two-point readings cannot see a three-lobed tube; roundness of a pure oval is about half of this figure.

    Parameters
    ----------
    diameters_mm : sequence of float, length >= 2
        Readings of one section in several directions. [mm]

    Raises
    ------
    TradeError
        Fewer than two readings.

    References
    ----------
    .. [1] ISO 14405-1 two-point size; the difference of two directions. Computed.

    Examples
    --------
    >>> round(ovality_um([14.055, 14.041]), 1)
    14.0
    """
    if len(diameters_mm) < 2:
        raise TradeError("one direction shows no ovality", "Read the section again at 90 degrees")
    return 1000.0 * (max(diameters_mm) - min(diameters_mm))


def taper_um(stations_mm: Sequence[float]) -> float:
    """Give the taper along a tube: last station less first, + when it opens.

    Examples
    --------
    >>> round(taper_um([14.049, 14.050, 14.053]), 1)
    4.0
    """
    if len(stations_mm) < 2:
        raise TradeError("one station shows no taper", "Read the tube at both ends")
    return 1000.0 * (stations_mm[-1] - stations_mm[0])


def diameter_at_20c(
    diameter_mm: float,
    part_c: float,
    gauge_expansion_per_k: float = 0.0,
    expansion_per_k: float = BRASS_EXPANSION_PER_K,
) -> float:
    """Bring a diameter read warm back to 20 C. [mm].

    Parameters
    ----------
    diameter_mm : float
        As read. [mm]
    part_c : float
        Temperature of part and gauge. [C]
    gauge_expansion_per_k : float
        Expansion of the gauge when as warm as the part (steel 1.15e-5); 0 for one held at 20 C. [1/K]
    expansion_per_k : float
        Expansion of the part. [1/K]

    References
    ----------
    .. [1] ISO 1 for the reference; linear expansion of 70/30 brass from a wire data sheet.

    Examples
    --------
    >>> round(diameter_at_20c(13.9, 26.0), 5)
    13.89834
    """
    return diameter_mm * (1.0 - (expansion_per_k - gauge_expansion_per_k) * (part_c - ISO_1_REFERENCE_C))


def clearance_lost_um(
    diameter_mm: float, inner_warmer_k: float, expansion_per_k: float = BRASS_EXPANSION_PER_K
) -> float:
    """Give the clearance lost while the inner tube is warmer than the outer.

    Examples
    --------
    >>> round(clearance_lost_um(13.9, 8.0), 3)
    2.213
    """
    return 1000.0 * diameter_mm * expansion_per_k * inner_warmer_k


def limit_fit(hole_um: tuple[float, float], shaft_um: tuple[float, float]) -> LimitFit:
    """Give the fit of a hole and a shaft of one nominal size from the limit deviations of both.

    Parameters
    ----------
    hole_um, shaft_um : tuple of (float, float)
        Lower and upper limit deviation from the nominal size, as tolerance tables print them. [um]

    Returns
    -------
    LimitFit
        Least clearance (lower of the hole less upper of the shaft), greatest (upper less lower), and kind.

    Raises
    ------
    TradeError
        A deviation that is not finite, or a lower one above its upper one; `column` says which part.

    References
    ----------
    .. [1] ISO 286-1, terms of fits: minimum clearance EI - es, maximum ES - ei, span of a fit. Checked
       against H7/g6 in the step 10 to 18 mm: 6 to 35 um (H7 read in a tolerance table, g6 from memory).

    Examples
    --------
    >>> limit_fit((0.0, 18.0), (-17.0, -6.0))
    LimitFit(kind='clearance', least_um=6.0, greatest_um=35.0, spread_um=29.0)
    """
    for part, (lower, upper) in (("hole", hole_um), ("shaft", shaft_um)):
        if not (math.isfinite(lower) and math.isfinite(upper) and lower <= upper):
            raise TradeError(
                f"limit deviations {lower:g} and {upper:g} um of the {part} are not a lower and an upper one",
                "Give the lower first, both in micrometres from the nominal size",
                column=part,
            )
    least, greatest = hole_um[0] - shaft_um[1], hole_um[1] - shaft_um[0]
    # ISO 286-1 counts a least clearance of 0 among the clearance fits, a greatest of 0 among interferences
    kind = "clearance" if least >= 0 else "interference" if greatest <= 0 else "transition"
    return LimitFit(kind, least, greatest, greatest - least)


def stack_worst_case(tolerances: Sequence[float]) -> float:
    """Give the worst-case sum of tolerances (half-widths, any one unit).

    Examples
    --------
    >>> stack_worst_case([20.0, 20.0])
    40.0
    """
    return math.fsum(abs(value) for value in tolerances)


def stack_root_sum_square(tolerances: Sequence[float], mean_shifts: Sequence[float] = ()) -> float:
    """Give the statistical half-width of a sum of tolerances; shifts of the means add plainly. [same unit].

    It assumes centred processes that vary independently of each other.

    Parameters
    ----------
    tolerances : sequence of float
        Half-widths. [any one unit]
    mean_shifts : sequence of float
        How far the processes sit off their middles. [same unit]

    References
    ----------
    .. [1] Root sum of squares with arithmetic mean shifts, tolerance-stack report (Scholz 1995).

    Examples
    --------
    >>> round(stack_root_sum_square([20.0, 20.0]), 3)
    28.284
    """
    return math.sqrt(math.fsum(value * value for value in tolerances)) + stack_worst_case(mean_shifts)

"""Lacquer: readings to spots to areas, the house rule, capability, base drift, wet to dry.

Thickness in micrometres.
"""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from qc.stats import Tabled, one_sided_bound
from qc.trade.errors import TradeError

LEAST_SHARE_OF_NOMINAL = 0.8
"""Least spot of the house 80/20 rule: pattern of film-thickness standards for steelwork, borrowed."""

MOST_BELOW_NOMINAL = 0.2
"""Share of spots below nominal that must not be reached, house 80/20 rule."""

MOST_OF_NOMINAL = 3.0
"""Greatest spot in nominals, house 80/20 rule (from memory)."""

LAST_BITS = 1e-9
"""Share of the nominal by which the mean of decimal readings may miss it through the arithmetic alone."""

BASE_DRIFT_LIMIT_UM = 1.0
"""Move of the bare-metal reading that calls for a re-zero: common practice, no source."""

COPPER_CONDUCTIVITY_S_PER_M = 58.0e6
"""100 % IACS, the International Annealed Copper Standard."""


@dataclass(frozen=True, slots=True)
class Spot(Tabled):
    """The thickness at one spot.

    Parameters
    ----------
    area, spot : str
        Where.
    um : float
        Thickness: the mean of the readings taken there. [um]
    serial : str
        Piece, empty when the sheet has only one.
    readings : int
        How many readings were averaged.
    """

    area: str
    spot: str
    um: float
    serial: str = ""
    readings: int = 1


@dataclass(frozen=True, slots=True)
class AreaThickness(Tabled):
    """The lacquer of one area, its spots averaged.

    Parameters
    ----------
    area : str
        Where.
    n : int
        Spots.
    mean, least : float
        Mean and least spot. [um]
    below_nominal : int
        Spots below nominal.
    """

    area: str
    n: int
    mean: float
    least: float
    below_nominal: int


@dataclass(frozen=True, slots=True)
class HouseRule(Tabled):
    """The house 80/20 rule, clause by clause; it claims no conformity with any standard.

    Parameters
    ----------
    passes : bool
        All four clauses hold.
    mean_reaches_nominal, none_under_80_percent, few_below_nominal, none_over_three_nominals : bool
        The clauses.
    share_below_nominal : float
        Share of spots below nominal.
    """

    passes: bool
    mean_reaches_nominal: bool
    none_under_80_percent: bool
    few_below_nominal: bool
    none_over_three_nominals: bool
    share_below_nominal: float


def spot_means(readings: Sequence[Spot]) -> list[Spot]:
    """Average the readings taken at the same spot of the same piece, in order of first appearance.

    Examples
    --------
    >>> spots = spot_means([Spot("bell", "1", um) for um in (14.2, 15.1, 14.6)])
    >>> round(spots[0].um, 3), spots[0].readings
    (14.633, 3)
    """
    grouped: dict[tuple[str, str, str], list[Spot]] = defaultdict(list)
    for index, reading in enumerate(readings):
        # chosen: a bare spot may read a little below 0; a thousand is a slip of unit
        if not (math.isfinite(reading.um) and -5.0 < reading.um < 1000.0):
            raise TradeError(
                f"{reading.um} um is no lacquer thickness", "Give micrometres; 0.015 mm is 15 um", index, "um"
            )
        grouped[reading.serial, reading.area, reading.spot].append(reading)
    return [
        Spot(area, spot, statistics.fmean(one.um for one in group), serial, len(group))
        for (serial, area, spot), group in grouped.items()
    ]


def area_thickness(spots: Sequence[Spot], nominal_um: float) -> list[AreaThickness]:
    """Reduce spots to one figure an area, in order of first appearance.

    Parameters
    ----------
    spots : sequence of Spot
        One per spot (see `spot_means`).
    nominal_um : float
        Nominal thickness. [um]

    References
    ----------
    .. [1] Reading, spot, area: the nesting of SSPC-PA 2, articles about it.

    Examples
    --------
    >>> area_thickness([Spot("bow", "1", 14.0), Spot("bow", "2", 17.0)], 15.0)[0].mean
    15.5
    """
    grouped: dict[str, list[float]] = defaultdict(list)
    for spot in spots:
        grouped[spot.area].append(spot.um)
    least = nominal_um * (1.0 - LAST_BITS)
    return [
        AreaThickness(area, len(ums), statistics.fmean(ums), min(ums), sum(um < least for um in ums))
        for area, ums in grouped.items()
    ]


def house_80_20(spots_um: Sequence[float], nominal_um: float) -> HouseRule:
    """Judge spot means of a whole instrument by the house 80/20 rule.

    The pattern is borrowed from rules for thick paint on steel, which do not apply below 40 um; it is a house
    rule and proves conformity with nothing. Area by area it would be too coarse: one spot of five is 20 %.

    Parameters
    ----------
    spots_um : sequence of float, length n >= 1
        Spot means over the whole instrument. [um]
    nominal_um : float
        Nominal thickness. [um]

    Raises
    ------
    TradeError
        No spots, or a nominal not above 0.

    References
    ----------
    .. [1] 80/20 pattern as summarised for ISO 19840:2012 (whose scope excludes such thin coats); in part
       from memory.

    Examples
    --------
    >>> rule = house_80_20([16, 14, 13, 15, 17, 12, 18, 15, 16, 14], 15.0)
    >>> rule.passes, rule.share_below_nominal, rule.none_under_80_percent
    (False, 0.4, True)
    """
    if not spots_um or not nominal_um > 0:
        raise TradeError("the house rule needs spots and a nominal above 0", "Give both in micrometres")
    slack = LAST_BITS * nominal_um
    below = sum(um < nominal_um - slack for um in spots_um) / len(spots_um)
    clauses = (
        statistics.fmean(spots_um) >= nominal_um - slack,
        min(spots_um) >= LEAST_SHARE_OF_NOMINAL * nominal_um - slack,
        below < MOST_BELOW_NOMINAL,
        max(spots_um) <= MOST_OF_NOMINAL * nominal_um + slack,
    )
    return HouseRule(all(clauses), *clauses, share_below_nominal=below)


def least_spot_um(minimum_um: float) -> float:
    """Give the lowest acceptable single spot for a minimum area mean: 80 % of it (SSPC-PA 2).

    Examples
    --------
    >>> round(least_spot_um(12.0), 3)
    9.6
    """
    return LEAST_SHARE_OF_NOMINAL * minimum_um


def lower_capability(values_um: Sequence[float], lower_um: float) -> float:
    """Give the one-sided capability of a thickness, (mean - lower) / (3 sd of the sample).

    Parameters
    ----------
    values_um : sequence of float, length n >= 2
        Spot means. [um]
    lower_um : float
        Lower limit. [um]

    Raises
    ------
    TradeError
        Fewer than two values, or no spread among them.

    References
    ----------
    .. [1] Definition of the one-sided index, ISO 22514-2 (scope read). Computed.

    Examples
    --------
    >>> round(lower_capability([14.3, 16.2, 18.1], 12.0), 4)
    0.7368
    """
    if len(values_um) < 2 or len(set(values_um)) < 2:
        raise TradeError("no capability without spread", "Measure more spots, or with a finer gauge")
    return (statistics.fmean(values_um) - lower_um) / (3.0 * statistics.stdev(values_um))


def lower_capability_interval(cpl: float, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Give the exact interval of a one-sided capability from normal values.

    Parameters
    ----------
    cpl : float
        Estimate from `n` values.
    n : int, >= 2
        Values it rests on.
    confidence : float
        Two-sided confidence.

    Raises
    ------
    TradeError
        `n` below 2.

    References
    ----------
    .. [1] 3 sqrt(n) Cpl is noncentral t with n - 1 degrees of freedom; ends by solving for the noncentrality.

    Examples
    --------
    >>> [round(end, 2) for end in lower_capability_interval(1.15, 45)]
    [0.89, 1.41]
    """
    if n < 2:
        raise TradeError("an interval needs two values", "Measure more spots")
    tail = (1.0 - confidence) / 2.0
    ends = [float(one_sided_bound(cpl, level, n, n - 1)) for level in (tail, 1.0 - tail)]
    return min(ends), max(ends)


def base_drift_um(base_um: Sequence[float]) -> float:
    """Give how far the bare-metal reading moved from the first to the last check.

    Examples
    --------
    >>> round(base_drift_um([0.2, 0.5, 1.4]), 2)
    1.2
    """
    if not base_um:
        raise TradeError("no bare-metal readings", "Read the bare twin before and after the sheet")
    return base_um[-1] - base_um[0]


def dry_from_wet_um(wet_um: float, solids_share: float) -> float:
    """Give the dry film a wet film leaves: wet thickness times solids by volume.

    Examples
    --------
    >>> round(dry_from_wet_um(60.0, 0.28), 2)
    16.8
    """
    if not 0 < solids_share <= 1:
        raise TradeError(f"solids of {solids_share} are not a share", "28 % solids by volume is 0.28")
    return wet_um * solids_share


def penetration_depth_um(frequency_hz: float, iacs_share: float = 0.28) -> float:
    """Give the standard depth an eddy-current probe reaches into non-magnetic metal. [um].

    A wall thinner than about two and a half depths shifts the reading: zero on the same bare part.

    Parameters
    ----------
    frequency_hz : float
        Probe frequency. [Hz]
    iacs_share : float
        Conductivity as a share of annealed copper; 0.28 for 70/30 brass.

    References
    ----------
    .. [1] sqrt(1 / (pi f mu0 sigma)), classical electrodynamics; conductivity from an alloy data sheet.

    Examples
    --------
    >>> round(penetration_depth_um(2e6), 1)
    88.3
    """
    conductivity = iacs_share * COPPER_CONDUCTIVITY_S_PER_M
    return 1e6 / math.sqrt(math.pi * frequency_hz * 4e-7 * math.pi * conductivity)


def wall_is_thin_for_probe(wall_mm: float, frequency_hz: float, iacs_share: float = 0.28) -> bool:
    """Say whether a wall is thinner than three penetration depths, so that the zero depends on it.

    Examples
    --------
    >>> wall_is_thin_for_probe(0.20, 2e6), wall_is_thin_for_probe(0.50, 2e6)
    (True, False)
    """
    return 1000.0 * wall_mm < 3.0 * penetration_depth_um(frequency_hz, iacs_share)


def defects_per_unit(defects: Sequence[int], units: Sequence[float]) -> float:
    """Give visual defects per inspection unit (1 = a tenor's area; alto 0.7, contrabass 1.8).

    Examples
    --------
    >>> round(defects_per_unit([2, 1, 4], [1.0, 0.7, 1.8]), 3)
    2.0
    """
    if len(defects) != len(units) or not math.fsum(units) > 0:
        raise TradeError("defects and inspection units do not match", "Give one unit figure per instrument")
    return sum(defects) / math.fsum(units)

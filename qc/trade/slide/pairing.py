"""Pairing the rack: which inner tube in which outer, over all stations and both legs, spares included."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from qc.stats import Floats, Tabled
from qc.trade.errors import TradeError
from qc.trade.slide.fit import LegClearance, leg_clearance

Readings = Mapping[str, Mapping[str, Sequence[float]]]
"""Leg to station to diameters read there in several directions. [mm]."""

COSTS = ("mean-squares", "mean-absolute", "leg-squares", "station-squares", "least-squares")
"""What a pairing makes least: errors of a pair's mean (squared or plain), of each leg's mean, of each
station, or of each leg's least clearance."""

TUBE_MM = (5.0, 40.0)
"""Diameters outside belong to no slide tube: planning values, common practice, no source."""

BODY_EXTRA_UM = (60.0, 200.0)
"""How much too loose every mate looks when the body was read for the stocking (about 100): common
practice."""

# above any sum of squared micrometres, but finite: the solver refuses a matrix whose row is all infinite
_FORBIDDEN = 1e12


@dataclass(frozen=True, slots=True)
class Tube:
    """One tube, or one pair of legs, of the rack."""

    name: str
    readings: Readings


@dataclass(frozen=True, slots=True)
class Pair(Tabled):
    """One inner in one outer; with two legs the least, the mean and the greatest are over both. [um]."""

    inner: str
    outer: str
    least_um: float
    mean_um: float
    greatest_um: float
    inside: bool


@dataclass(frozen=True, slots=True)
class LeftTube:
    """A tube without a mate, and the mate that would suit it.

    Parameters
    ----------
    name, side : str
        Which tube; `inner` or `outer`.
    mean_mm : float
        Its mean diameter. [mm]
    wanted_mm : float
        Mean diameter of the mate that would give the target. [mm]
    nearest : str
        Mate of the rack that comes nearest, in use elsewhere.
    nearest_off_um : float
        How far that mate's clearance is off target. [um]
    """

    name: str
    side: str
    mean_mm: float
    wanted_mm: float
    nearest: str
    nearest_off_um: float


@dataclass(frozen=True, slots=True)
class Pairing(Tabled):
    """A proposed pairing of the rack.

    Parameters
    ----------
    pairs : tuple of Pair
        In the order of the inners.
    left_inner, left_outer : tuple of LeftTube
        Tubes without a mate.
    inside : int
        Pairs wholly inside the limits.
    cost : float
        What was made least. [um2, or um for the plain sum]
    """

    ROWS = "pairs"

    pairs: tuple[Pair, ...]
    left_inner: tuple[LeftTube, ...]
    left_outer: tuple[LeftTube, ...]
    inside: int
    cost: float

    def to_dict(self) -> dict[str, object]:
        """Give pairs, leftovers by name, and the counts as plain values."""
        return {
            "pairs": [pair.to_dict() for pair in self.pairs],
            "left": {
                "inner": [tube.name for tube in self.left_inner],
                "outer": [tube.name for tube in self.left_outer],
            },
            "inside": self.inside,
            "cost": self.cost,
        }


def pair_tubes(
    inners: Sequence[Tube],
    outers: Sequence[Tube],
    target_um: float,
    lower_um: float,
    upper_um: float,
    cost: str = "mean-squares",
    locked: Sequence[tuple[str, str]] = (),
) -> Pairing:
    """Propose the pairing with the least total cost.

    Parameters
    ----------
    inners, outers : sequence of Tube
        Stocking diameters and bores. Numbers may differ; the spare ones are left.
    target_um, lower_um, upper_um : float
        Wanted diametral clearance and its limits. [um]
    cost : str
        One of `COSTS`. Many pairings share the least plain sum; squares choose the even one among them.

    locked : sequence of (inner, outer)
        Pairs that stay together whatever they cost; the rest is paired around them.

    Returns
    -------
    Pairing
        Pairs and leftovers. A pair that would not go in (least clearance 0 or below) is never proposed.

    Raises
    ------
    TradeError
        No tubes, a diameter no slide tube has, limits out of order, tubes with no leg in common, or a locked
        pair that is not on the rack, names a tube twice or would not go in.

    References
    ----------
    .. [1] Linear assignment problem; with one station, one target and equal numbers sorting both lists is
       optimal as well (checked in the tests, as is brute force).

    Examples
    --------
    >>> inners = [Tube(n, {"": {"mid": [d]}}) for n, d in [("a", 13.846), ("b", 13.861)]]
    >>> outers = [Tube(n, {"": {"mid": [d]}}) for n, d in [("x", 14.013), ("y", 14.000), ("z", 14.030)]]
    >>> [(pair.inner, pair.outer) for pair in pair_tubes(inners, outers, 150, 100, 200).pairs]
    [('a', 'y'), ('b', 'x')]
    """
    from scipy.optimize import linear_sum_assignment  # slow to load, and most who load this module never ask

    _check(inners, outers, target_um, lower_um, upper_um, cost)
    fits = [[_fit(inner, outer) for outer in outers] for inner in inners]
    costs = np.array([[_cost(legs, target_um, cost) for legs in row] for row in fits])
    kept = _kept(inners, outers, locked, costs)
    open_costs = costs.copy()
    for i, j in kept:
        open_costs[i, :] = open_costs[:, j] = _FORBIDDEN
        # below anything that a pairing could gain by taking the two apart
        open_costs[i, j] = -_FORBIDDEN
    rows, columns = linear_sum_assignment(open_costs)
    chosen = [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if open_costs[i, j] < _FORBIDDEN]
    pairs = tuple(_pair(inners[i].name, outers[j].name, fits[i][j], lower_um, upper_um) for i, j in chosen)
    taken_in, taken_out = {i for i, _ in chosen}, {j for _, j in chosen}
    left_in = [tube for index, tube in enumerate(inners) if index not in taken_in]
    left_out = [tube for index, tube in enumerate(outers) if index not in taken_out]
    return Pairing(
        pairs,
        tuple(_left(tube, "inner", outers, target_um) for tube in left_in),
        tuple(_left(tube, "outer", inners, target_um) for tube in left_out),
        sum(pair.inside for pair in pairs),
        float(sum(costs[i, j] for i, j in chosen)),
    )


def _kept(
    inners: Sequence[Tube], outers: Sequence[Tube], locked: Sequence[tuple[str, str]], costs: Floats
) -> list[tuple[int, int]]:
    """Give the places of the locked pairs, or refuse a pair that cannot be kept together."""
    names = [tube.name for tube in inners], [tube.name for tube in outers]
    for side, word in enumerate(("inner", "outer")):
        own = [pair[side] for pair in locked]
        for name in own:
            if name not in names[side]:
                raise TradeError(
                    f"{name} is no {word} tube of the rack", f"There are: {', '.join(names[side])}"
                )
            if own.count(name) > 1:
                raise TradeError(f"{name} is locked to two tubes", "Keep one of the two pairs")
    kept = [(names[0].index(inner), names[1].index(outer)) for inner, outer in locked]
    for i, j in kept:
        if costs[i, j] >= _FORBIDDEN:
            problem = f"{names[0][i]} does not go into {names[1][j]}: at its tightest there is no clearance"
            raise TradeError(problem, "Leave this pair to the proposal")
    return kept


def mean_mm(tube: Tube) -> float:
    """Give the mean of all diameters of a tube, in mm.

    Examples
    --------
    >>> mean_mm(Tube("a", {"": {"mid": [14.0, 14.5]}}))
    14.25
    """
    values = _values(tube)
    return math.fsum(values) / len(values)


def body_suspects(inners: Sequence[Tube], outers: Sequence[Tube], target_um: float) -> tuple[str, ...]:
    """Name inners whose body was probably read for the stocking: about 0.1 mm too loose in every outer.

    Parameters
    ----------
    inners, outers : sequence of Tube
        The rack.
    target_um : float
        Wanted clearance. [um]

    Returns
    -------
    tuple of str
        Suspects. A rack whose every inner looks so loose is named whole.

    References
    ----------
    .. [1] The stocking stands about 0.1 mm over the body, players' forum thread; band: common practice.

    Examples
    --------
    >>> outer = Tube("x", {"": {"mid": [14.05]}})
    >>> body_suspects([Tube("a", {"": {"mid": [13.80]}}), Tube("b", {"": {"mid": [13.90]}})], [outer], 150)
    ('a',)
    """
    smallest = min(mean_mm(outer) for outer in outers)
    low, high = BODY_EXTRA_UM
    extra = {inner.name: 1000.0 * (smallest - mean_mm(inner)) - target_um for inner in inners}
    return tuple(name for name, um in extra.items() if low <= um <= high)


def random_pairing_yield(
    sd_inner_um: float, sd_outer_um: float, tolerance_um: float, means_apart_um: float = 0.0
) -> float:
    """Give the share of pairs within a tolerance when tubes are taken as they come.

    Parameters
    ----------
    sd_inner_um, sd_outer_um : float
        Spreads of the two diameters. [um]
    tolerance_um : float
        Half-width of the clearance band. [um]
    means_apart_um : float
        How far the mean clearance is off target. [um]

    References
    ----------
    .. [1] Difference of two independent normal values. Computed.

    Examples
    --------
    >>> round(random_pairing_yield(10.0, 10.0, 15.0), 4)
    0.7112
    """
    spread = math.hypot(sd_inner_um, sd_outer_um)
    return float(
        ndtr((tolerance_um - means_apart_um) / spread) - ndtr((-tolerance_um - means_apart_um) / spread)
    )


def best_pairing_yield(
    sd_inner_um: float,
    sd_outer_um: float,
    tolerance_um: float,
    lot: int,
    means_apart_um: float = 0.0,
    lots: int = 4000,
    seed: int = 1,
) -> tuple[float, float]:
    """Simulate the share of pairs within a tolerance when lots are sorted, and its standard error.

    Parameters
    ----------
    sd_inner_um, sd_outer_um, tolerance_um, means_apart_um : float
        As in `random_pairing_yield`. [um]
    lot : int
        Inners and outers that are paired at a time.
    lots : int
        Simulated lots.
    seed : int
        Of the random numbers.

    References
    ----------
    .. [1] Simulation; sorting is the optimal assignment for one station and one target.

    Examples
    --------
    >>> share, error = best_pairing_yield(10.0, 10.0, 15.0, lot=12)
    >>> abs(share - 0.984) < 0.006
    True
    """
    rng = np.random.default_rng(seed)
    inner = np.sort(rng.normal(0.0, sd_inner_um, (lots, lot)), axis=1)
    outer = np.sort(rng.normal(means_apart_um, sd_outer_um, (lots, lot)), axis=1)
    share = (np.abs(outer - inner) <= tolerance_um).mean(axis=1)
    return float(share.mean()), float(share.std(ddof=1) / math.sqrt(lots))


def _check(
    inners: Sequence[Tube],
    outers: Sequence[Tube],
    target_um: float,
    lower_um: float,
    upper_um: float,
    cost: str,
) -> None:
    """Refuse a rack or a band with a slip of unit before a pairing is made of it."""
    if not inners or not outers:
        raise TradeError(f"no {'outer' if inners else 'inner'} tubes", "Give both sides of the rack")
    if not lower_um < upper_um or not lower_um <= target_um <= upper_um:
        raise TradeError(
            f"target {target_um:g} um is not within {lower_um:g} to {upper_um:g} um",
            "Give diametral clearances in micrometres, lower < target < upper",
        )
    if cost not in COSTS:
        raise TradeError(f"cost {cost!r} is not known", f"Choose one of {', '.join(COSTS)}")
    for tube in (*inners, *outers):
        for value in _values(tube):
            if not TUBE_MM[0] <= value <= TUBE_MM[1]:
                raise TradeError(
                    f"tube {tube.name}: {value:g} mm is no slide tube's diameter",
                    "Give millimetres: 0.5532 in is 14.051 mm, and 14052 um is 14.052 mm",
                )


def _values(tube: Tube) -> list[float]:
    values = [value for legs in tube.readings.values() for station in legs.values() for value in station]
    if not values:
        raise TradeError(f"tube {tube.name} has no readings", "Measure it, or leave it out")
    return values


def _fit(inner: Tube, outer: Tube) -> tuple[LegClearance, ...]:
    legs = [leg for leg in outer.readings if leg in inner.readings]
    if not legs:
        raise TradeError(
            f"{inner.name} and {outer.name} have no leg in common", "Name the legs alike on both sides"
        )
    return tuple(leg_clearance(outer.readings[leg], inner.readings[leg]) for leg in legs)


def _cost(legs: Sequence[LegClearance], target_um: float, cost: str) -> float:
    # it would not go in: whatever the other figures say, it is never proposed
    if min(leg.least_um for leg in legs) <= 0.0:
        return _FORBIDDEN
    if cost == "leg-squares":
        return math.fsum((leg.mean_um - target_um) ** 2 for leg in legs)
    if cost == "station-squares":
        return math.fsum((um - target_um) ** 2 for leg in legs for _, um in leg.stations)
    if cost == "least-squares":
        return math.fsum((leg.least_um - target_um) ** 2 for leg in legs)
    off = _mean_um(legs) - target_um
    return abs(off) if cost == "mean-absolute" else off**2


def _mean_um(legs: Sequence[LegClearance]) -> float:
    """Give the mean clearance of a pair, which is what the answer shows and the default cost is made of."""
    return math.fsum(leg.mean_um for leg in legs) / len(legs)


def _pair(inner: str, outer: str, legs: Sequence[LegClearance], lower_um: float, upper_um: float) -> Pair:
    least = min(leg.least_um for leg in legs)
    greatest = max(leg.greatest_um for leg in legs)
    mean = _mean_um(legs)
    # A millionth of a micrometre of slack: decimal readings do not subtract exactly.
    inside = least >= lower_um - 1e-6 and greatest <= upper_um + 1e-6
    return Pair(inner, outer, least, mean, greatest, inside)


def _left(tube: Tube, side: str, others: Sequence[Tube], target_um: float) -> LeftTube:
    own = mean_mm(tube)
    sign = 1.0 if side == "inner" else -1.0
    off = {other.name: sign * 1000.0 * (mean_mm(other) - own) - target_um for other in others}
    nearest = min(off, key=lambda name: abs(off[name]))
    return LeftTube(tube.name, side, own, own + sign * target_um / 1000.0, nearest, off[nearest])

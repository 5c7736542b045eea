"""Exact run lengths of pattern rules, alone and together, by Markov chain.

The states remember, for each rule, what of the last points still matters (Champ and Woodall). Rules that
compare neighbours, steady climb and zigzag, need the last value itself: it is kept as its chance within its
zone, at Gauss-Legendre nodes, since within a zone only the order of values counts and the wait is a smooth
function of that chance.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import sparse, special

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers import DEFAULTS, Floats, Integers, Rule, parse_rules
from qc.stats.run_lengths.chain import RunLength, check_process, run_length_of_chain
from qc.stats.run_lengths.nodes import legendre

Memory = tuple[int, ...]  # one number a zone rule: a count, or the last hits as bits

_ORDERED = ("steady-climb", "zigzag")
# Values kept within a zone, by the number of zones: a narrow zone needs fewer. Twice as many change no run
# length by more than 1e-8 of itself.
_NODES = ((3, 10), (7, 7), (99, 4))
_MOST_STATES = 60_000  # chosen: all eight rules at their usual lengths need some 25,000
_TOO_MANY = "run length of rules: these rules together need too many states; leave one out or shorten it"


@dataclass(frozen=True, slots=True)
class ZoneRule:
    """`hits` of the last `span` points inside any of the zones, which are open intervals in sigma.

    Attributes
    ----------
    hits, span : int
        At least so many of so many points, 1 <= hits <= span.
    zones : tuple of (float, float)
        Intervals in standard deviations from the centre; infinities allowed.
    """

    hits: int
    span: int
    zones: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        if not (1 <= self.hits <= self.span <= 32 and self.zones and all(a < b for a, b in self.zones)):
            raise StatisticsError(
                f"run rule: {self.hits} of {self.span} in {self.zones}; 1 <= hits <= span <= 32 and rising "
                "zones are needed"
            )

    def holds(self, low: float, high: float) -> bool:
        """Whether the zone from low to high lies inside."""
        return any(a <= low and high <= b for a, b in self.zones)


def rule_run_length(
    rules: str | Iterable[Rule | ZoneRule], shift: float = 0.0, *, sd_ratio: float = 1.0
) -> RunLength:
    """Run length of one pattern rule or of several used together, centre and sigma known.

    Parameters
    ----------
    rules : str or iterable of Rule or ZoneRule
        Rule names as `qc.stats.parse_rules` reads them, or rules; a point beyond three sigma is a signal only
        if `beyond-limit` is among them.
    shift : float
        Shift of the process from the first point on. [sigma]
    sd_ratio : float, > 0
        True standard deviation over the assumed one.

    Returns
    -------
    RunLength
        Exact for zone rules; with steady climb or zigzag to about nine digits.

    Raises
    ------
    StatisticsError
        No rule, or so many long rules together that the chain outgrows the machine.
    StatisticsUsageError
        A rule name that does not exist.

    References
    ----------
    .. [1] Champ and Woodall, "Exact results for Shewhart control charts with supplementary runs rules",
       Technometrics 29, 1987: 91.75 for the four classic zone rules (from memory).

    Examples
    --------
    >>> classic = "beyond-limit,two-of-three-outer,four-of-five-middle,same-side(8)"
    >>> round(rule_run_length(classic).mean, 2)
    91.75
    >>> round(rule_run_length("steady-climb").mean, 1)
    421.6
    """
    check_process(shift, sd_ratio)
    given = parse_rules(rules) if isinstance(rules, str) else tuple(rules)
    if not given:
        raise StatisticsError("run length of rules: no rule given, at least one is needed")
    zone_rules = tuple(zone for rule in given for zone in _zone_rules(rule))
    climb = min((_length(r) for r in given if isinstance(r, Rule) and r.name == "steady-climb"), default=0)
    zigzag = min((_length(r) for r in given if isinstance(r, Rule) and r.name == "zigzag"), default=0)
    cuts = sorted(
        {edge for rule in zone_rules for zone in rule.zones for edge in zone} | {-math.inf, math.inf}
    )
    chance = np.diff(special.ndtr((np.array(cuts) - shift) / sd_ratio))
    if climb or zigzag:
        first, step = _ordered_chain(zone_rules, tuple(cuts), chance, climb, zigzag)
    else:
        first, step = _zone_chain(zone_rules, tuple(cuts), chance)
    return run_length_of_chain(first, step)


def _zone_rules(rule: Rule | ZoneRule) -> tuple[ZoneRule, ...]:
    """Zone rules that a named rule stands for; none for those that compare neighbours."""
    if isinstance(rule, ZoneRule):
        return (rule,)
    length, inf = _length(rule), math.inf
    sides = {
        "beyond-limit": (1, 1, 3.0),
        "two-of-three-outer": (2, 3, 2.0),
        "four-of-five-middle": (4, 5, 1.0),
        "same-side": (length, length, 0.0),
    }
    if rule.name in sides:
        hits, span, edge = sides[rule.name]
        return ZoneRule(hits, span, ((edge, inf),)), ZoneRule(hits, span, ((-inf, -edge),))
    if rule.name == "hugging-center":
        return (ZoneRule(length, length, ((-1.0, 1.0),)),)
    if rule.name == "avoiding-center":
        return (ZoneRule(length, length, ((-inf, -1.0), (1.0, inf))),)
    if rule.name in _ORDERED:
        return ()
    raise StatisticsUsageError(f"run length of rules: rule {rule.name!r} is not known")


def _length(rule: Rule) -> int:
    """Points of a rule; its published length when none is given."""
    return rule.length or DEFAULTS.get(rule.name) or 1


@lru_cache(maxsize=64)
def _automaton(rules: tuple[ZoneRule, ...], cuts: tuple[float, ...]) -> Integers:
    """Every memory that can arise, with the next one for each zone (-1: a rule signals).

    Returns one array, shape (memories, zones); memory 0 is the empty one.
    """
    hit = [[rule.holds(low, high) for rule in rules] for low, high in zip(cuts, cuts[1:], strict=False)]
    empty: Memory = (0,) * len(rules)
    number, todo, rows = {empty: 0}, deque([empty]), []
    while todo:
        memory = todo.popleft()
        row = []
        for zone in hit:
            after = _remember(rules, memory, zone)
            if after is not None and after not in number:
                if len(number) >= _MOST_STATES:
                    raise StatisticsError(_TOO_MANY)
                number[after] = len(number)
                todo.append(after)
            row.append(-1 if after is None else number[after])
        rows.append(row)
    return np.array(rows, dtype=np.int64)


def _remember(rules: tuple[ZoneRule, ...], memory: Memory, zone: list[bool]) -> Memory | None:
    """Say what is left to remember after a point in this zone; None when a rule signals."""
    after = []
    for rule, old, inside in zip(rules, memory, zone, strict=True):
        if rule.hits == rule.span:
            new = old + 1 if inside else 0
            if new >= rule.hits:
                return None
        else:
            window = (old << 1) | inside
            if window.bit_count() >= rule.hits:
                return None
            new = window & ((1 << (rule.span - 1)) - 1)
            # an old hit that can no longer be part of enough hits before it leaves the window is forgotten
            while new and new.bit_count() + rule.span - new.bit_length() < rule.hits:
                new &= (1 << (new.bit_length() - 1)) - 1
        after.append(new)
    return tuple(after)


def _zone_chain(
    rules: tuple[ZoneRule, ...], cuts: tuple[float, ...], chance: Floats
) -> tuple[Floats, sparse.csr_array]:
    """First step and repeated step of rules that only look at zones."""
    after = _automaton(rules, cuts)
    states, zones = after.shape
    source, zone = np.nonzero(after >= 0)
    step = sparse.csr_array((chance[zone], (source, after[source, zone])), shape=(states, states))
    return np.asarray(step[[0], :].todense(), dtype=np.float64).ravel(), step


@dataclass(frozen=True, slots=True)
class _Within:
    """Nodes of a value's chance within its zone, and weights for above it, below it and anywhere."""

    all: Floats
    above: Floats
    below: Floats


@lru_cache(maxsize=4)
def _within(count: int) -> _Within:
    """Weights exact for polynomials: integrals over 0..1, from each node to 1, and from 0 to each node."""
    nodes, weights = legendre(count)
    powers = np.polynomial.legendre.legvander(nodes, count - 1)
    integrals = np.array(
        [
            np.polynomial.legendre.legval(nodes, np.polynomial.legendre.legint(row, lbnd=-1.0))
            for row in np.eye(count)
        ]
    ).T
    below = integrals @ np.linalg.inv(powers) / 2.0
    return _Within(weights / 2.0, weights / 2.0 - below, below)


def _ordered_chain(
    rules: tuple[ZoneRule, ...], cuts: tuple[float, ...], chance: Floats, climb: int, zigzag: int
) -> tuple[Floats, sparse.csr_array]:
    """First step and repeated step when neighbours are compared as well.

    A state is (memory of the zone rules, zone of the last value, way it was reached: 0 none yet, else the
    direction with the lengths of the climb and of the zigzag so far), each at the nodes of its zone.
    """
    after = _automaton(rules, cuts)
    zones = chance.size
    nodes = next(count for most, count in _NODES if zones <= most)
    number: dict[tuple[int, int, tuple[int, int, int]], int] = {}
    todo: list[tuple[int, int, tuple[int, int, int]]] = []

    def enter(state: tuple[int, int, tuple[int, int, int]]) -> int:
        """Give a state its number and put a new one in line."""
        if state not in number:
            if (len(number) + 1) * nodes > _MOST_STATES:
                raise StatisticsError(_TOO_MANY)
            number[state] = len(number)
            todo.append(state)
        return number[state]

    starts = [(enter((int(after[0, z]), z, (0, 1, 1))), z) for z in range(zones) if after[0, z] >= 0]
    links: list[tuple[int, int, int, int]] = []  # from, to, zone, way: 0 anywhere, 1 above, -1 below
    place = 0
    while place < len(todo):
        memory, zone, way = todo[place]
        for target in range(zones):
            if after[memory, target] < 0:
                continue
            for direction in (1, -1):
                if (target - zone) * direction < 0:
                    continue
                new = _way(way, direction, climb, zigzag)
                if new is not None:
                    to = enter((int(after[memory, target]), target, new))
                    links.append((place, to, target, direction if target == zone else 0))
        place += 1
    return _assemble(len(number), starts, links, chance, nodes)


def _way(way: tuple[int, int, int], direction: int, climb: int, zigzag: int) -> tuple[int, int, int] | None:
    """Direction, points climbed or fallen, points zigzagged after one more step; None when a rule signals."""
    before, climbed, zigzagged = way
    climbed = climbed + 1 if direction == before else 2
    zigzagged = zigzagged + 1 if direction == -before else 2
    if (climb and climbed >= climb) or (zigzag and zigzagged >= zigzag):
        return None
    return direction, climbed if climb else 0, zigzagged if zigzag else 0


def _assemble(
    states: int,
    starts: list[tuple[int, int]],
    links: list[tuple[int, int, int, int]],
    chance: Floats,
    nodes: int,
) -> tuple[Floats, sparse.csr_array]:
    """Put the blocks of nodes together."""
    within = _within(nodes)
    blocks = {0: np.tile(within.all, (nodes, 1)), 1: within.above, -1: within.below}
    first = np.zeros(states * nodes)
    for state, zone in starts:
        first[state * nodes : (state + 1) * nodes] += chance[zone] * within.all
    rows, columns, values = [], [], []
    inner_row, inner_column = np.divmod(np.arange(nodes * nodes), nodes)
    for source, target, zone, way in links:
        rows.append(source * nodes + inner_row)
        columns.append(target * nodes + inner_column)
        values.append(chance[zone] * blocks[way].ravel())
    if not links:
        return first, sparse.csr_array((states * nodes, states * nodes))
    placed = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    return first, sparse.csr_array(placed, shape=(states * nodes, states * nodes))

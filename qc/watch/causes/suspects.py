"""What changed when a signal began, ranked; and what was checked and did not change.

Choosing the split first and testing a factor at that split afterwards would be circular. Instead a factor is
a suspect when it *changed inside the 90 % set of the start*, and it is ranked by how rarely a change of that
factor lies so near a place elsewhere in the series: a mandrel changed once in a year that changes just there
is a coincidence worth a look, a bench where two people take turns is not. Near is measured in shares of the
set, since places far from the likeliest start are the less likely ones. The words stay careful: "coincides
with", never "caused by".
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

from qc.plan import Plan
from qc.watch.causes.factors import AIR, CHECKED, UNCHECKED, Factor, FactorLevels
from qc.watch.causes.upstream import Figure, figure_name, find_step
from qc.watch.results import Point, SignalResult, Suspect
from qc.words import day_words, inside, quantity_words

SEPARATION = 0.5
"""A level must be this much more common after the start than before it (shares, 0..1; house rule)."""

LOOK_BACK = 20
"""Pieces before the start that say what was usual (house rule)."""

EVE = 1
"""A cause may come a piece before what is seen of it: the first piece with it can pass for an old one."""

PLAIN_KINDS = {
    "person": "person",
    "gauge": "gauge",
    "tool": "tool",
    "batch": "batch",
    "gauge-check": "morning check of the gauge",
    "model mix": "mix of models",
    "air": "air temperature",
    "upstream": "earlier figures of the same pieces",
}


def find_suspects(
    points: Sequence[Point],
    signal: SignalResult,
    factors: FactorLevels,
    plan: Plan,
    stage_index: int,
    today: date | None = None,
) -> tuple[tuple[Suspect, ...], tuple[str, ...]]:
    """Rank what changed where a signal began.

    Parameters
    ----------
    points : sequence of Point
        The series, in order of making.
    signal : SignalResult
        Uses its start and the 90 % set of the start.
    factors : FactorLevels
        What was recorded around each piece.
    plan : Plan
        Gives the names of tools and gauges and when they were fitted.
    stage_index : int
        Place of the series' stage in the route; later stages cannot be suspects.
    today : date, optional
        Days long before it are told with their year.

    Returns
    -------
    tuple of Suspect
        Strongest first; empty where nothing recorded changed.
    tuple of str
        Kinds of circumstances that were recorded and did not change, in plain words.
    """
    known = factors.beside(points, stage_index)
    found: list[Suspect] = []
    still: dict[str, bool] = {}
    for factor in known.up_to(stage_index):
        levels = [known.levels[factor].get(p.serial, "") for p in points]
        if sum(map(bool, levels)) < len(levels) / 2:
            continue
        suspect = _judge_factor(points, signal, factor, levels, plan, today)
        if suspect is not None:
            found.append(suspect)
        still[factor.kind] = still.get(factor.kind, True) and suspect is None
    for kind, steps in _stepped(points, signal, known, plan, today).items():
        found += steps
        still[kind] = not steps
    found.sort(key=lambda s: -s.weight)
    unique = {(s.kind, s.name): s for s in reversed(found)}
    ranked = sorted(unique.values(), key=lambda s: -s.weight)
    unchanged = tuple(PLAIN_KINDS[kind] for kind, quiet in still.items() if quiet and kind in PLAIN_KINDS)
    return tuple(ranked[:5]), unchanged


def _judge_factor(
    points: Sequence[Point],
    signal: SignalResult,
    factor: Factor,
    levels: list[str],
    plan: Plan,
    today: date | None,
) -> Suspect | None:
    low, high = max(signal.start_low - 1, 1), max(signal.start_high - 1, 1)  # 0-based, first changed point
    last = _last(points, signal)
    before, after = levels[max(0, low - LOOK_BACK) : low], levels[max(high, signal.start - 1) : last]
    if not before or not after:
        return None
    level = max(dict.fromkeys(after), key=lambda x: _share(after, x) - _share(before, x))
    separation = _share(after, level) - _share(before, level)
    changes = _changes(levels)
    low = max(low - EVE, 1)
    inside = [i for i in range(low, min(high + 1, len(levels))) if changes[i]]
    if separation < SEPARATION or not inside or not level or level == CHECKED:
        return None
    own = [i for i in inside if levels[i] == level] or inside
    rarity = _rarity(changes, *min((_as_near(signal, i) for i in own), key=_width))
    first = own[0]
    usual = max(dict.fromkeys(before), key=before.count)
    return Suspect(
        kind=factor.kind,
        name=factor.source if factor.kind == "gauge-check" else level,
        before="" if usual == level else usual,
        serial=points[first].serial,
        day=points[first].day,
        sentence=_sentence(factor, level, points[first], plan, today),
        weight=round(-math.log(rarity) * separation, 4),
    )


def _stepped(
    points: Sequence[Point], signal: SignalResult, factors: FactorLevels, plan: Plan, today: date | None
) -> dict[str, list[Suspect]]:
    """Return steps of the air temperature and of earlier figures; a kind hardly recorded is absent."""
    low, high = max(signal.start_low - 1, 1), max(signal.start_high - 1, 1)
    last = _last(points, signal)
    columns = {f: [own.get(p.serial, math.nan) for p in points] for f, own in factors.figures.items()}
    known = {f: v for f, v in columns.items() if sum(map(math.isfinite, v)) >= len(points) / 2}
    found: dict[str, list[Suspect]] = {}
    for figure, values in known.items():
        kind = "air" if figure == AIR else "upstream"
        steps = found.setdefault(kind, [])
        step = find_step(values, low, high, last, len(known))
        if step is None or step.separation < SEPARATION:
            continue
        first = points[step.at]
        name, sentence = _step_words(figure, step.size, first, plan, today)
        weight = round(-math.log(step.rarity) * step.separation, 4)
        steps.append(Suspect(kind, name, "", first.serial, first.day, sentence, weight))
    return found


def _last(points: Sequence[Point], signal: SignalResult) -> int:
    """Return how many pieces were made up to the last one that the signal speaks of."""
    if signal.kind == "single":
        return signal.start
    return len(points) if signal.ended is None else signal.ended - 1


def _step_words(figure: Figure, size: float, first: Point, plan: Plan, today: date | None) -> tuple[str, str]:
    """Return name and sentence of a step."""
    since = f"since {first.serial} ({day_words(first.day, today)})"
    if figure == AIR:
        way = "warmer" if size > 0 else "colder"
        return "air temperature", f"the air {quantity_words(abs(size), 'C')} {way} {since}"
    stage, characteristic = figure_name(plan, figure)
    name = f"{inside(characteristic.name)} of {figure.role}" if figure.role else inside(characteristic.name)
    way = "higher" if size > 0 else "lower"
    much = quantity_words(abs(size), characteristic.unit)
    return name, f"{name} at {inside(stage.name)} {much} {way} on the same pieces {since}"


def _share(levels: Sequence[str], level: str) -> float:
    return sum(x == level for x in levels) / len(levels)


def _changes(levels: Sequence[str]) -> list[bool]:
    """Mark where a factor differs from its last recorded level; gaps are stepped over."""
    marks, last = [], ""
    for level in levels:
        marks.append(bool(level and last and level != last))
        last = level or last
    return marks


def _as_near(signal: SignalResult, at: int) -> tuple[int, int]:
    """Return the part of the start's set (0-based, the eve included) that lies as near the start as this."""
    start, low, high = (max(i - 1, 1) for i in (signal.start, signal.start_low, signal.start_high))
    side = high - start if at >= start else start - low
    away = max(at - start, start - EVE - at, 0)
    share = min(away / side, 1.0) if side > 0 else 0.0
    return (
        max(start - EVE - math.ceil(share * (start - low)), 1),
        start + math.ceil(share * (high - start)),
    )


def _width(window: tuple[int, int]) -> int:
    return window[1] - window[0]


def _rarity(changes: Sequence[bool], low: int, high: int) -> float:
    """Share of windows elsewhere of this width that hold a change (plus one half)."""
    width = high - low + 1
    elsewhere = [
        any(changes[i : i + width])
        for i in range(1, len(changes) - width + 1)
        if i + width <= low or i > high
    ]
    return (sum(elsewhere) + 0.5) / (len(elsewhere) + 1.0)


def _sentence(factor: Factor, level: str, point: Point, plan: Plan, today: date | None) -> str:
    """Say what changed in the plan's names: a tool by the day it was fitted, all else by its first piece."""
    day = day_words(point.day, today)
    first = f"first on {point.serial} ({day})"
    if factor.kind == "gauge-check" and level == UNCHECKED:
        gauge = plan.gauge(factor.source)
        name = f"{inside(gauge.name)} {gauge.id}" if gauge else factor.source
        return f"no morning check of {name} since {day}"
    if factor.kind == "tool":
        tool = plan.tool(level)
        name = f"{inside(tool.name)} {tool.id}" if tool else level
        fitted = day_words(tool.fitted, today) if tool else ""
        return f"{name}, fitted {fitted}" if fitted else f"{name}, {first}"
    if factor.kind == "gauge":
        gauge = plan.gauge(level)
        return f"{inside(gauge.name)} {level}, {first}" if gauge else f"gauge {level}, {first}"
    if factor.kind == "batch":
        return f"{factor.source} batch {level}, {first}"
    return f"{PLAIN_KINDS[factor.kind]} {level}, {first}"

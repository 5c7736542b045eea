"""What coincides with a change, in words: a person, a gauge, a tool, a batch, a figure measured before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from qc.plan import Plan
from qc.watch.causes.factors import AIR, UNCHECKED, Factor
from qc.watch.causes.upstream import Figure, figure_name
from qc.watch.causes.weighing import How
from qc.watch.results import Point
from qc.words import day_words, inside, named, quantity_words


@dataclass(frozen=True, slots=True)
class Telling:
    """The pieces of a series, the plan that names things, and the day on which it is told."""

    points: Sequence[Point]
    plan: Plan
    today: date | None


def suspect_sentence(telling: Telling, factor: Factor, level: str, point: Point, how: How, told: bool) -> str:
    """Say what changed in the plan's names, as it goes on after "coincides with".

    Parameters
    ----------
    telling : Telling
        Pieces, plan and day.
    factor : Factor
        Which column of circumstances.
    level : str
        What it is now.
    point : Point
        The first piece with it.
    how : str
        new: it begins there; since: its own pieces are off from there on; throughout: they were off before.
    told : bool
        Whether cards of the stage differ, so that the figure must be told.
    """
    plan, day = telling.plan, day_words(point.day, telling.today)
    first = f"first on {point.serial} ({day})"
    if factor.kind == "gauge-check" and level == UNCHECKED:
        return f"no morning check of {_gauge(plan, factor.source)} since {day}"
    tool = plan.tool(level) if factor.kind == "tool" else None
    fitted = day_words(tool.fitted, telling.today) if tool else ""
    name = level_words(plan, factor, level) + _where(plan, factor, told)
    if how == "since":
        return f"{name}: only those pieces, {first}"
    if how == "throughout":
        return f"{name}: those pieces, before {point.serial} ({day}) as well"
    return f"{name}, fitted {fitted}" if fitted else f"{name}, {first}"


def step_words(telling: Telling, figure: Figure, size: float, first: Point) -> tuple[str, str]:
    """Return name and sentence of a step of the air temperature or of a figure measured before."""
    since = f"since {first.serial} ({day_words(first.day, telling.today)})"
    if figure == AIR:
        way = "warmer" if size > 0 else "colder"
        return "air temperature", f"the air {quantity_words(abs(size), 'C')} {way} {since}"
    stage, characteristic = figure_name(telling.plan, figure)
    name = f"{inside(characteristic.name)} of {figure.role}" if figure.role else inside(characteristic.name)
    way = "higher" if size > 0 else "lower"
    much = quantity_words(abs(size), characteristic.unit)
    return name, f"{name} at {inside(stage.name)} {much} {way} on the same pieces {since}"


def _gauge(plan: Plan, own: str) -> str:
    gauge = plan.gauge(own)
    return named(gauge.name, own) if gauge else own


def level_words(plan: Plan, factor: Factor, level: str) -> str:
    """Name a person, gauge, tool, batch or model by the plan's names."""
    if factor.kind == "gauge-check":
        return f"no morning check of {_gauge(plan, factor.source)}"
    if factor.kind == "tool":
        tool = plan.tool(level)
        return named(tool.name, level) if tool else level
    if factor.kind == "gauge":
        gauge = plan.gauge(level)
        return named(gauge.name, level) if gauge else f"gauge {level}"
    if factor.kind == "batch":
        return f"{factor.source} batch {level}"
    return f"model {level}" if factor.kind == "model mix" else f"person {level}"


def _where(plan: Plan, factor: Factor, told: bool) -> str:
    """Say on whose card it stands, where that is another one than the card of the readings judged."""
    stage = next((s for s in plan.stages if s.id == factor.stage), None)
    if stage is None or factor.kind in {"tool", "batch"} and not told:
        return ""
    names = [inside(c.name) for c in stage.characteristics if c.id in factor.figures]
    figure = f" ({names[0]})" if told and names else ""
    return f" at {inside(stage.name)}{figure}"

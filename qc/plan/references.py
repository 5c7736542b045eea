"""Checks of a plan that the model cannot make alone: every name that is used is declared, and only once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from zoneinfo import ZoneInfo, available_timezones

from qc.plan.columns import PLACE
from qc.plan.errors import PlanFault
from qc.plan.model import Card, Characteristic, Model, Plan, Stage
from qc.plan.sentences import did_you_mean
from qc.plan.tree import Node, fault_at
from qc.words import some_of

DERIVED_FROM: dict[str, tuple[tuple[str, ...], ...]] = {
    "clearance": (("inner_od", "outer_bore"), ("clearance_read",)),
    "ovality": (("outer_bore",),),
    "main-length": (("note",),),
    "wrap-length": (("note",),),
    "partial": (("note",),),
    "note-scatter": (("note",),),
}
"""What a derived figure is computed from: any one of these sets of characteristics of its own stage."""

WRITTEN_BY: dict[str, tuple[str, ...]] = {
    "slide": ("inner_od", "outer_bore", "clearance_read"),
    "tuning": ("note",),
    "lacquer": ("thickness",),
}
"""The characteristics that the reader of a kind of sheet writes."""

_RESERVED_FAMILY = "all"  # the name under which `pool: all` is charted


@dataclass(frozen=True, slots=True)
class Declared:
    """Names that the file declares, also where the part that declares them has a fault of its own."""

    models: frozenset[str]
    families: frozenset[str]
    valves: dict[str, frozenset[str]]  # by model
    stages: dict[str, frozenset[str]]  # characteristics by stage
    gauge_classes: frozenset[str]
    tool_classes: frozenset[str]
    people: frozenset[str]

    @classmethod
    def of(cls, tree: Node) -> Declared:
        """Collect the names from the tree of a plan."""
        models, stages = _entries(tree, "models"), _entries(tree, "stages")
        return cls(
            models=_names(models, "id"),
            families=_names(models, "family"),
            valves={m.text("id"): _names(_entries(m, "valves"), "name") for m in models},
            stages={s.text("id"): _names(_entries(s, "characteristics"), "id") for s in stages},
            gauge_classes=_names(_entries(tree, "gauges"), "gauge_class"),
            tool_classes=_names(_entries(tree, "tools"), "tool_class"),
            people=_names(_entries(tree, "people"), "code"),
        )


def check_references(plan: Plan, tree: Node, declared: Declared) -> list[PlanFault]:
    """Return a fault for every name that is used but not declared, or declared twice.

    Parameters
    ----------
    plan, tree
        As for `check_figures`.
    declared : Declared
        The names in the whole file.
    """
    return [
        *_workshop(plan, tree, declared),
        *_models(plan, tree, declared),
        *_stages(plan, tree, declared),
        *_cards(plan, tree, declared),
    ]


def doubled_names(tree: Node) -> Iterator[PlanFault]:
    """Yield a fault for every name that is declared twice; upper and lower case count as alike."""
    for section in ("models", "stages", "gauges", "tools", "cards"):
        yield from _doubled(_entries(tree, section), "id")
    yield from _doubled(_entries(tree, "people"), "code")
    yield from _doubled(_entries(tree, "cards"), "title")
    for model in _entries(tree, "models"):
        yield from _doubled(_entries(model, "valves"), "name")
    for stage in _entries(tree, "stages"):
        yield from _doubled(_entries(stage, "characteristics"), "id")
    causes = tree.get("causes")
    yield from _doubled_texts(causes.items() if causes is not None else [])


def _doubled(entries: Iterable[Node], key: str) -> Iterator[PlanFault]:
    yield from _doubled_texts([below for entry in entries if (below := entry.get(key)) is not None])


def _doubled_texts(nodes: Iterable[Node]) -> Iterator[PlanFault]:
    seen: dict[str, Node] = {}
    for node in nodes:
        name = node.value.strip() if isinstance(node.value, str) else ""
        first = seen.setdefault(name.casefold(), node)
        if name and first is not node:
            # cards are matched without regard to case, so "AB" and "ab" would be one person
            problem = f'"{name}" is already used on line {first.line}'
            yield PlanFault(
                node.line, node.path, problem, "Give each its own; upper and lower case are alike."
            )


def _workshop(plan: Plan, tree: Node, declared: Declared) -> Iterator[PlanFault]:
    shop = tree.nearest("workshop")
    zone = plan.workshop.time_zone
    if not _is_zone(zone):
        mend = did_you_mean(zone, available_timezones()) or 'Write a name such as "UTC" or "Etc/GMT-1".'
        yield fault_at(shop, "time_zone", f'"{zone}" is no known time zone', mend)
    if plan.workshop.lead and plan.workshop.lead not in declared.people:
        yield _unknown(shop, "lead", "person", plan.workshop.lead, declared.people)


def _models(plan: Plan, tree: Node, declared: Declared) -> Iterator[PlanFault]:
    for model, node in zip(plan.models, _entries(tree, "models"), strict=True):
        for name in ("id", "family"):
            if getattr(model, name).casefold() == _RESERVED_FAMILY:
                problem = '"all" stands for every model and cannot be a name'
                yield fault_at(node, name, problem, "Choose another name.")
        yield from _valves(model, node, declared.valves.get(model.id, frozenset()))


def _valves(model: Model, node: Node, names: frozenset[str]) -> Iterator[PlanFault]:
    on = {valve.name: valve.depends_on for valve in model.valves}
    for valve, below in zip(model.valves, _entries(node, "valves"), strict=True):
        if valve.name.casefold() == "open":
            yield fault_at(below, "name", '"open" stands for no valve pressed', "Choose another name.")
        if valve.depends_on is None:
            continue
        if valve.depends_on not in names:
            yield _unknown(below, "depends_on", "valve of this model", valve.depends_on, names)
        elif _goes_round(valve.name, on):
            problem = f'"{valve.name}" depends on itself, directly or through another valve'
            yield fault_at(below, "depends_on", problem, "Take the line out where the valve stands alone.")


def _goes_round(start: str, on: dict[str, str | None]) -> bool:
    seen = {start}
    name = on.get(start)
    while name is not None and name not in seen:
        seen.add(name)
        name = on.get(name)
    return name == start


def _stages(plan: Plan, tree: Node, declared: Declared) -> Iterator[PlanFault]:
    for stage, node in zip(plan.stages, _entries(tree, "stages"), strict=True):
        own = _entries(node, "characteristics")
        for characteristic, below in zip(stage.characteristics, own, strict=True):
            yield from _models_named(characteristic, below, declared)
            yield from _places(characteristic, below, declared)
            yield from _limits_at(characteristic, below)
            yield from _derived(stage, characteristic, below, declared)
            yield from _equipment(plan, characteristic, below, declared)


def _models_named(characteristic: Characteristic, node: Node, declared: Declared) -> Iterator[PlanFault]:
    for name, item in zip(characteristic.models, _entries(node, "models"), strict=True):
        if name not in declared.models:
            yield _unknown(item, "", "model", name, declared.models)
    for entry, below in zip(characteristic.limits, _entries(node, "limits"), strict=True):
        for name, item in zip(entry.models, _entries(below, "models"), strict=True):
            if name not in declared.models:
                yield _unknown(item, "", "model", name, declared.models)
            elif characteristic.models and name not in characteristic.models:
                problem = f'limits for "{name}", on which "{characteristic.id}" is not measured'
                mend = "Add the model to `models` of the characteristic, or take it out here."
                yield PlanFault(item.line, item.path, problem, mend)


def _places(characteristic: Characteristic, node: Node, declared: Declared) -> Iterator[PlanFault]:
    """Check places against the columns of the tidy table: a place no reader knows would hold every row."""
    valves = {name for names in declared.valves.values() for name in names} | {"open"}
    for key, values in characteristic.places.items():
        below = node.nearest("places", key)
        if key not in PLACE:
            yield _unknown(below, "", "part of a place", key, PLACE)
            continue
        if not values:
            yield PlanFault(below.line, below.path, "names no places", "List them, or take the line out.")
        yield from _doubled_texts(below.items())
        for item in below.items():
            text = item.value if isinstance(item.value, str) else ""
            if PLACE[key] == "int" and not text.strip().isdecimal():
                yield PlanFault(item.line, item.path, f'"{text}" is not a number', "Count from 1.")
            unknown = sorted(set(text.split("+")) - valves) if key == "valve" else []
            if unknown:
                yield _unknown(item, "", "valve of any model", unknown[0], valves)


def _limits_at(characteristic: Characteristic, node: Node) -> Iterator[PlanFault]:
    """Check that limits for some places name places of the figure: elsewhere they would never hold."""
    for entry, below in zip(characteristic.limits, _entries(node, "limits"), strict=True):
        for part, values in entry.at.items():
            known, own = characteristic.places.get(part), below.nearest("at", part)
            if known is None:
                problem = f'"{characteristic.id}" has no places by "{part}"'
                named = some_of(list(characteristic.places)) or "none, so take `at` out"
                yield PlanFault(own.line, own.path, problem, f"Under `places` stand: {named}.")
                continue
            if not values:
                yield PlanFault(own.line, own.path, "names no places", "List them, or take `at` out.")
            for value, item in zip(values, own.items(), strict=True):
                if value not in known:
                    yield _unknown(item, "", f'place by "{part}"', value, known)


def _derived(
    stage: Stage, characteristic: Characteristic, node: Node, declared: Declared
) -> Iterator[PlanFault]:
    """Check that what a figure is computed from is measured at its own stage, and that it says of what."""
    derive = characteristic.derive
    if derive is None:
        return
    present = declared.stages.get(stage.id, frozenset())
    choices = DERIVED_FROM[derive.what]
    if not any(present.issuperset(choice) for choice in choices):
        wanted = ", or ".join(" and ".join(f'"{name}"' for name in choice) for choice in choices)
        problem = f'"{derive.what}" is computed from readings that stage "{stage.id}" does not have'
        yield fault_at(node, "derive", problem, f"Add {wanted} to the stage.")
    needs = {"wrap-length": "valve", "partial": "partial"}.get(derive.what)
    for name in ("valve", "partial"):
        given = getattr(derive, name)
        if name == needs and given is None:
            mend = f"Add `{name}:` below `what:`."
            yield fault_at(node, "derive", f'"{derive.what}" does not say which {name}', mend)
    valves = {valve for names in declared.valves.values() for valve in names}
    pressed = [] if derive.valve in (None, "open") else str(derive.valve).split("+")
    for valve in pressed:
        if valve not in valves:
            yield _unknown(node.nearest("derive"), "valve", "valve of any model", valve, valves)


def _equipment(
    plan: Plan, characteristic: Characteristic, node: Node, declared: Declared
) -> Iterator[PlanFault]:
    """Check that the gauges and tools which a characteristic names are in the plan."""
    kind, tools = characteristic.gauge_class, characteristic.wears_with
    if characteristic.near_limit == "held" and not any(g.spread is not None for g in plan.gauges):
        problem = "figures near a limit are to be held, but no gauge says its spread"
        yield fault_at(node, "near_limit", problem, "Add `spread:` to the gauges; `qc gauge` works it out.")
    if kind is not None and kind not in declared.gauge_classes:
        problem = f'there is no gauge of class "{kind}" in the plan'
        mend = did_you_mean(kind, declared.gauge_classes) or "Add the gauge under `gauges:`."
        yield fault_at(node, "gauge_class", problem, mend)
    if tools is not None and tools not in declared.tool_classes:
        problem = f'there is no tool of class "{tools}" in the plan'
        mend = did_you_mean(tools, declared.tool_classes) or "Add the tool under `tools:`."
        yield fault_at(node, "wears_with", problem, mend)


def _cards(plan: Plan, tree: Node, declared: Declared) -> Iterator[PlanFault]:
    titles = {card.title.casefold(): card.id for card in plan.cards}
    for card, node in zip(plan.cards, _entries(tree, "cards"), strict=True):
        if titles.get(card.id.casefold(), card.id) != card.id:
            problem = f'"{card.id}" is also the title of another card'
            yield fault_at(node, "id", problem, "Sheets are recognised by both; give each its own.")
        if card.stage is not None and card.stage not in declared.stages:
            yield _unknown(node, "stage", "stage", card.stage, declared.stages)
            continue
        yield from _card_content(card, plan, node, declared)


def _card_content(card: Card, plan: Plan, node: Node, declared: Declared) -> Iterator[PlanFault]:
    """Check that a card holds something, and nothing that its stage or its reader does not know."""
    if card.stage is None:
        if card.characteristics or card.source != "bench":
            mend = "Add `stage:` with the id of the stage the card belongs to."
            yield fault_at(node, "stage", "the card has readings but no stage", mend)
        elif card.event is None:
            mend = "Add `stage:` and `characteristics:`, or `event:`."
            yield fault_at(node, "", "the card holds neither readings nor an event", mend)
        return
    present = declared.stages[card.stage]
    for name, item in zip(card.characteristics, _entries(node, "characteristics"), strict=True):
        found = plan.characteristic(card.stage, name)
        if name not in present:
            yield _unknown(item, "", f'characteristic of stage "{card.stage}"', name, present)
        elif found is not None and found.derive is not None:
            problem = f'"{name}" is computed, nobody writes it on a card'
            yield PlanFault(item.line, item.path, problem, "Take it out of the card.")
    writes = WRITTEN_BY.get(card.source)
    if writes is None and card.event is None and not card.characteristics and not plan.figures_on(card):
        mend = "Add `characteristics:` or `event:`; the stage has no figure that a person writes."
        yield fault_at(node, "", "the card holds neither readings nor an event", mend)
    if writes is not None and not present.intersection(writes):
        wanted = " or ".join(f'"{name}"' for name in writes)
        problem = f'a {card.source} sheet writes nothing that stage "{card.stage}" has'
        yield fault_at(node, "source", problem, f"Add {wanted} to the stage.")


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (OSError, ValueError):  # ZoneInfoNotFoundError is a KeyError of its own
        return False
    except KeyError:
        return False
    return True


def _entries(node: Node, key: str) -> list[Node]:
    below = node.get(key)
    return below.items() if below is not None else []


def _names(entries: Iterable[Node], key: str) -> frozenset[str]:
    return frozenset(text for entry in entries if (text := entry.text(key)))


def _unknown(node: Node, key: str, noun: str, name: str, known: Iterable[str]) -> PlanFault:
    names = sorted(known)
    mend = did_you_mean(name, names) or f"Known: {some_of(names)}."
    return fault_at(node, key, f'there is no {noun} named "{name}"', mend)

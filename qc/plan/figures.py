"""Checks of a plan's numbers and days against each other: limits, targets, sensible ranges, dates."""

from __future__ import annotations

from collections.abc import Iterator

from qc.plan.errors import PlanFault
from qc.plan.model import Characteristic, DatedLimits, Plan
from qc.plan.tree import Node, fault_at

_WEEK = frozenset({"mon", "tue", "wed", "thu", "fri", "sat", "sun"})


def check_figures(plan: Plan, tree: Node) -> list[PlanFault]:
    """Return a fault wherever two figures or days of a plan cannot both be right.

    Parameters
    ----------
    plan : Plan
        The plan as far as the model could be filled.
    tree : Node
        The tree that `plan` was filled from, entry for entry.
    """
    return [
        *_empty_sections(tree),
        *_days_off(plan, tree),
        *_model_numbers(plan, tree),
        *_characteristics(plan, tree),
        *_gauges(plan, tree),
        *_spans(plan, tree),
    ]


def _empty_sections(tree: Node) -> Iterator[PlanFault]:
    for name, noun in (("models", "model"), ("stages", "stage")):
        node = tree.get(name)
        # a section that pruning emptied, or that was put in for a missing one, has its fault already
        if node is not None and node.value == [] and name in tree.key_lines and not node.pruned:
            yield PlanFault(node.line, node.path, "is an empty list", f"Write at least one {noun}.")


def _days_off(plan: Plan, tree: Node) -> Iterator[PlanFault]:
    if _WEEK <= {day for day in plan.workshop.days_off if isinstance(day, str)}:
        node = tree.nearest("workshop", "days_off")
        yield PlanFault(node.line, node.path, "leaves no working day", "Take the working days out.")
    if not plan.workshop.name:
        node = tree.nearest("workshop", "name")
        yield PlanFault(node.line, node.path, "is empty", "Write the name that stands on the report.")


def _model_numbers(plan: Plan, tree: Node) -> Iterator[PlanFault]:
    for number, model in enumerate(plan.models):
        node = tree.nearest("models", number, "partials")
        if not model.partials:
            yield PlanFault(node.line, node.path, "names no partials", "List those the tester blows.")
        if any(partial < 1 for partial in model.partials):
            yield PlanFault(node.line, node.path, "counts partials below 1", "Partial 1 is the pedal note.")
        if len(set(model.partials)) < len(model.partials):
            yield PlanFault(node.line, node.path, "names a partial twice", "Keep one of the two.")


def _characteristics(plan: Plan, tree: Node) -> Iterator[PlanFault]:
    for row, stage in enumerate(plan.stages):
        for column, characteristic in enumerate(stage.characteristics):
            node = tree.nearest("stages", row, "characteristics", column)
            yield from _sensible(characteristic, node)
            yield from _unit(characteristic, node)
            yield from _decides(characteristic, node)
            entries = list(zip(characteristic.limits, node.nearest("limits").items(), strict=True))
            for number, (entry, below) in enumerate(entries):
                yield from _limits(characteristic, entry, below)
                yield from _overlap(entry, below, entries[:number])


def _sensible(characteristic: Characteristic, node: Node) -> Iterator[PlanFault]:
    if characteristic.sensible is not None and characteristic.sensible[0] >= characteristic.sensible[1]:
        low, high = characteristic.sensible
        below = node.nearest("sensible")
        problem = f"runs from {low:g} to {high:g}, which leaves nothing between"
        yield PlanFault(below.line, below.path, problem, "Write [lowest, highest].")


def _unit(characteristic: Characteristic, node: Node) -> Iterator[PlanFault]:
    below = node.nearest("unit")
    plain = characteristic.unit.replace("µ", "u").replace("μ", "u").replace("³", "3")
    if not characteristic.unit:
        yield PlanFault(below.line, below.path, "is empty", "Write the unit, for example um, mm or cent.")
    elif plain != characteristic.unit:
        problem = f'"{characteristic.unit}" has signs that many keyboards and files lose'
        yield PlanFault(below.line, below.path, problem, f"Write {plain}.")


def _limits(characteristic: Characteristic, entry: DatedLimits, node: Node) -> Iterator[PlanFault]:
    lower, target, upper = entry.lower, entry.target, entry.upper
    if lower is None and target is None and upper is None:
        mend = "Write `target:`, `lower:` or `upper:`, or take the entry out."
        yield PlanFault(node.line, node.path, "says neither a target nor a limit", mend)
    if lower is not None and upper is not None and lower >= upper:
        problem = f"lower {lower:g} is not below upper {upper:g}"
        yield fault_at(node, "lower", problem, "Exchange the two, or correct one.")
    elif target is not None and not _inside(target, lower, upper):
        problem = f"target {target:g} lies outside the limits {_span(lower, upper)}"
        yield fault_at(node, "target", problem, "Correct the target or the limits.")
    low, high = characteristic.sensible or (0.0, 0.0)
    if low >= high:  # none, or a fault that was named already
        return
    for name, value in (("lower", lower), ("target", target), ("upper", upper)):
        # the range is of the figure as read, so a limit outside it could never be met
        if value is not None and not low <= value <= high:
            problem = f"{name} {value:g} lies outside the sensible range {low:g} to {high:g}"
            yield fault_at(node, name, problem, "Widen `sensible`, or correct the figure.")


def _overlap(entry: DatedLimits, node: Node, before: list[tuple[DatedLimits, Node]]) -> Iterator[PlanFault]:
    """Yield a fault for each model of which an earlier entry speaks of the same day and the same places."""
    for model in entry.models or ("",):
        for other, first in before:
            if other.since == entry.since and model in (other.models or ("",)) and _meet(entry, other):
                whom = f'model "{model}"' if model else "every model"
                when = f"since {entry.since}" if entry.since else "without a day"
                places = " and for a place of both" if entry.at else ""
                problem = f"a second entry for {whom} {when}{places}; the first is on line {first.line}"
                yield PlanFault(
                    node.line, node.path, problem, "Give the newer one a `since:` day of its own."
                )
                break


def _meet(one: DatedLimits, other: DatedLimits) -> bool:
    """Say whether two entries name the same parts of a place and a place of both; else one goes before."""
    return one.at.keys() == other.at.keys() and all(
        set(one.at[part]) & set(other.at[part]) for part in one.at
    )


def _decides(characteristic: Characteristic, node: Node) -> Iterator[PlanFault]:
    """Check that what decides about a piece has what it needs: limits for the whole, a nominal, places."""
    if characteristic.decides == "every-place":
        return
    whole = [entry for entry in characteristic.limits if not entry.at]
    said = f'"{characteristic.decides}" decides'
    if not whole:
        mend = "Write an entry of `limits` without `at`, or let every place decide."
        yield fault_at(node, "decides", f"{said}, but there are no limits for the whole piece", mend)
    if characteristic.decides == "mean":
        return
    if characteristic.kind != "measured" or not characteristic.places:
        mend = "Name the places under `places`, or let every place decide."
        yield fault_at(node, "decides", f"{said}, but the figure is not measured at several places", mend)
    if any(entry.target is None or entry.target <= 0 for entry in whole):
        mend = "Write the nominal figure as `target:` of each entry of `limits`."
        yield fault_at(node, "decides", f"{said}, but a nominal above 0 is missing", mend)


def _gauges(plan: Plan, tree: Node) -> Iterator[PlanFault]:
    for number, gauge in enumerate(plan.gauges):
        node = tree.nearest("gauges", number)
        if gauge.due is not None and gauge.calibrated and gauge.due < max(gauge.calibrated):
            problem = f"due {gauge.due} lies before the last calibration {max(gauge.calibrated)}"
            yield fault_at(node, "due", problem, "Write the day on which the calibration runs out.")
        if gauge.check_tolerance is not None and gauge.check_tolerance <= 0:
            problem = f"{gauge.check_tolerance:g} is no tolerance"
            yield fault_at(node, "check_tolerance", problem, f"Write a number above 0, in {gauge.unit}.")
        if gauge.daily_check and gauge.check_tolerance is None:
            mend = "Add `check_tolerance:`, the largest deviation from the master that passes."
            yield fault_at(node, "daily_check", "the daily check has no tolerance to be judged by", mend)


def _spans(plan: Plan, tree: Node) -> Iterator[PlanFault]:
    for number, person in enumerate(plan.people):
        if person.joined and person.left and person.left < person.joined:
            node = tree.nearest("people", number)
            yield fault_at(node, "left", f"left {person.left} before joining {person.joined}", "Correct one.")
    for number, tool in enumerate(plan.tools):
        if tool.fitted and tool.removed and tool.removed < tool.fitted:
            node = tree.nearest("tools", number)
            problem = f"removed {tool.removed} before it was fitted {tool.fitted}"
            yield fault_at(node, "removed", problem, "Correct one.")


def _inside(value: float, lower: float | None, upper: float | None) -> bool:
    return (lower is None or value >= lower) and (upper is None or value <= upper)


def _span(lower: float | None, upper: float | None) -> str:
    if lower is None:
        return f"up to {upper:g}"
    return f"from {lower:g}" if upper is None else f"{lower:g} to {upper:g}"

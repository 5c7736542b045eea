"""Which figures of a card columns without a telling heading most likely are, by the values in them alone.

It is a proposal for a person who points at a sheet: what could be two things is left open.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from qc.ingest.cells import read_decimal
from qc.plan import Card, Characteristic, Plan, figures_written

Range = tuple[float, float]

FITS = 0.8
"""So many of the values of a line must be usual for the figure; chosen."""

WIDTHS = 1.0
"""So many widths beyond its limits a value is still thought usual; chosen."""


def figures_by_values(
    lines: Sequence[Sequence[str]], taken: Mapping[int, str], card: Card, plan: Plan, choices: Sequence[str]
) -> dict[int, str]:
    """Return what lines that nobody knows by a heading most likely hold: place of the line -> choice.

    Parameters
    ----------
    lines : sequence of sequence of str
        The cells of each line, in their order on the sheet.
    taken : mapping of int to str
        Lines that are known already -> their choice.
    card : Card
        Gives the figures that come into question.
    plan : Plan
        Gives their limits.
    choices : sequence of str
        What may be chosen on the card, in the plan's measuring order.

    Returns
    -------
    dict of int to str
        A figure with places is proposed only where as many lines stand side by side as it has places; one
        that may be about nought not at all, as any small figure would be usual for it.
    """
    values = {n: told for n, texts in enumerate(lines) if n not in taken and (told := _numbers(texts))}
    claims: dict[int, list[str]] = {}
    for figure in figures_written(plan, card):
        usual = usual_range(figure, plan)
        own = [one for one in choices if one.partition("|")[0] == figure.id]
        if (
            usual is None
            or usual[0] <= 0.0 <= usual[1]
            or not own
            or any(one.partition("|")[0] == figure.id for one in taken.values())
        ):
            continue
        fitting = [n for n in sorted(values) if _fits(values[n], usual)]
        for run in _runs(fitting):
            if len(run) == len(own):
                for n, choice in zip(run, own, strict=True):
                    claims.setdefault(n, []).append(choice)
    found = {n: told[0] for n, told in claims.items() if len(told) == 1}
    wanted = {figure: sum(one.partition("|")[0] == figure for one in choices) for figure in _figures(found)}
    whole = {figure for figure, count in wanted.items() if _figures(found).count(figure) == count}
    return {n: choice for n, choice in found.items() if choice.partition("|")[0] in whole}


def usual_range(figure: Characteristic, plan: Plan) -> Range | None:
    """Return the widest range in which a figure is usual for any model; None where the plan has no limits.

    Examples
    --------
    >>> from qc.plan import DatedLimits, Shop
    >>> plan = Plan(workshop=Shop(name="Mill"), models=(), stages=())
    >>> od = Characteristic(id="od", name="OD", unit="mm", limits=(DatedLimits(lower=13, upper=15),))
    >>> usual_range(od, plan)
    (11.0, 17.0)
    """
    ranges = []
    for model in [one.id for one in plan.models] or [""]:
        limits = plan.usual_limits(figure, model, date.max)
        ends = [one for one in (limits.lower, limits.target, limits.upper) if one is not None]
        if len(ends) >= 2:
            width = WIDTHS * (max(ends) - min(ends))
            ranges.append((min(ends) - width, max(ends) + width))
    if not ranges:
        return None
    return min(low for low, _ in ranges), max(high for _, high in ranges)


def _numbers(texts: Sequence[str]) -> list[float]:
    """Return the values of a line that holds nothing else."""
    found = [read_decimal(text) for text in texts]
    return [float(one) for one in found if one is not None] if None not in found else []


def _fits(values: Sequence[float], usual: Range) -> bool:
    inside = sum(usual[0] <= one <= usual[1] for one in values)
    return inside >= FITS * len(values)


def _runs(places: Sequence[int]) -> list[list[int]]:
    """Return the places that follow each other, together."""
    runs: list[list[int]] = []
    for place in places:
        if runs and place == runs[-1][-1] + 1:
            runs[-1].append(place)
        else:
            runs.append([place])
    return runs


def _figures(found: Mapping[int, str]) -> list[str]:
    return [choice.partition("|")[0] for choice in found.values()]

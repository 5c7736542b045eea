"""What is taken off the figures of a series: the targets of its models, also where the plan changed one.

A new target moves no metal. Deviations from the target of each day would jump where somebody writes another
figure into the plan, and the jump would be told as a change of the pieces. So a new target is taken off only
from pieces that went to meet it; where they stayed as they were, the one target that holds now is taken off
before and after. Whichever is nearer is taken, so that a series is never shifted by more than half of what
the plan was.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import chain, groupby, pairwise
from operator import itemgetter
from statistics import median

import polars as pl

from qc.plan import Characteristic, DatedLimits, Plan
from qc.stats import StatisticsError, mean_change, mean_change_p_value

LOOKED_AT = 25
"""So many pieces on either side of a new target say whether it was met: a difference of one spread between
the targets is then told from none in 24 of 25 cases (normal pieces; median of 25, from memory 1.25 times the
error of a mean)."""

CHANGED = 0.01
"""Pieces further off are left out where the level changed in between with at most this chance of error."""

Place = tuple[str, date]
"""A model and the day of a piece."""

Turn = tuple[date, float, float]
"""The day from which the plan has a new target, the old one and the new one."""


@dataclass(frozen=True, slots=True)
class NewTarget:
    """A target that was changed while pieces of these models were made.

    `since` is the day from which the plan has it; `met` says whether the pieces went with it.
    """

    models: tuple[str, ...]
    since: date
    old: float
    new: float
    met: bool


@dataclass(frozen=True, slots=True)
class Aims:
    """The figure that is taken off for each model and day, and the targets that were changed in between."""

    bases: Mapping[Place, float | None]
    changes: tuple[NewTarget, ...] = ()

    @property
    def centered(self) -> bool:
        """Whether figures are charted as deviations: more than one target has to be taken off."""
        return len({*self.bases.values()}) > 1 and None not in self.bases.values()


def aims_of(plan: Plan, characteristic: Characteristic, rows: pl.DataFrame) -> Aims:
    """Return what is taken off the figures of a characteristic.

    Parameters
    ----------
    plan : Plan
        Knows the target of each model and day.
    characteristic : Characteristic
        What is charted.
    rows : polars.DataFrame
        Its figures, with `serial`, `model`, `day` (of the piece's first one) and `value`.

    Returns
    -------
    Aims
        Of each model and day in the rows; None where the plan has no target there.
    """
    places = sorted({(model or "", day) for model, day in rows.select("model", "day").unique().iter_rows()})
    held = {(model, day): plan.limits(characteristic, model, day) for model, day in places}
    targets = {place: limits.target for place, limits in held.items()}
    spans = {
        model: [[*own] for _, own in groupby(same, key=targets.__getitem__)]
        for model, same in groupby(places, key=lambda place: place[0])
    }
    if None in targets.values() or all(len(own) == 1 for own in spans.values()):
        return Aims(targets)
    figures = _figures(rows, added=characteristic.kind == "count")
    turns: dict[Turn, list[tuple[list[Place], list[Place]]]] = defaultdict(list)
    for own in spans.values():
        for before, since in pairwise(own):
            turns[_turn(before, since, held)].append((before, since))
    met = {turn: _is_met(figures, sides, turn) for turn, sides in turns.items()}
    bases: dict[Place, float | None] = {}
    for own in spans.values():
        base = targets[own[-1][0]] or 0.0  # what holds now is the measure
        bases |= dict.fromkeys(own[-1], base)
        for before, since in reversed([*pairwise(own)]):
            _, old, new = turn = _turn(before, since, held)
            if met[turn]:  # going back, another one counts where it was left
                base = old if base == new else base + old - new
            bases |= dict.fromkeys(before, base)
    changes = [
        NewTarget(tuple(before[0][0] for before, _ in sides), *turn, met=met[turn])
        for turn, sides in turns.items()
    ]
    return Aims(bases, tuple(sorted(changes, key=lambda one: one.since)))


def _turn(before: Sequence[Place], since: Sequence[Place], held: Mapping[Place, DatedLimits]) -> Turn:
    """Return the day on which the target of a model turned from one to another, and both."""
    old, new = held[before[-1]], held[since[0]]
    return new.since or since[0][1], old.target or 0.0, new.target or 0.0


def _figures(rows: pl.DataFrame, *, added: bool) -> dict[Place, list[float]]:
    """Return the figures of the pieces of each model and day."""
    value = pl.col("value").sum() if added else pl.col("value").mean()
    pieces = rows.group_by("serial", maintain_order=True).agg(
        pl.col("model").first().fill_null(""), pl.col("day").first(), value
    )
    found: dict[Place, list[float]] = defaultdict(list)
    for model, day, figure in pieces.select("model", "day", "value").iter_rows():
        found[model, day].append(figure)
    return found


def _is_met(
    figures: Mapping[Place, Sequence[float]], sides: Sequence[tuple[list[Place], list[Place]]], turn: Turn
) -> bool:
    """Say whether the pieces went along when their target turned; all models of one turn together."""
    before, since = (
        [v for place in sorted(chain.from_iterable(side), key=itemgetter(1)) for v in figures[place]]
        for side in zip(*sides, strict=True)
    )
    left = before[-LOOKED_AT:]
    right = since[:LOOKED_AT]
    moved = median(right[: _first_change(right)]) - median(left[-_first_change(left[::-1]) :])
    return abs(moved - (turn[2] - turn[1])) < abs(moved)


def _first_change(values: Sequence[float]) -> int:
    """Return how many of the values come before the level changed; all where it did not."""
    try:
        found = mean_change(values)
    except StatisticsError:  # too few, or all alike
        return len(values)
    sure = mean_change_p_value(found.statistic, len(values)) <= CHANGED
    return _first_change(values[: found.last_before]) if sure else len(values)

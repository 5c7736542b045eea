"""One figure of one model in several workshops: what is common, how far apart they are, who differs."""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Final

from qc.errors import QcError
from qc.jobs.errors import JobError
from qc.jobs.judging import brought_up, verdicts_of_day
from qc.jobs.shops.together import folders_of
from qc.jobs.workshop import Workshop, open_workshop
from qc.report.terminal import apart_words, between_lines, compared_text
from qc.stats import BetweenGroups, Tabled, between_groups
from qc.watch import SeriesKey, SeriesVerdict
from qc.words import closest, count_words, listed, pieces_words

LEAST_PIECES: Final = 10
"""Chosen: the standard error of a mean is taken as known, which of fewer pieces it is not."""

MEASURED: Final = "measured"


@dataclass(frozen=True, slots=True)
class ShopLevel:
    """Where a figure of one model stands in one workshop now.

    Attributes
    ----------
    folder, workshop : str
        Folder within that of the group, and name by its plan.
    figure, model : str
        Stage and characteristic as ``stage/characteristic``, and the model, by their ids.
    name, model_name, unit : str
        How this workshop's plan names the figure and the model, and its unit.
    mean, error : float
        Mean of the pieces of the present state, and its standard error. [`unit`]
    pieces : int
        Pieces it rests on.
    target : float or None
        Of that model, by the plan. [`unit`]
    why_not : str
        Why it cannot be compared; empty where it can.
    """

    folder: str
    workshop: str
    figure: str
    model: str
    name: str
    model_name: str
    unit: str
    mean: float = math.nan
    error: float = math.nan
    pieces: int = 0
    target: float | None = None
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class ShopApart(Tabled):
    """One workshop beside the others.

    Attributes
    ----------
    folder, workshop : str
        Folder within that of the group, and name by its plan.
    pieces : int
        Pieces its mean rests on: those of its present state.
    mean, standard_error : float
        As measured. [unit of the figure]
    deviation : float
        From the mean of the workshops compared, drawn towards it. [unit of the figure]
    interval : (float, float)
        Of the deviation, 95 %.
    differs : bool
        Whether the interval leaves 0 out.
    target : float or None
        Of that model in its plan. [unit of the figure]
    sentence : str
        The finding in words.
    """

    folder: str
    workshop: str
    pieces: int
    mean: float
    standard_error: float
    deviation: float
    interval: tuple[float, float]
    differs: bool
    target: float | None
    sentence: str


@dataclass(frozen=True, slots=True)
class ModelCompared(Tabled):
    """One model of the figure in the workshops that make it.

    Attributes
    ----------
    model, model_name, unit : str
        By id and name, and the unit of every figure here.
    mean, interval : float, (float, float)
        Of workshops of this sort, with its 95 % interval.
    between, between_interval : float, (float, float)
        Standard deviation of the workshops' true means, with its 95 % interval.
    p_value : float
        Chance of means as far apart where all workshops are the same.
    shops : tuple of ShopApart
        Those that differ first, the farthest first.
    """

    ROWS = "shops"

    model: str
    model_name: str
    unit: str
    mean: float
    interval: tuple[float, float]
    between: float
    between_interval: tuple[float, float]
    p_value: float
    shops: tuple[ShopApart, ...]


@dataclass(frozen=True, slots=True)
class ShopsCompared(Tabled):
    """A figure compared between the workshops of a group, model by model.

    Attributes
    ----------
    group, figure, name : str
        The folder, the figure as ``stage/characteristic``, and its name.
    models : tuple of ModelCompared
        Models that two workshops or more make.
    left_out : tuple of str
        Who takes no part, and why, a sentence each.
    """

    ROWS = "models"

    group: str
    figure: str
    name: str
    models: tuple[ModelCompared, ...]
    left_out: tuple[str, ...]

    def to_text(self) -> str:
        """Say it in words, a paragraph for each model."""
        return compared_text(self.to_dict())


def compare_shops(group: Path, figure: str, *, model: str = "", as_of: date | None = None) -> ShopsCompared:
    """Compare one figure between the workshops of a folder, by random effects; what waits is judged first.

    Parameters
    ----------
    group : Path
        A folder whose folders are workshops.
    figure : str
        Stage and characteristic by their ids, as ``slide/clearance``; the same in every plan.
    model : str
        One model by its id; else every model that two workshops make.
    as_of : date, optional
        By what was measured until this day.

    Raises
    ------
    JobError
        No workshop there, a figure or model that none of them has, or fewer than two that can be compared.
    """
    levels: list[ShopLevel] = []
    unasked: dict[str, str] = {}
    for folder in folders_of(group):
        try:
            workshop = open_workshop(folder, as_of=as_of)
            try:
                brought_up(workshop)
                levels += levels_of(workshop)
            finally:
                workshop.store.close()
        except QcError as error:
            unasked[folder.name] = str(error)
    return compared(group, figure, model, levels, unasked, unit_of(levels, figure))


def between_words(model: ModelCompared) -> tuple[str, str]:
    """Say what the workshops that make a model have in common, and how far they are apart."""
    return between_lines(model.to_dict())


def levels_of(workshop: Workshop) -> tuple[ShopLevel, ...]:
    """Return the level of each figure of each model in a workshop, by its present state."""
    return tuple(level for verdict in verdicts_of_day(workshop) for level in _levels(workshop, verdict))


def _levels(workshop: Workshop, verdict: SeriesVerdict) -> list[ShopLevel]:
    plan, key = workshop.plan, verdict.key
    names = {model.id: model.name for model in plan.models}
    (asked,) = (c for s, c, f in plan.charted() if str(SeriesKey(s.id, c.id, f)) == str(key))
    targets = {model: plan.limits(asked, model, workshop.today).target for model in names}
    present = verdict.present_points
    worth = verdict.scatter.counts_as if verdict.scatter else None
    # pieces that hang together are worth fewer; of one model's pieces the same share
    share = min(1.0, worth / len(present)) if worth and present else 1.0
    found = []
    for model in sorted({point.model for point in verdict.points if point.model}):
        values = [point.measured for point in present if point.model == model]
        base = ShopLevel(
            folder=workshop.folder.name,
            workshop=plan.workshop.name,
            figure=f"{key.stage}/{key.characteristic}",
            model=model,
            name=f"{verdict.stage_name}: {verdict.name}",
            model_name=names.get(model, model),
            unit=verdict.unit,
            target=targets.get(model),
        )
        found.append(_measured(base, verdict, values, share))
    return found


def _measured(base: ShopLevel, verdict: SeriesVerdict, values: Sequence[float], share: float) -> ShopLevel:
    """Give a shop its mean and error, or say why its figure cannot stand beside the others'."""
    base = replace(base, pieces=len(values))
    if verdict.kind != MEASURED:
        why = "it is counted and not measured"
    elif verdict.follows_line:
        why = "it follows the wear of a tool and has no one level"
    elif len(values) * share < LEAST_PIECES:
        worth = f", worth {len(values) * share:.0f}" if share < 1.0 else ""
        own = f"{pieces_words(len(values))} of this model{worth}"
        why = f"its present state has {own}; {LEAST_PIECES} are needed"
    elif not (spread := statistics.stdev(values)) > 0.0:
        why = "its pieces all read the same"
    else:
        error = spread / math.sqrt(len(values) * share)
        return replace(base, mean=statistics.fmean(values), error=error)
    return replace(base, why_not=why)


def unit_of(levels: Sequence[ShopLevel], figure: str) -> str:
    """Return the unit in which most workshops have a figure; of as many the first by the alphabet."""
    units = sorted(level.unit for level in levels if level.figure == figure)
    return max(units, key=units.count, default="")


def compared(
    group: Path,
    figure: str,
    model: str,
    levels: Sequence[ShopLevel],
    unasked: Mapping[str, str],
    unit: str,
) -> ShopsCompared:
    """Compare what the workshops told.

    Raises
    ------
    JobError
        None has the figure or the model, or there are not two to compare.
    """
    own = [level for level in levels if level.figure == figure]
    if not own:
        raise JobError(_unknown(figure, sorted({level.figure for level in levels}), "figure"))
    if model:
        known = sorted({level.model for level in own})
        own = [level for level in own if level.model == model]
        if not own:
            raise JobError(_unknown(model, known, "model"))
    left_out = [f"{folder} could not be asked: {why}" for folder, why in sorted(unasked.items())]
    models, apart = [], defaultdict[str, list[ShopLevel]](list)
    for each in sorted({level.model for level in own}):
        makers = [level for level in own if level.model == each]
        fit = [level for level in makers if not level.why_not and level.unit == unit]
        for level in makers:
            why = level.why_not or (
                f"its plan has it in {level.unit}, not {unit}" if level.unit != unit else ""
            )
            if why:
                apart[why].append(level)
        if len(fit) > 1:
            models.append(_model(fit))
        elif len(fit) == 1:
            left_out.append(f"{fit[0].model_name}: only {fit[0].folder} can tell a level of it.")
    left_out += [_no_part(why, whose) for why, whose in apart.items()]
    if not models:
        why = " ".join(left_out)
        raise JobError(
            f"{own[0].name} cannot be compared in {group}: at least two workshops must have a level of one "
            f"model. {why}".rstrip()
        )
    return ShopsCompared(str(group), figure, own[0].name, tuple(models), tuple(left_out))


def _no_part(why: str, levels: Sequence[ShopLevel]) -> str:
    """Say a reason once for all workshops and models that it keeps out."""
    folders = list(dict.fromkeys(level.folder for level in levels))
    models = list(dict.fromkeys(level.model_name for level in levels))
    take = "takes" if len(folders) == 1 else "take"
    # where not each of them is kept out with each model, both are named together
    if len(levels) == len(folders) * len(models):
        return f"{listed(folders)} {take} no part with {listed(models)}: {why}."
    pairs = listed([f"{level.folder} with {level.model_name}" for level in levels])
    return f"No part takes {pairs}: {why}."


def _model(levels: Sequence[ShopLevel]) -> ModelCompared:
    """Compare the shops of one model; those that differ come first, then the furthest."""
    found = between_groups([level.mean for level in levels], [level.error for level in levels])
    shops = [_apart(level, found, at) for at, level in enumerate(levels)]
    shops.sort(key=lambda one: (not one.differs, -abs(one.deviation), one.folder))
    first = levels[0]
    return ModelCompared(
        first.model,
        first.model_name,
        first.unit,
        found.mean,
        found.interval,
        found.between,
        found.between_interval,
        found.p_value,
        tuple(shops),
    )


def _apart(level: ShopLevel, found: BetweenGroups, at: int) -> ShopApart:
    """Say how one shop lies from the mean of all."""
    own = found.groups[at]
    count = len(found.groups)
    sentence = apart_words(level.workshop, own.interval, level.unit, count)
    return ShopApart(
        level.folder,
        level.workshop,
        level.pieces,
        own.estimate,
        own.error,
        own.deviation,
        own.interval,
        own.differs,
        level.target,
        sentence,
    )


def _unknown(asked: str, known: Sequence[str], what: str) -> str:
    near = closest(asked, known)
    if not known:
        return f"No workshop of this group has measured anything yet, so there is no {what} '{asked}'."
    hint = f"Did you mean {near}? " if near else ""
    return (
        f"No workshop of this group has measured a {what} '{asked}'. {hint}There "
        f"{'is' if len(known) == 1 else 'are'} {count_words(len(known), what)}: {', '.join(known)}."
    )

"""What a workshop's plan gives to a remedy, the model blown and limits, each said with its source."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from qc.jobs.remedies.cards import figure_of_plan, pieces_of
from qc.jobs.remedies.errors import RemedyError, RemedyUsageError
from qc.jobs.remedies.instruments import instrument_of, model_of
from qc.jobs.remedies.sheet import RemedySheet
from qc.plan import Characteristic, DatedLimits, Model, Plan, load_plan
from qc.trade import Instrument
from qc.words import plain_words

if TYPE_CHECKING:
    from qc.jobs.workshop import Workshop

Limits = tuple[float | None, float | None, float | None]
"""Target, lower and upper limit."""


@dataclass(frozen=True, slots=True)
class Given:
    """The plan a command was given, and what it is called in an answer; no plan where none was."""

    plan: Plan | None = None
    name: str = ""
    shop: Workshop | None = None

    @property
    def today(self) -> date:
        """The day whose limits hold: the workshop's, else the newest."""
        return self.shop.today if self.shop is not None else date.max


def given(workshop: Path | None, plan: Path | None = None, as_of: date | None = None) -> Given:
    """Open the plan that a command names; a workshop that is not named is not looked for."""
    if plan is not None:
        if not plan.is_file():
            what = "this is no file, and a plan is one" if plan.exists() else "there is no such file"
            raise RemedyUsageError(f"--plan {plan}: {what}")
        return Given(load_plan(plan), f"plan {plan}")
    if workshop is None:
        return Given()
    shop = opened(workshop, as_of)
    return Given(shop.plan, f"the plan of {shop.folder}", shop)


def opened(workshop: Path | None, as_of: date | None = None) -> Workshop:
    """Open the workshop a command works on."""
    from qc.jobs.workshop import open_workshop

    return open_workshop(workshop, as_of=as_of)


def model_of_sheet(sheet: RemedySheet, by: Given, column: str = "serial") -> str | None:
    """Return the model a card says, or the one its piece has on record; None where nothing tells."""
    said = pieces_of(sheet, "model")
    if by.plan is None:
        return None
    if len(said) > 1:
        raise RemedyError(f"{sheet.name}: it holds pieces of the models {', '.join(said)}. Split it by model")
    if said:
        return model_of(by.plan, said[0]).id
    if by.shop is None or not pieces_of(sheet, column):
        return only_model(by.plan)
    rows = by.shop.store.readings(serials=pieces_of(sheet, column))
    known = sorted({name for name in rows["model"].to_list() if name})
    return known[0] if len(known) == 1 else only_model(by.plan)


def only_model(plan: Plan) -> str | None:
    """Return the one model of a workshop that makes no other."""
    return plan.models[0].id if len(plan.models) == 1 else None


def instrument_for(sheet: RemedySheet, by: Given, model: str | None) -> tuple[Instrument, tuple[str, ...]]:
    """Return the model of the plan that a note set was blown on, and where that is known from.

    Raises
    ------
    RemedyUsageError
        Neither the command nor the card says which, or there is no plan.
    """
    name = model or model_of_sheet(sheet, by)
    if name is None or by.plan is None:
        raise RemedyUsageError("say which instrument: --model NAME (with --plan FILE), or --length-mm MM")
    found = model_of(by.plan, name)
    if model is not None:
        return instrument_of(found), ()
    return instrument_of(found), (_model_words(found, by),)


def _model_words(model: Model, by: Given) -> str:
    valves = "".join(f", valve {v.name} {v.added_mm:g} mm" for v in model.valves)
    return f"From {by.name}: model {model.name}, length {model.length_mm:g} mm{valves}"


def planned_limits(
    by: Given, figure: str, model: str | None, asked: Limits, *, must: bool = True
) -> tuple[Limits, tuple[str, ...]]:
    """Fill what the command left out from the plan's limits of a figure, and say what was taken.

    Raises
    ------
    RemedyError
        The plan has limits for several models, nothing says which this is, and limits `must` be there.
    """
    if by.plan is None:
        return asked, ()
    one = figure_of_plan(by.plan, figure)
    if one is None:
        return asked, ()
    if model is None and len({limits.models for limits in one.limits if limits.models}) > 1:
        if asked[1:] != (None, None):
            return asked, ()
        known = ", ".join(m.id for m in by.plan.models)
        told = (
            f"{by.name}: {one.name} has other limits for each model. Write Model above the table "
            f"({known}), or give the limits as options"
        )
        if must:
            raise RemedyError(told)
        return asked, (f"No limits from {told}",)
    limits = latest_limits(one, model, by.today)
    if limits is None:
        return asked, ()
    filled: list[float | None] = []
    words = []
    for word, option, planned in zip(
        ("target", "lower", "upper"), asked, (limits.target, limits.lower, limits.upper), strict=True
    ):
        filled.append(planned if option is None else option)
        if option is None and planned is not None:
            words.append(f"{word} {plain_words(planned)}")
    who = f" of {model}" if model and limits.models else ""
    said = (f"From {by.name}: {one.name}{who}, {', '.join(words)} {one.unit}",) if words else ()
    return (filled[0], filled[1], filled[2]), said


def limits_in_plan(plan: Plan, characteristic: str, model: str | None, day: date) -> DatedLimits | None:
    """Give the limits of a characteristic that hold for a model on a day: the latest entry that fits."""
    found = None
    for stage in plan.stages:
        for one in stage.characteristics:
            if one.id == characteristic:
                found = latest_limits(one, model, day) or found
    return found


def filled_limits(
    limits: DatedLimits | None, target: float | None, lower: float | None, upper: float | None
) -> Limits:
    """Fill what the command left out from the plan's limits."""
    if limits is None:
        return target, lower, upper
    return (
        limits.target if target is None else target,
        limits.lower if lower is None else lower,
        limits.upper if upper is None else upper,
    )


def latest_limits(characteristic: Characteristic, model: str | None, day: date) -> DatedLimits | None:
    """Give the newest limits that hold on a day; those of the model before those of all."""
    fitting = [
        limits
        for limits in characteristic.limits
        if (limits.since is None or limits.since <= day)
        and (not limits.models or model in (None, *limits.models))
    ]
    return max(fitting, key=lambda limits: (limits.since or date.min, bool(limits.models)), default=None)


def one_piece(sheet: RemedySheet) -> None:
    """Refuse a note set of two instruments: their lengths would be mixed."""
    pieces = pieces_of(sheet, "serial")
    if len(pieces) > 1:
        raise RemedyError(
            f"{sheet.name}: the notes are of {len(pieces)} instruments ({', '.join(pieces[:5])}). "
            "Hand in the card of one instrument at a time"
        )

"""What a workshop's plan gives to a study: limits, target and step of the figure asked about."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from qc.ingest.reading import Table

if TYPE_CHECKING:
    from qc.jobs.remedies import Given
    from qc.plan import Plan

MODEL = "model"
"""Column, or label above the table, that says whose limits hold."""


@dataclass(frozen=True, slots=True)
class PlannedFigure:
    """Limits of a figure, as asked or else as planned, and the sentences that say what was taken."""

    target: float | None
    lower: float | None
    upper: float | None
    resolution: float | None
    taken: tuple[str, ...] = ()


def by_workshop(workshop: Path | None) -> Given | None:
    """Return the plan of a workshop; a study without one loads nothing of plans."""
    if workshop is None:
        return None
    from qc.jobs.remedies import given

    return given(workshop)


def plan_in(by: Given | None) -> Plan | None:
    """Return the plan itself."""
    return None if by is None else by.plan


def figure_as_planned(by: Given | None, figure: str, table: Table, asked: PlannedFigure) -> PlannedFigure:
    """Fill from the plan what the question left out; nothing where no plan was given."""
    if by is None or by.plan is None:
        return asked
    from qc.jobs.remedies import figure_of_plan, planned_limits

    one = figure_of_plan(by.plan, figure)
    if one is None:
        return asked
    limits = (asked.target, asked.lower, asked.upper)
    model = _model(by, table)
    (target, lower, upper), said = planned_limits(by, figure, model, limits, must=False)
    step = asked.resolution
    if step is None and one.resolution is not None:
        step = one.resolution
        said += (f"From {by.name}: step {step:g} {one.unit} of {one.name}",)
    return PlannedFigure(target, lower, upper, step, said)


def _model(by: Given, table: Table) -> str | None:
    """Return the one model that a table names, else the only one of the workshop."""
    from qc.jobs.remedies import model_of, only_model

    assert by.plan is not None
    if MODEL not in table.columns:
        return only_model(by.plan)
    named = [str(name) for name in table.column(MODEL).drop_nulls().unique().to_list() if str(name).strip()]
    return model_of(by.plan, named[0]).id if len(named) == 1 else None

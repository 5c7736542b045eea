"""Which instrument a note set was blown on: by length and valves, or by a model of the plan."""

from __future__ import annotations

from collections.abc import Sequence

from qc.ingest.cells import read_decimal
from qc.jobs.remedies.errors import RemedyUsageError
from qc.plan import Model, Plan
from qc.trade import Instrument, TradeError, Valve


def tune_plain(length_mm: float, valves: Sequence[str] = ()) -> Instrument:
    """Make an instrument from `--length-mm` and `--valve NAME=ADDED_MM` (or `NAME@NEEDED=ADDED_MM`).

    Raises
    ------
    RemedyUsageError
        A valve that is not written so, or figures no instrument has.

    Examples
    --------
    >>> tune_plain(2944.9, ["F=986.1", "D@F=743.8"]).valves[1].depends_on
    'F'
    """
    made = []
    for text in valves:
        name, equals, figure = text.rpartition("=")
        added = read_decimal(figure)
        if not equals or added is None or not name.strip():
            raise RemedyUsageError(f"--valve {text}: write NAME=ADDED_MM, for example F=986.1")
        name, _, needed = name.partition("@")
        made.append(Valve(name.strip(), added, needed.strip() or None))
    try:
        return Instrument(length_mm, tuple(made))
    except TradeError as error:
        raise RemedyUsageError(str(error)) from error


def instrument_of(model: Model) -> Instrument:
    """Make an instrument from a model of the plan."""
    return Instrument(
        model.length_mm,
        tuple(Valve(v.name, v.added_mm, v.depends_on, v.legs) for v in model.valves),
        model.pedal_midi,
        model.positions,
    )


def model_of(plan: Plan, name: str) -> Model:
    """Find a model of the plan by id or name.

    Raises
    ------
    RemedyUsageError
        The plan has no such model.
    """
    for model in plan.models:
        if name.casefold() in {model.id.casefold(), model.name.casefold()}:
            return model
    there = ", ".join(model.id for model in plan.models)
    raise RemedyUsageError(f"--model {name}: the plan has no such model (it has: {there})")

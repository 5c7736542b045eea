"""What is worth measuring: what a reading costs and buys, and what if it were read otherwise."""

from __future__ import annotations

from typing import Annotated

import typer

from qc.cli.common import AsOfOption, JsonOption, KnownOption, WorkshopOption, open_workshop, show


def add_commands(app: typer.Typer) -> None:
    """Add the worth of readings."""
    app.command("worth")(worth)


def worth(
    stage: Annotated[str, typer.Option(metavar="STAGE", help="Only this stage.")] = "",
    characteristic: Annotated[str, typer.Option(metavar="NAME", help="Only this figure, by its id.")] = "",
    family: Annotated[str, typer.Option(metavar="FAMILY", help="Only this family.")] = "",
    see: Annotated[
        float | None,
        typer.Option(
            metavar="SIGMA",
            help="How often to read to see a change of so many sigma (sd of the pieces); with --within.",
            show_default=False,
        ),
    ] = None,
    within: Annotated[
        int | None,
        typer.Option(metavar="PIECES", help="Within so many pieces, one time in two.", show_default=False),
    ] = None,
    limit: Annotated[
        float | None,
        typer.Option(
            metavar="LIMIT",
            help="How many of the last hundred pieces this limit would pass, in the unit of the figure.",
            show_default=False,
        ),
    ] = None,
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    known: KnownOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say what a reading of each figure costs and buys: what to measure twice, less often, not at all.

    Costs: readings and bench hours a month. Buys: pieces made until a change that would break the limits is
    told, simulated on the shop's own settled figures by the detector that judges them; what the other figures
    of a piece say of it already; what it found in a year.
    """
    from qc.jobs.questions import worth_of_readings

    found = worth_of_readings(
        open_workshop(workshop, as_of, known=known),
        stage=stage,
        characteristic=characteristic,
        family=family,
        see=see,
        within=within,
        limit=limit,
    )
    show(found, as_json=as_json)

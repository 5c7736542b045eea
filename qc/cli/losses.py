"""What did not go right at the first go: rework and yields, and which earlier figures go with the results."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import typer

from qc.cli.common import (
    AsOfOption,
    JsonOption,
    KnownOption,
    WorkshopOption,
    day_option,
    open_workshop,
    show,
)

FromOption = Annotated[date | None, day_option("--from", "First day of the stretch; else the first card's.")]
ToOption = Annotated[date | None, day_option("--to", "Last day of the stretch; else today.")]


def add_commands(app: typer.Typer) -> None:
    """Add rework and upstream."""
    app.command("rework")(rework)
    app.command("upstream")(upstream)


def rework(
    first: FromOption = None,
    last: ToOption = None,
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    known: KnownOption = None,
    as_json: JsonOption = False,
) -> None:
    """Total rework hours by cause, most first, with the first-pass and the rolled yield of the stages.

    Yields bear exact intervals; with an hourly rate in the plan the cost is told.
    """
    from qc.jobs.losses import rework as rework_of

    show(rework_of(open_workshop(workshop, as_of, known=known), first=first, last=last), as_json=as_json)


def upstream(
    result: Annotated[
        str,
        typer.Option(
            metavar="STAGE/FIGURE", help="Only this result; else leaks, note scatter and the play-test."
        ),
    ] = "",
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    known: KnownOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show which earlier figures of the same pieces go with the final results: an association, no cause.

    Every piece is compared with those made before and after it, and the chances are corrected for all that is
    looked at.
    """
    from qc.jobs.losses import upstream as upstream_of

    show(upstream_of(open_workshop(workshop, as_of, known=known), result=result), as_json=as_json)

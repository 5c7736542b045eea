"""Everything known of one piece: a passport in words, as JSON, or as a page to print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from qc.cli.common import AsOfOption, JsonOption, WorkshopOption, open_workshop, show


def add_commands(app: typer.Typer) -> None:
    """Add the piece."""
    app.command("piece")(piece)


def piece(
    serial: Annotated[str, typer.Argument(metavar="SERIAL", help="An instrument or a part.")],
    due: Annotated[
        str, typer.Option(metavar="DAY", help="A day it is promised for: whether that can hold is told.")
    ] = "",
    known: Annotated[
        str,
        typer.Option(
            metavar="DAY|shipped",
            help="As it was known on this day, or on the day it left: see qc status --known.",
        ),
    ] = "",
    pdf: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write its passport, one page to print.", show_default=False),
    ] = None,
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show everything known of one piece, the judgement first.

    Its figures against their limits at each place and among its like, its parts with batch and tool, remedies
    and their effect, what else its suspect parts went into, whether a return is a one-off, when it can leave.
    """
    from qc.jobs.whole_piece import piece_as_known, piece_record, write_passport
    from qc.jobs.workshop import asked_day

    day = asked_day(due) if due else None
    opened = open_workshop(workshop, None if known else as_of)
    if known:
        found = piece_as_known(opened, serial, known, due=day, as_of=as_of)
    else:
        found = piece_record(opened, serial, due=day)
    if pdf is not None:
        show(write_passport(opened.plan.workshop.name, found, pdf), as_json=as_json)
    else:
        show(found, as_json=as_json)

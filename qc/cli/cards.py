"""Blank cards from the plan, to print and to type into."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from qc.cli.common import AsOfOption, JsonOption, WorkshopOption, open_workshop, show


def add_commands(app: typer.Typer) -> None:
    """Add the blank cards."""
    app.command("cards")(cards)


def cards(
    out: Annotated[Path, typer.Option(metavar="DIR", help="The folder to write to, made where missing.")],
    card: Annotated[
        str,
        typer.Option(metavar="ID", help="Only this card: its id or title. Every card of the plan otherwise."),
    ] = "",
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write blank cards from the plan, in measuring order: a pdf to print and an xlsx to type into.

    What was written on the page is typed into the xlsx in the same order and handed in with `qc upload`.
    """
    from qc.jobs.printed import write_cards

    show(write_cards(open_workshop(workshop, as_of), out, card=card), as_json=as_json)

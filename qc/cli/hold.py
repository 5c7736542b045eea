"""Pieces to hold: list them, release one or keep one back, print their tags."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from qc.cli.common import (
    AsOfOption,
    HandInOption,
    JsonOption,
    KnownOption,
    WorkshopOption,
    open_workshop,
    show,
)

hold = typer.Typer(help="Pieces to hold: list, release, keep back, tags.", invoke_without_command=True)
SerialArgument = Annotated[str, typer.Argument(metavar="SERIAL", help="The piece.")]
WhoOption = Annotated[str, typer.Option(help="Your code, as on the cards.")]
WhyOption = Annotated[str, typer.Option(help="The reason, in a few words.")]
FigureOption = Annotated[
    str,
    typer.Option(metavar="NAME", help="Only this figure: its id, or stage/id. All of the piece otherwise."),
]
EveryOption = Annotated[
    bool, typer.Option("--all", help="List those that have left and those released, too.")
]


def add_commands(app: typer.Typer) -> None:
    """Add the pieces to hold."""
    app.add_typer(hold, name="hold")


@hold.callback()
def list_all(
    context: typer.Context,
    every: EveryOption = False,
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    known: KnownOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the pieces to hold, the worst first; a subcommand decides about one."""
    if context.invoked_subcommand is None:
        list_them(every, workshop, as_of, known, as_json)


@hold.command("list")
def list_them(
    every: EveryOption = False,
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    known: KnownOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the pieces to hold, as `qc hold` alone does: serial, worst place, limit, why, where, next step."""
    from qc.jobs.pieces import hold_list

    show(hold_list(open_workshop(workshop, as_of, known=known), every=every), as_json=as_json)


@hold.command("release")
def release(
    serial: SerialArgument,
    who: WhoOption = "",
    why: WhyOption = "",
    figure: FigureOption = "",
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Release a piece by name and reason; what becomes known of it later is not covered."""
    from qc.jobs.pieces import release as release_piece

    found = release_piece(
        open_workshop(workshop, as_of, writes=True), serial, who=who, why=why, figure=figure
    )
    show(found, as_json=as_json)


@hold.command("keep")
def keep(
    serial: SerialArgument,
    who: WhoOption = "",
    why: WhyOption = "",
    figure: FigureOption = "",
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Keep a piece back by name and reason, be it on the list or not."""
    from qc.jobs.pieces import keep_back

    show(
        keep_back(open_workshop(workshop, as_of, writes=True), serial, who=who, why=why, figure=figure),
        as_json=as_json,
    )


@hold.command("tags")
def tags(
    out: Annotated[Path, typer.Option(metavar="FILE", help="The pdf to write.")],
    serial: Annotated[
        list[str] | None, typer.Option(metavar="SERIAL", help="Only this piece; may be repeated.")
    ] = None,
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    known: KnownOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write a tag for each piece in the house that is to be held, eight to a page of A4."""
    from qc.jobs.pieces import write_tags

    show(write_tags(open_workshop(workshop, as_of, known=known), out, serials=serial), as_json=as_json)

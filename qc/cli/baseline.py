"""Decisions about a series: freeze its settled state, leave pieces out, undo either, list them."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from qc.cli.common import AsOfOption, HandInOption, JsonOption, WorkshopOption, open_workshop, show
from qc.sayings import Saying, What

baseline = typer.Typer(
    help="A lead's decisions about a series: freeze its settled state, leave pieces out, undo, list.",
    no_args_is_help=True,
)
SeriesArgument = Annotated[str, typer.Argument(metavar="SERIES", help="stage/characteristic/family.")]
FromOption = Annotated[str, typer.Option("--from", metavar="SERIAL", help="First piece.")]
ToOption = Annotated[str, typer.Option("--to", metavar="SERIAL", help="Last piece.")]
WhoOption = Annotated[str, typer.Option(help="Your code, as on the cards.")]
WhyOption = Annotated[str, typer.Option(help="The reason, in words.")]


def add_commands(app: typer.Typer) -> None:
    """Add baseline and its subcommands."""
    app.add_typer(baseline, name="baseline")


def _add(name: str, told: str, what: What, alone: What | None = None) -> None:
    """Add a decision about a stretch of pieces; `alone` is meant where none is named, else one must be."""
    nothing: Any = ... if alone is None else ""

    @baseline.command(name, help=told)
    def decide(
        series: SeriesArgument,
        first: FromOption = nothing,
        last: ToOption = "",
        who: WhoOption = "",
        why: WhyOption = "",
        workshop: WorkshopOption = None,
        as_of: HandInOption = None,
        as_json: JsonOption = False,
    ) -> None:
        from qc.jobs.baseline import decide

        said = Saying(what if first or alone is None else alone, who, why, first=first, last=last)
        show(decide(open_workshop(workshop, as_of, writes=True), series, said), as_json=as_json)


_add("freeze", "Take some pieces as the settled state; later pieces are compared with them.", What.FREEZE)
_add(
    "leave-out",
    "Mark some pieces as not representative: they are shown, but not judged.",
    What.LEAVE_OUT,
)
_add(
    "undo",
    "Undo the frozen settled state, or with --from the leaving out of a stretch; history is kept.",
    What.UNDO_LEAVE_OUT,
    What.UNDO_FREEZE,
)


@baseline.command("list")
def list_all(workshop: WorkshopOption = None, as_of: AsOfOption = None, as_json: JsonOption = False) -> None:
    """List what is frozen and what is left out, with who, when and why."""
    from qc.jobs.baseline import list_decisions

    show(list_decisions(open_workshop(workshop, as_of)), as_json=as_json)

"""Signals: list them, take them in hand, close them, and find what else was touched."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from qc.cli.common import AsOfOption, JsonOption, WorkshopOption, open_workshop, show
from qc.sayings import Saying, What

signals = typer.Typer(
    help="Signals and their life: list, show, take in hand, close, reopen.", invoke_without_command=True
)
WhoOption = Annotated[str, typer.Option(help="Your code, as on the cards.")]
IdArgument = Annotated[str, typer.Argument(metavar="ID", help="The signal's id, or its beginning.")]
TextOption = Annotated[str, typer.Option("--text", help="Remarks.")]


def add_commands(app: typer.Typer) -> None:
    """Add signals, also and rejudge."""
    app.add_typer(signals, name="signals")
    app.command("also")(also)
    app.command("rejudge")(rejudge)


@signals.callback()
def list_all(
    context: typer.Context,
    every: Annotated[bool, typer.Option("--all", help="Closed ones too.")] = False,
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the signals, those of the worst series first; a subcommand says something of one."""
    if context.invoked_subcommand is None:
        list_them(every, workshop, as_of, as_json)


@signals.command("list")
def list_them(
    every: Annotated[bool, typer.Option("--all", help="Closed ones too.")] = False,
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the signals, as `qc signals` alone does."""
    from qc.jobs.signals import list_signals

    show(list_signals(open_workshop(workshop, as_of), all_states=every), as_json=as_json)


@signals.command("show")
def show_one(
    signal: IdArgument, workshop: WorkshopOption = None, as_of: AsOfOption = None, as_json: JsonOption = False
) -> None:
    """Show one signal: what was found, what it coincides with, the reaction steps, what was said."""
    from qc.jobs.signals import find_signal

    show(find_signal(open_workshop(workshop, as_of), signal), as_json=as_json)


@signals.command("close")
def close(
    signal: IdArgument,
    cause: Annotated[str, typer.Option(help="Cause code of the plan.")] = "",
    action: Annotated[str, typer.Option(help="What was done.")] = "",
    false: Annotated[bool, typer.Option("--false", help="It was a false signal.")] = False,
    who: WhoOption = "",
    text: TextOption = "",
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    as_json: JsonOption = False,
) -> None:
    """Close a signal with its cause and what was done, or as false; history is kept."""
    if false == bool(cause):
        raise typer.BadParameter("close a signal either with --cause CODE or with --false")
    what = What.CLOSED_FALSE if false else What.CLOSED
    _say(signal, Saying(what, who, text, cause, action), workshop, as_of, as_json=as_json)


def _add(name: str, what: What, told: str) -> None:
    """Add a command that says something of a signal, with a remark or without."""

    @signals.command(name, help=told)
    def say(
        signal: IdArgument,
        who: WhoOption = "",
        text: TextOption = "",
        workshop: WorkshopOption = None,
        as_of: AsOfOption = None,
        as_json: JsonOption = False,
    ) -> None:
        _say(signal, Saying(what, who, text), workshop, as_of, as_json=as_json)


_add("take", What.IN_HAND, "Take a signal in hand: somebody is at it.")


@signals.command("comment")
def comment(
    signal: IdArgument,
    text: Annotated[str, typer.Argument(help="What to add.")],
    who: WhoOption = "",
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    as_json: JsonOption = False,
) -> None:
    """Add a remark to a signal."""
    _say(signal, Saying(What.COMMENT, who, text), workshop, as_of, as_json=as_json)


_add("reopen", What.REOPENED, "Open a closed signal again.")


def also(
    gauge: Annotated[str, typer.Option(metavar="ID", help="A gauge.")] = "",
    tool: Annotated[str, typer.Option(metavar="ID", help="A die, mandrel, nozzle.")] = "",
    batch: Annotated[str, typer.Option(metavar="ID", help="A batch.")] = "",
    since: Annotated[str, typer.Option(metavar="DAY", help="YYYY-MM-DD, or last-good-check.")] = "",
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    as_json: JsonOption = False,
) -> None:
    """List every piece that a gauge, tool or batch touched, shipped or not."""
    from qc.jobs.also import also as touched

    named: list[tuple[Literal["gauge", "tool", "batch"], str]] = [
        ("gauge", gauge),
        ("tool", tool),
        ("batch", batch),
    ]
    given = [(kind, name) for kind, name in named if name]
    if len(given) != 1:
        raise typer.BadParameter("name one of --gauge, --tool or --batch")
    kind, name = given[0]
    show(touched(open_workshop(workshop, as_of), kind, name, since=since), as_json=as_json)


def rejudge(
    learn: Annotated[
        bool, typer.Option("--learn", help="Learn anew how pieces scatter, too; else that stays as fixed.")
    ] = False,
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    as_json: JsonOption = False,
) -> None:
    """Judge every series from nothing and say which verdict differs from the kept one."""
    from qc.jobs.rejudge import rejudge as judge_all

    show(judge_all(open_workshop(workshop, as_of), learn=learn), as_json=as_json)


def _say(signal: str, saying: Saying, workshop: WorkshopOption, as_of: AsOfOption, *, as_json: bool) -> None:
    """Add to a signal's life; all five verbs come through here, so that they answer alike."""
    from qc.jobs.signals import say_of_signal

    show(say_of_signal(open_workshop(workshop, as_of), signal, saying), as_json=as_json)

"""Signals: list them, take them in hand, close them, and find what else was touched."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

import typer

from qc.cli.common import (
    AsOfOption,
    HandInOption,
    JsonOption,
    KnownOption,
    WorkshopOption,
    open_workshop,
    option,
    show,
)
from qc.sayings import MENDED, STAYS, Saying, What
from qc.words import listed


class Became(StrEnum):
    """What may be said of the cause of a closed signal, as it is typed."""

    MENDED = MENDED
    STAYS = STAYS


signals = typer.Typer(
    help="Signals and their life: list, show, take in hand, close, reopen.", invoke_without_command=True
)
WhoOption = Annotated[str, typer.Option(help="Your code, as on the cards.")]
IdArgument = Annotated[
    str, typer.Argument(metavar="ID", help="The signal's number, or the beginning of its id.")
]
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
    known: KnownOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the signals, those of the worst series first; a subcommand says something of one."""
    if context.invoked_subcommand is None:
        list_them(every, workshop, as_of, known, as_json)


@signals.command("list")
def list_them(
    every: Annotated[bool, typer.Option("--all", help="Closed ones too.")] = False,
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    known: KnownOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the signals, as `qc signals` alone does."""
    from qc.jobs.signals import list_signals

    show(list_signals(open_workshop(workshop, as_of, known=known), all_states=every), as_json=as_json)


@signals.command("show")
def show_one(
    signal: IdArgument,
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    known: KnownOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show one signal: what was found, what it coincides with, the reaction steps, what was said."""
    from qc.jobs.signals import find_signal

    present = open_workshop(workshop, None) if known else None
    asked = open_workshop(workshop, as_of, known=known)
    show(find_signal(asked, signal, present=present), as_json=as_json)


@signals.command("close")
def close(
    signal: IdArgument,
    cause: Annotated[str, typer.Option(help="Cause code of the plan.")] = "",
    action: Annotated[str, typer.Option(help="What was done.")] = "",
    outcome: Annotated[
        Became | None,
        typer.Option(help="What became of the cause: mended, or the new level stays."),
    ] = None,
    first: Annotated[
        str,
        typer.Option(
            "--from",
            metavar="SERIAL",
            help="First piece made after the mend; else the first measured after closing.",
        ),
    ] = "",
    false: Annotated[bool, typer.Option("--false", help="It was a false signal.")] = False,
    who: WhoOption = "",
    text: TextOption = "",
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Close a signal with its cause, what was done and what became of it, or as false; history is kept.

    Mended: the state before is the reference again, and the next pieces bear that out, or the same signal
    opens anew. Stays: the new level is the settled state. False: there was no cause; the
    series does not drift by it any more.
    """
    if false == bool(cause):
        raise typer.BadParameter("close a signal either with --cause CODE or with --false")
    if cause and not (action.strip() and outcome):
        asked = (("--action", action.strip()), ("--outcome", outcome))
        lacks = listed([name for name, given in asked if not given])
        raise typer.BadParameter(
            f"--cause needs {lacks} too: what was done, --action TEXT, and what became of the cause, "
            "--outcome mended or --outcome stays"
        )
    if false and outcome:
        raise typer.BadParameter("--outcome goes with --cause; a false signal had no cause")
    if first and outcome is not Became.MENDED:
        raise typer.BadParameter("--from names the first piece after a mend: it goes with --outcome mended")
    what = What.CLOSED_FALSE if false else What.CLOSED
    became = outcome.value if outcome else ""
    saying = Saying(what, who, text, cause, action, first=first, outcome=became)
    _say(signal, saying, workshop, as_of, as_json=as_json)


def _add(name: str, what: What, told: str) -> None:
    """Add a command that says something of a signal, with a remark or without."""

    @signals.command(name, help=told)
    def say(
        signal: IdArgument,
        who: WhoOption = "",
        text: TextOption = "",
        workshop: WorkshopOption = None,
        as_of: HandInOption = None,
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
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Add a remark to a signal."""
    _say(signal, Saying(What.COMMENT, who, text), workshop, as_of, as_json=as_json)


_add("reopen", What.REOPENED, "Open a closed signal again.")


@signals.command("tick")
def tick(
    signal: IdArgument,
    step: Annotated[int, typer.Option(min=0, help="Number of the step that is done.")] = 0,
    piece: Annotated[str, typer.Option(metavar="SERIAL", help="A piece that is dealt with.")] = "",
    every_piece: Annotated[
        bool, typer.Option("--every-piece", help="All pieces made under it that are still to deal with.")
    ] = False,
    who: WhoOption = "",
    text: TextOption = "",
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tick a reaction step, or a piece made under the cause; who did it and when is kept."""
    from qc.jobs.signals import tick_every_piece, tick_off

    if bool(step) + bool(piece) + every_piece != 1:
        raise typer.BadParameter(
            "tick either a step, --step NUMBER, or a piece, --piece SERIAL, or all of them, --every-piece"
        )
    opened = open_workshop(workshop, as_of, writes=True)
    if every_piece:
        show(tick_every_piece(opened, signal, who=who, text=text), as_json=as_json)
        return
    show(tick_off(opened, signal, step=step, piece=piece, who=who, text=text), as_json=as_json)


@signals.command("untick")
def untick(
    signal: IdArgument,
    step: Annotated[int, typer.Option(min=0, help="Number of the step that is not done after all.")] = 0,
    piece: Annotated[
        str, typer.Option(metavar="SERIAL", help="A piece that is not dealt with after all.")
    ] = "",
    who: WhoOption = "",
    text: TextOption = "",
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take a tick back, of a step or of a piece; who ticked it, and who took it back, is kept."""
    from qc.jobs.signals import take_tick_back

    if bool(step) == bool(piece):
        raise typer.BadParameter(
            "take back the tick either of a step, --step NUMBER, or of a piece, --piece SERIAL"
        )
    undone = take_tick_back(
        open_workshop(workshop, as_of, writes=True), signal, step=step, piece=piece, who=who, text=text
    )
    show(undone, as_json=as_json)


def also(
    gauge: Annotated[str, typer.Option(metavar="ID", help="A gauge.")] = "",
    tool: Annotated[str, typer.Option(metavar="ID", help="A die, mandrel, nozzle.")] = "",
    batch: Annotated[str, typer.Option(metavar="ID", help="A batch.")] = "",
    person: Annotated[str, typer.Option(metavar="CODE", help="A person, by code.")] = "",
    since: Annotated[str, typer.Option(metavar="DAY", help="YYYY-MM-DD, or last-good-check.")] = "",
    known: KnownOption = None,
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    as_json: JsonOption = False,
) -> None:
    """List every piece that a gauge, tool, batch or person touched, shipped or not."""
    from qc.jobs.also import also as touched

    named: list[tuple[Literal["gauge", "tool", "batch", "person"], str]] = [
        ("gauge", gauge),
        ("tool", tool),
        ("batch", batch),
        ("person", person),
    ]
    given = [(kind, name) for kind, name in named if name]
    if len(given) != 1:
        raise typer.BadParameter("name one of --gauge, --tool, --batch or --person")
    kind, name = given[0]
    show(touched(open_workshop(workshop, as_of, known=known), kind, name, since=since), as_json=as_json)


def rejudge(
    learn: Annotated[
        bool, typer.Option("--learn", help="Learn anew how pieces scatter, too; else that stays as fixed.")
    ] = False,
    cluster: Annotated[str | None, option("Scheduler whose workers follow the series.", "ADDRESS")] = None,
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Judge every series from nothing and say which verdict differs from the kept one."""
    from qc.jobs.rejudge import rejudge as judge_all

    opened = open_workshop(workshop, as_of, writes=True)
    show(judge_all(opened, learn=learn, cluster=cluster), as_json=as_json)


def _say(
    signal: str, saying: Saying, workshop: WorkshopOption, as_of: HandInOption, *, as_json: bool
) -> None:
    """Add to a signal's life; all five verbs come through here, so that they answer alike."""
    from qc.jobs.signals import say_of_signal

    show(say_of_signal(open_workshop(workshop, as_of, writes=True), signal, saying), as_json=as_json)

"""The list of people: add, list, give a new code, say that somebody left; none of these asks back."""

from __future__ import annotations

from typing import Annotated

import typer

from qc.cli.common import AsOfOption, HandInOption, JsonOption, WorkshopOption, open_workshop, show

people = typer.Typer(help="People and their roles: add, list, reset, leave.", no_args_is_help=True)
CodeArgument = Annotated[str, typer.Argument(metavar="CODE", help="The person, as on the cards.")]
WhoOption = Annotated[str, typer.Option(help="Your code; your role has to allow it.")]


def add_commands(app: typer.Typer) -> None:
    """Add the list of people."""
    app.add_typer(people, name="people")


@people.command("add")
def add(
    code: CodeArgument,
    role: Annotated[str, typer.Option(help="technician, lead or owner.")],
    name: Annotated[str, typer.Option(help="How the person is called; can be erased later.")] = "",
    who: WhoOption = "",
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Add a person, or change role or name of one; prints a one-time code for the first sign-in."""
    from qc.jobs.people import add_person

    opened = open_workshop(workshop, as_of, writes=True)
    show(add_person(opened, code, role, name=name, who=who), as_json=as_json)


@people.command("list")
def list_them(workshop: WorkshopOption = None, as_of: AsOfOption = None, as_json: JsonOption = False) -> None:
    """List the people: code, name, role, since when at work, or that they left."""
    from qc.jobs.people import list_people

    show(list_people(open_workshop(workshop, as_of)), as_json=as_json)


@people.command("reset")
def reset(
    code: CodeArgument,
    who: WhoOption = "",
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take away PIN and password of a person, end their sessions, and print a new one-time code."""
    from qc.jobs.people import reset_person

    opened = open_workshop(workshop, as_of, writes=True)
    show(reset_person(opened, code, who=who), as_json=as_json)


@people.command("leave")
def leave(
    code: CodeArgument,
    keep_name: Annotated[
        bool, typer.Option("--keep-name", help="Leave the name where it is; it can be erased later.")
    ] = False,
    who: WhoOption = "",
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say that a person left: no sign-in any more, the name is erased everywhere, the code stays."""
    from qc.jobs.people import leave as say_left

    opened = open_workshop(workshop, as_of, writes=True)
    show(say_left(opened, code, keep_name=keep_name, who=who), as_json=as_json)

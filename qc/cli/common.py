"""What every command shares: where the workshop is, which day it is, how results and errors are printed."""

from __future__ import annotations

import json
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from qc.jobs.workshop import Workshop

DONE, DATA_AT_FAULT, WRONG_USAGE = 0, 1, 2


def _day(text: str) -> date:
    try:
        return datetime.strptime(text, "%Y-%m-%d").date()
    except ValueError as error:
        raise typer.BadParameter(f"'{text}' is not a day. Write it as YYYY-MM-DD.") from error


WorkshopOption = Annotated[
    Path | None,
    typer.Option(
        "--workshop",
        metavar="DIR",
        help="Workshop folder; else QC_WORKSHOP, else ./workshop.",
        show_default=False,
    ),
]
AsOfOption = Annotated[
    date | None,
    typer.Option(
        "--as-of",
        metavar="DATE",
        parser=_day,
        help="Answer as if it were this day (YYYY-MM-DD).",
        show_default=False,
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


def option(text: str, metavar: str = "NUMBER") -> Any:
    """Make an option without a default, so that help shows none."""
    return typer.Option(metavar=metavar, help=text, show_default=False)


def open_workshop(folder: Path | None, as_of: date | None) -> Workshop:
    """Open the workshop a command works on."""
    from qc.jobs.workshop import open_workshop as opened

    return opened(folder, as_of=as_of)


def show(result: Any, *, as_json: bool) -> None:
    """Print a result: its `to_dict` as strict JSON, or its `to_text`.

    Rich wraps at 80 columns, so what a script may read is printed plain.
    """
    if as_json:
        typer.echo(json.dumps(result.to_dict(), ensure_ascii=False, allow_nan=False, default=str))
    else:
        typer.echo(result.to_text())

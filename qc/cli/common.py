"""What every command shares: where the workshop is, which day it is, how results and errors are printed."""

from __future__ import annotations

import os
import re
import shutil
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from qc.errors import MachineError, UsageError
from qc.plain import json_parts

if TYPE_CHECKING:
    from qc.jobs.workshop import Workshop

PRINTED_AT_ONCE = 4_000_000
"""Characters of an answer that are gathered before they are printed; nearly every answer is smaller."""

DONE, DATA_AT_FAULT, WRONG_USAGE, MACHINE_OR_OURS = 0, 1, 2, 3

_opened: list[Path] = []
"""The workshop of this command, once it is open: its faults are logged there."""


class OutputLost(MachineError):
    """The answer could not be printed; what the command had to do was done before."""

    @classmethod
    def of(cls, error: OSError) -> OutputLost:
        """Say why, and that nothing is missing but the answer."""
        return cls(
            f"The answer could not be printed ({error.strerror}). What the command had to store is "
            "stored and judged; make room, or send the answer elsewhere, and ask again."
        )


def _day(text: str) -> date:
    """Read a day as on a card; one that can be read two ways is refused with both."""
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        with suppress(ValueError):
            return date.fromisoformat(text)  # as scripts write it: nothing else needs to be loaded
    from qc.jobs.workshop import asked_day

    try:
        return asked_day(text)
    except UsageError as error:
        raise typer.BadParameter(str(error)) from error


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
HandInOption = Annotated[
    date | None,
    typer.Option(
        "--as-of",
        metavar="DATE",
        parser=_day,
        help="Hand in as of this day (YYYY-MM-DD), never before the newest entry.",
        show_default=False,
    ),
]
KnownOption = Annotated[
    date | None,
    typer.Option(
        "--known",
        metavar="DATE",
        parser=_day,
        help="Answer as it was known on this day (YYYY-MM-DD): by what had been handed in by its end.",
        show_default=False,
    ),
]
SinceOption = Annotated[
    date | None,
    typer.Option(
        "--since",
        metavar="DATE",
        parser=_day,
        help="Mark what is new, worse, better or gone since this day; else since the day before.",
        show_default=False,
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


def day_option(name: str, text: str) -> Any:
    """Make an option that is a day, read as on a card; one that can be read two ways is refused."""
    return typer.Option(name, metavar="DATE", parser=_day, help=text, show_default=False)


def option(text: str, metavar: str = "NUMBER") -> Any:
    """Make an option without a default, so that help shows none."""
    return typer.Option(metavar=metavar, help=text, show_default=False)


def open_workshop(
    folder: Path | None, as_of: date | None, *, known: date | None = None, writes: bool = False
) -> Workshop:
    """Open the workshop a command works on; where it cannot be, nothing was stored.

    With `known` as it was known on that day; with `writes` its day is the day of handing in.
    """
    from dataclasses import replace

    from qc.jobs.judging import NOTHING_STORED, ending
    from qc.jobs.workshop import open_workshop as opened

    with ending(NOTHING_STORED):
        workshop = opened(folder, as_of=as_of, writes=writes)
    _opened[:] = [workshop.folder]
    if workshop.note:
        typer.echo(f"qc: {workshop.note}", err=True)
    if known is not None:
        from qc.jobs.then import known as as_known

        workshop = as_known(workshop, known)
        workshop = workshop if as_of is None else replace(workshop, today=as_of)
    return workshop


def log_fault(error: BaseException) -> Path | None:
    """Keep the traceback of a fault of the program in the workshop's `log`, else among temporary files."""
    from qc import clock

    text = "".join(traceback.format_exception(error))
    name = f"{clock.now():%Y%m%d-%H%M%S-%f}.txt"
    for place in (*_opened, None):
        try:
            # on a full disk there is no folder for temporary files: to ask for one fails
            folder = place / "log" if place else Path(tempfile.gettempdir(), f"qc-log-{os.getpid()}")
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            (folder / name).touch(0o600)
            (folder / name).write_text(text, "utf-8", "backslashreplace")
        except OSError:
            continue
        return folder / name
    return None


def drop_output() -> None:
    """Print no more: else the interpreter would try once more at its end, and complain in its own words."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _for_terminal(text: str) -> str:
    """Set an answer to the width of the terminal; `NO_COLOR` and a terminal that has none keep it plain."""
    from qc.cli.terminal import fitted, painted

    marks = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    colours = not os.environ.get("NO_COLOR") and os.environ.get("TERM", "dumb") != "dumb"
    return painted(fitted(text, shutil.get_terminal_size().columns), marks=marks, colours=colours)


def show(result: Any, *, as_json: bool, told: Callable[[str], str] = str) -> None:
    """Print a result: its `to_dict` as strict JSON, or its `to_text`, as `told` puts it.

    What a script or a file may get is printed as it is; a terminal gets it set to its width, with marks and
    colours where it has them.
    """
    if as_json:
        parts = json_parts(result.to_dict())
    else:
        text = told(result.to_text())
        parts = iter([_for_terminal(text) if sys.stdout.isatty() else text])
    try:
        _print(parts)
    except BrokenPipeError:
        drop_output()  # who read it has had enough
    except OSError as error:
        raise OutputLost.of(error) from error


def _print(parts: Iterator[str]) -> None:
    """Print an answer: a small one whole, so that a fault prints nothing of it; a large one by parts."""
    kept: list[str] = []
    size = 0
    for part in parts:
        kept.append(part)
        size += len(part)
        if size > PRINTED_AT_ONCE:
            typer.echo("".join(kept), nl=False)
            kept, size = [], 0
    typer.echo("".join(kept))


class Progress:
    """Progress on stderr for anything that takes over a second; silent where nobody watches."""

    def __init__(self) -> None:
        self._shown = sys.stderr.isatty()

    def __call__(self, done: int, total: int, what: str) -> None:
        """Show that `done` of `total` steps are done."""
        if self._shown:
            end = "\n" if done == total else ""
            typer.echo(f"\r\x1b[K{what} {done} of {total}{end}", err=True, nl=False)

"""The ``qc`` command.

Exit codes: 0 done, 1 the data are at fault (one line on stderr says what, where and what to do), 2 wrong
usage. Anything else is a fault of the program and keeps its traceback.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Sequence
from functools import cache
from typing import Annotated

import typer
from typer.core import TyperGroup
from typer.main import get_group

from qc.cli import baseline, daily, keeping, records, signals
from qc.cli.common import DONE
from qc.cli.factors import add_factors_command
from qc.cli.gauge import add_gauge_command
from qc.cli.remedies import add_remedy_commands
from qc.cli.runlength import add_run_length_command
from qc.cli.study import add_study_command
from qc.errors import QcError

app = typer.Typer(
    name="qc",
    help="Quality control for a small slide-brass workshop: bench sheets in, board and monthly report out.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


COLLECT_AFTER = 10_000
"""New objects after which garbage is looked for. Loading makes hundreds of thousands that stay; looking them
over at every 700, as is usual, costs an upload from a cold start half a second."""


def _version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(version("slide-brass-qc"))
        raise typer.Exit()


@app.callback()
def options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    """Quality control for a small slide-brass workshop: bench sheets in, board and monthly report out."""


daily.add_commands(app)
records.add_commands(app)
signals.add_commands(app)
baseline.add_commands(app)
add_remedy_commands(app)
add_study_command(app)
add_gauge_command(app)
add_run_length_command(app)
add_factors_command(app)
keeping.add_commands(app)


@cache
def _commands() -> TyperGroup:
    """Return the tree of all commands, made from their functions once in a process."""
    return get_group(app)


def main(arguments: Sequence[str]) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str
        Words after ``qc``.

    Returns
    -------
    int
        0 done, 1 the data are at fault, 2 wrong usage.
    """
    try:
        _commands()(args=list(arguments))
    except SystemExit as stop:
        # the command line library leaves by it even when all is well
        return stop.code if isinstance(stop.code, int) else DONE
    except QcError as error:
        typer.echo(f"qc: {error}", err=True)
        return error.exit_code
    return DONE


def run() -> None:
    """Entry point of the installed command, whose process is ours to settle."""
    gc.set_threshold(COLLECT_AFTER)
    code = main(sys.argv[1:])
    gc.freeze()  # the process ends: nothing is left to collect, and looking for it takes up to a second
    sys.exit(code)

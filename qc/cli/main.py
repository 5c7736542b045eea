"""The ``qc`` command.

Exit codes: 0 done, 1 the data are at fault (one line on stderr says what, where and what to do), 2 wrong
usage, 3 the machine is at fault (a lock, a full disk, a missing right, no memory) or the program itself; only
then the line says where the log lies.
"""

from __future__ import annotations

import errno
import gc
import logging
import os
import select
import sys
import warnings
from collections.abc import Sequence
from contextlib import suppress
from functools import cache
from typing import Annotated

import typer
from typer.core import TyperGroup
from typer.main import get_group

from qc.cli import baseline, cards, daily, hold, keeping, losses, people, piece, records, signals, worth
from qc.cli.common import DONE, MACHINE_OR_OURS, WRONG_USAGE, OutputLost, drop_output, log_fault
from qc.cli.factors import add_factors_command
from qc.cli.figures import add_figure_commands
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
hold.add_commands(app)
piece.add_commands(app)
cards.add_commands(app)
worth.add_commands(app)
losses.add_commands(app)
baseline.add_commands(app)
add_remedy_commands(app)
add_study_command(app)
add_gauge_command(app)
add_run_length_command(app)
add_factors_command(app)
people.add_commands(app)
add_figure_commands(app)
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
        0 done, 1 the data are at fault, 2 wrong usage, 3 the machine is at fault, or the program itself.
    """
    strange = [word for at, word in enumerate(arguments) if not (_is_text(word) or _is_sheet(arguments, at))]
    if strange:
        shown = strange[0].encode("utf-8", "backslashreplace").decode("utf-8")
        return _said(
            f"'{shown[:80]}' is no UTF-8 text. Rename the file or folder, or type it anew.", WRONG_USAGE
        )
    try:
        _commands()(args=list(arguments))
    except SystemExit as stop:
        # the command line library leaves by it even when all is well, and with 1 when nobody reads on
        if isinstance(stop.__context__, BrokenPipeError):
            return _unheard(stop.__context__)
        return stop.code if isinstance(stop.code, int) else DONE
    except QcError as error:
        return _said(str(error), error.exit_code)
    except KeyboardInterrupt:
        return _said("Stopped.", INTERRUPTED)
    except BrokenPipeError as error:
        return _unheard(error)
    except (MemoryError, OSError) as error:
        if isinstance(error, OSError) and error.errno not in OF_THE_MACHINE:
            return _ours(error)
        return _said(_machine_words(error), MACHINE_OR_OURS)
    except Exception as error:
        return _ours(error)
    return DONE


INTERRUPTED = 130
"""As shells do it: 128 and the number of the interrupt (POSIX, Shell Command Language, 2.8.2)."""

OF_THE_MACHINE = {
    *(errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EROFS, errno.EACCES, errno.EPERM),
    *(errno.EMFILE, errno.ENFILE, errno.ENOMEM, errno.ENAMETOOLONG),
}
"""What the system answers when it is full, worn, closed to us or out of memory (POSIX, errno.h)."""


def _unheard(error: BrokenPipeError) -> int:
    """Return the exit code where whoever read has left: all was done, or wrong usage was to be told."""
    if not (_reader_left(1) or _reader_left(2)):
        return _ours(error)  # a pipe of our own broke
    return DONE if error.__context__ is None else WRONG_USAGE


def _reader_left(handle: int) -> bool:
    """Say whether nobody holds the other end of an output; systems that cannot tell (Windows) say so too."""
    if sys.platform == "win32":
        return True
    watched = select.poll()
    watched.register(handle, 0)
    return any(found & select.POLLERR for _, found in watched.poll(0))


def _is_text(word: str) -> bool:
    try:
        word.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return "\0" not in word


def _is_sheet(arguments: Sequence[str], at: int) -> bool:
    """Tell whether a word is a sheet of an upload: it is read whatever its name, and costs no other."""
    if at == 0 or arguments[0] != "upload" or arguments[at - 1].startswith("-"):
        return False
    return os.path.isfile(arguments[at])


def _machine_words(error: BaseException) -> str:
    """Say what the machine did not let us do, and what was stored by then where a job told it."""
    notes = " ".join(getattr(error, "__notes__", ()))
    if isinstance(error, OSError):
        where = f"{error.filename}: " if error.filename else ""
        return f"{where}{error.strerror}. Mend it and try again. {notes}".strip()
    return f"The memory of this machine does not suffice. Close other programs and try again. {notes}".strip()


def _ours(error: Exception) -> int:
    """Say that the program is at fault, what was stored by then, and where the log lies."""
    notes = (
        " ".join(getattr(error, "__notes__", ())) or "What was stored before stands; `qc verify` shows it."
    )
    log = log_fault(error)
    kept = (
        f"The log is {log}; send it to whoever looks after this program." if log else "No log could be kept."
    )
    return _said(f"A fault of this program ({type(error).__name__}). {notes} {kept}", MACHINE_OR_OURS)


def _said(sentence: str, code: int) -> int:
    """Say on stderr why it did not work, where anybody listens there."""
    with suppress(OSError, ValueError):
        typer.echo(f"qc: {sentence}", err=True)
    return code


def run() -> None:
    """Entry point of the installed command, whose process is ours to settle."""
    gc.set_threshold(COLLECT_AFTER)
    if not sys.warnoptions:
        # what a library tells developers is no line for a bench; `python -W` still shows it
        warnings.simplefilter("ignore")
    # nor is what it logs; without any handler Python would print that to stderr
    logging.getLogger().addHandler(logging.NullHandler())
    if sys.stderr is None:
        # who closed it wants to hear nothing, and the next file opened must not take its place
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
        sys.stderr = open(2, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    if sys.stdout is None:
        # before anything is done: the next file opened would take the place of standard output
        os.open(os.devnull, os.O_WRONLY)
        sys.exit(
            _said(
                "Standard output is closed, so nothing could be answered. Nothing was done.", MACHINE_OR_OURS
            )
        )
    code = _flushed(main(sys.argv[1:]))
    gc.freeze()  # the process ends: nothing is left to collect, and looking for it takes up to a second
    sys.exit(code)


def _flushed(code: int) -> int:
    """Give out what is still held back; a reader who left early is no fault."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        pass
    except OSError as error:
        code = _said(str(OutputLost.of(error)), MACHINE_OR_OURS)
    else:
        return code
    drop_output()
    return code

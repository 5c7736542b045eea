"""Serve the board: in a process of its own, so that what this one has loaded does not weigh on the pages.

The board's process prints one line of JSON on its standard output once its port listens (or why it cannot),
and stops when its standard input closes, so it never outlives the command that started it.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Final
from urllib.request import urlopen

from qc.errors import MachineError
from qc.jobs.errors import JobError

FACE: Final = "dashboard"
"""The package that serves; it is started by name, since the board stands on the jobs and not they on it."""

FIRST_PAGE_S: Final = 60.0  # chosen: it takes two seconds, and twenty on a machine with much else to do
PATIENCE_S: Final = 10.0  # chosen: a page takes a second; what has not stopped by then is stuck


def serve(
    folder: Path,
    host: str = "127.0.0.1",
    port: int = 8050,
    on_ready: Callable[[str], object] | None = None,
    *,
    as_of: date | None = None,
    once: bool = False,
    door: Sequence[str] = (),
    on_link: Callable[[str], object] | None = None,
) -> None:
    """Serve the board of a workshop until it is stopped.

    Parameters
    ----------
    folder : Path
        The workshop folder.
    host, port : str, int
        Where to listen: loopback only, but with ``--lan`` among `door`; port 0 takes a free one.
    on_ready : callable, optional
        Told the address once the port listens.
    as_of : date, optional
        The day the board stands on.
    once : bool
        Return after `on_ready` instead of serving on.
    door : sequence of str
        How it is reached from elsewhere: words for the board's process, as ``--lan``, ``--cert``, ``--key``.
    on_link : callable, optional
        Told an address that signs in once as the plan's lead, where there is no list of people.

    Raises
    ------
    JobError
        The board cannot be served there; the text says why.
    """
    more = [*door, *(["--link"] if on_link is not None else [])]
    with _started(folder, host, port, as_of, more) as (said, process):
        if on_link is not None and "link" in said:
            on_link(said["link"])
        if on_ready is not None:
            on_ready(said["address"])
        if once:
            return
        try:
            process.wait()
        except KeyboardInterrupt:
            return
        if process.returncode:
            raise JobError(
                f"The board stopped by itself (exit {process.returncode}). Start it again: qc board"
            )


@contextmanager
def running(
    folder: Path, host: str = "127.0.0.1", port: int = 0, *, as_of: date | None = None
) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """Run a board beside this program; gives its address and its process, stops it at the end."""
    with _started(folder, host, port, as_of, ()) as (said, process):
        yield said["address"], process


@contextmanager
def _started(
    folder: Path, host: str, port: int, as_of: date | None, more: Sequence[str]
) -> Iterator[tuple[dict[str, str], subprocess.Popen[str]]]:
    """Start the board's process; gives what it said once it listened."""
    command = [sys.executable, "-m", FACE, "--workshop", str(folder), "--host", host, "--port", str(port)]
    command += more
    if as_of is not None:
        command += ["--as-of", as_of.isoformat()]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        yield _said(process), process
    finally:
        _stop(process)


def fetch_once(address: str) -> int:
    """Fetch the first page of a board that runs and return how many bytes it has.

    Raises
    ------
    MachineError
        The board does not answer, on a machine with much else to do.
    """
    try:
        with urlopen(address, timeout=FIRST_PAGE_S) as answer:
            return len(answer.read())
    except OSError as error:
        raise MachineError(
            f"The board at {address} did not answer within {FIRST_PAGE_S:.0f} s ({error}). What was made "
            "stands; start it with `qc board` when the machine has less to do."
        ) from error


def _said(process: subprocess.Popen[str]) -> dict[str, str]:
    assert process.stdout is not None
    line = process.stdout.readline()
    said = json.loads(line) if line.startswith("{") else {}
    if "address" in said:
        return {name: str(value) for name, value in said.items()}
    raise JobError(said.get("problem") or "The board could not be started; what it said stands above.")


def _stop(process: subprocess.Popen[str]) -> None:
    if process.stdin is not None:
        process.stdin.close()
    try:
        process.wait(PATIENCE_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
    if process.stdout is not None:
        process.stdout.close()

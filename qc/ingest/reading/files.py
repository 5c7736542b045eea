"""A file looked at before a byte of it is read: is it a file at all, and is it small enough."""

from __future__ import annotations

import stat
from pathlib import Path

from qc.ingest.reading.grid import MAX_BYTES
from qc.ingest.reading.manner import Manner

ODD = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)
"""What bears a name and is no file: reading it may never end."""


def what_it_is(mode: int) -> str:
    """Say what a thing with this mode is, where it is no plain file; empty for a file.

    Examples
    --------
    >>> what_it_is(Path("/").stat().st_mode), what_it_is(0o100644)
    ('a folder', '')
    """
    return next((words for test, words in ODD if test(mode)), "")


def check_file(path: Path, manner: Manner) -> None:
    """Refuse, as `manner` says it, what is missing, no file, or too large to be taken.

    Raises
    ------
    UsageError
        There is nothing of that name, or a folder, a pipe, a socket or a device.
    QcError
        More bytes than are taken.
    OSError
        The system does not let us look, or does not take such a name.
    """
    try:
        found = path.stat()
    except (FileNotFoundError, NotADirectoryError, ValueError):  # the last for a NUL in the name
        manner.refuse("missing", path)
    odd = what_it_is(found.st_mode)
    if odd:
        manner.refuse("odd", path, words=odd)
    most = manner.most_bytes
    if manner.kind(path) == "xlsx":
        most = MAX_BYTES if most is None else min(most, MAX_BYTES)
    if most is not None and found.st_size > most:
        size, limit = (f"{count / 1e6:,.0f} MB" for count in (found.st_size, most))
        manner.refuse("large", path, words=size, most=limit)

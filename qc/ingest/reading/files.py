"""A file from the disk as bytes, once it is known to be a plain file of a size that can be taken."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from qc.ingest.errors import SheetError
from qc.ingest.reading.grid import MAX_BYTES
from qc.ingest.reading.sheets import check_size
from qc.words import kept_name

KINDS = (
    (stat.S_ISDIR, "a folder", "Hand in the files that are in it."),
    (stat.S_ISFIFO, "a pipe", "Write what comes out of it into a file, and hand that in."),
    (stat.S_ISSOCK, "a socket", "Hand in a csv or xlsx file."),
    (stat.S_ISCHR, "a device", "Hand in a csv or xlsx file."),
    (stat.S_ISBLK, "a device", "Hand in a csv or xlsx file."),
)
HEAD = 64  # enough to tell a recording from a sheet
# a pipe whose other end nobody holds must not be waited for; Windows knows neither the flag nor such files
UNWAITING = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)


def read_file(path: Path) -> bytes:
    """Read a file that somebody names as a sheet.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    bytes
        Its content, at most `MAX_BYTES`.

    Raises
    ------
    SheetError
        It is not there, may not be read, is no plain file, is a recording, or is too large; in none of these
        cases more than its first bytes are read.
    """
    shown = kept_name(str(path))
    try:
        _check_kind(path.stat(), shown)  # before it is opened: opening a device may already set something off
        with open(os.open(path, UNWAITING), "rb") as file:
            about = os.fstat(file.fileno())
            _check_kind(about, shown)  # it may be another file by now
            head = file.read(HEAD)
            check_size(head, about.st_size, shown)
            data = head + file.read(MAX_BYTES + 1 - len(head))
    except (OSError, ValueError) as error:  # a name with a NUL is a ValueError
        why = error.strerror if isinstance(error, OSError) else "its name cannot be one"
        raise SheetError(shown, f"the file cannot be read ({why})", "Check the name.") from error
    check_size(data, len(data), shown)  # it may say less than it gives
    return data


def _check_kind(about: os.stat_result, shown: str) -> None:
    for is_one, what, hint in KINDS:
        if is_one(about.st_mode):
            raise SheetError(shown, f"this is {what}, not a file", hint)

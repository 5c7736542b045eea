"""A folder that is being made: half until it is renamed, held while its maker lives, swept afterwards."""

from __future__ import annotations

import os
import re
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from qc import clock
from qc.errors import MachineError
from qc.store import OWN_FOLDER

HALF = ".half"
MAKING_S = 60.0
"""Chosen: between making a folder and holding it lies less; a younger one is left alone."""
FORGOTTEN_S = 86_400.0
"""Where a system knows no locks on folders (Windows), one that is a day old belongs to nobody any more."""


@contextmanager
def half_folder(place: Path, name: str, others: str) -> Iterator[Path]:
    r"""Make a folder to be filled and then renamed; one that is not renamed is removed in the end.

    Parameters
    ----------
    place : Path
        Where it is to stand.
    name : str
        What it is to be called.
    others : str
        Pattern of such names: what a process that was killed left of them half is removed first.

    Yields
    ------
    Path
        ``.NAME-PROCESS.half``, of its owner alone.

    Raises
    ------
    OSError
        It cannot be made.
    """
    _sweep(place, re.compile(rf"\.{others}-\d+{re.escape(HALF)}"))
    half = place / f".{name}-{os.getpid()}{HALF}"
    half.mkdir(OWN_FOLDER)
    held = None
    with suppress(OSError):  # a disk that knows no locks takes backups all the same
        held = _hold(half)
    try:
        yield half
    finally:
        shutil.rmtree(half, ignore_errors=True)  # there no more once it has its name
        if held is not None:
            os.close(held)


def is_half(folder: Path) -> bool:
    """Say whether a folder was being made when its maker was cut off."""
    return folder.name.startswith(".") and folder.name.endswith(HALF)


def _sweep(place: Path, ours: re.Pattern[str]) -> None:
    """Remove halves whose maker is gone: known by their names, by their age, and by a lock nobody holds."""
    for path in place.iterdir():
        if not ours.fullmatch(path.name) or path.is_symlink() or not path.is_dir():
            continue
        try:
            age = clock.now().timestamp() - path.stat().st_mtime
            if age < (FORGOTTEN_S if sys.platform == "win32" else MAKING_S):
                continue
            held = _hold(path)
        except OSError:
            continue  # its maker still works, or it is not ours to look into
        shutil.rmtree(path, ignore_errors=True)
        if held is not None:
            os.close(held)


def _hold(folder: Path) -> int | None:
    """Lock a folder as long as this process has it open; OSError where another process has it."""
    if sys.platform == "win32":
        return None
    from fcntl import LOCK_EX, LOCK_NB, flock

    handle = os.open(folder, os.O_RDONLY)
    try:
        flock(handle, LOCK_EX | LOCK_NB)
    except OSError:
        os.close(handle)
        raise
    return handle


@contextmanager
def writable(place: Path) -> Iterator[None]:
    """Say of what the system refuses where it was, and what to do."""
    try:
        yield
    except OSError as error:
        raise MachineError(
            f"{place} cannot be written ({error.strerror}). Make room or name another folder."
        ) from error

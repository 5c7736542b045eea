"""What stands beside the store while it is not whole.

A folder that is being made: half until it is renamed, held while its maker lives, swept afterwards. A file
that is written before its rows are durable: as it was, where they never are.
"""

from __future__ import annotations

import os
import re
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType

from qc import clock
from qc.errors import MachineError
from qc.store import OWN_FILE, OWN_FOLDER, flush_file

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


@dataclass(slots=True)
class AsBefore:
    """Files that are written before what belongs to them is durable: as they were, where that fails.

    To be entered before the transaction, so that it ends after it.
    """

    _before: dict[Path, tuple[bytes, int] | None] = field(default_factory=dict)

    def note(self, file: Path) -> None:
        """Remember a file as it stands; called while nobody else can write it, before it is written."""
        there = file.is_file()
        self._before[file] = (file.read_bytes(), file.stat().st_mode & 0o777) if there else None

    def __enter__(self) -> AsBefore:
        return self

    def __exit__(
        self, _: type[BaseException] | None, error: BaseException | None, __: TracebackType | None
    ) -> None:
        if error is None or (isinstance(error, MachineError) and error.in_doubt):
            return  # stored, or perhaps stored: then it is done once more, and comes to what the file says
        for file, before in self._before.items():
            try:
                _put_back(file, before)
            except OSError as refused:
                raise MachineError(
                    f"{error} But {file} says already what was to be stored, and cannot be put back "
                    f"({refused.strerror}). Make room, and do the same again."
                ) from error


def _put_back(file: Path, before: tuple[bytes, int] | None) -> None:
    """Make a file what it was, whole or not at all; one that was not there goes."""
    if before is None:
        file.unlink(missing_ok=True)
        return
    data, mode = before
    if file.is_file() and file.read_bytes() == data:
        return
    beside = file.with_name(f".{file.name}.before")
    try:
        beside.touch(OWN_FILE)
        beside.write_bytes(data)
        flush_file(beside)
        beside.chmod(mode)
        beside.replace(file)
    finally:
        beside.unlink(missing_ok=True)

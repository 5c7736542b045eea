"""Files handed in, on the disk until the worker is done with them: in the workshop, for its owner only.

A board keeps them in a folder of its own, held by a lock as long as it runs; what a board left behind that is
gone is swept by the next one.
"""

from __future__ import annotations

import secrets
import shutil
import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import IO, Final

from qc.jobs.board import DeskFull

PLACE: Final = ".handed-in"
KEPT_FREE: Final = 100 * 2**20
"""Bytes of the disk that files waiting for the worker leave free, so that storing them is not what fails."""


class Spool:
    """The files that wait.

    Parameters
    ----------
    workshop : Path
        The workshop folder; nothing is made in it before `open`.
    """

    def __init__(self, workshop: Path) -> None:
        self._place = workshop / PLACE
        self._own: Path | None = None
        self._lock: IO[bytes] | None = None

    def open(self) -> Path:
        """Return this board's folder, made on first use.

        Raises
        ------
        OSError
            It cannot be made.
        """
        if self._own is None:
            self._place.mkdir(mode=0o700, exist_ok=True)
            self._place.chmod(0o700)
            self._sweep()
            name = secrets.token_hex(8)
            lock = (self._place / f"{name}.lock").open("wb")
            _hold(lock)
            own = self._place / name
            own.mkdir(mode=0o700)
            self._own, self._lock = own, lock
        return self._own

    def keep(self, files: Sequence[tuple[str, IO[bytes]]]) -> tuple[Path, list[tuple[str, Path]]]:
        """Copy files to the disk; returns the folder they are in, and each name with its path.

        Raises
        ------
        DeskFull
            The disk does not take them; nothing is left of them then.
        """
        folder: Path | None = None
        try:
            folder = self.open() / secrets.token_hex(8)
            folder.mkdir(mode=0o700)
            kept = []
            for number, (name, stream) in enumerate(files):
                # the name a person gave a file labels it and never reaches the disk
                path = folder / str(number)
                with path.open("xb") as out:
                    shutil.copyfileobj(stream, out, 2**18)
                kept.append((name, path))
            if shutil.disk_usage(folder).free < KEPT_FREE:
                self.forget(folder)
                raise DeskFull("The disk of this workshop is full. Nothing was stored; make room first.", 507)
        except OSError as error:
            self.forget(folder)
            raise DeskFull(
                f"What was sent cannot be put on the disk ({error.strerror}). Nothing was stored; see that "
                "the disk has room and the workshop's folder can be written, and send it again.",
                507,
            ) from error
        return folder, kept

    def forget(self, folder: Path | None) -> None:
        """Remove what `keep` made."""
        if folder is not None:
            shutil.rmtree(folder, ignore_errors=True)

    def close(self) -> None:
        """Remove this board's folder."""
        if self._lock is None:
            return
        self.forget(self._own)
        self._lock.close()
        with suppress(OSError):
            Path(self._lock.name).unlink()
        self._own = self._lock = None
        with suppress(OSError):  # another board's files may still lie there
            self._place.rmdir()

    def _sweep(self) -> None:
        """Remove what boards that no longer run left behind."""
        for lock in self._place.glob("*.lock"):
            try:
                with lock.open("wb") as held:
                    _hold(held)
                    lock.unlink()
            except OSError:
                continue  # its board still runs
            self.forget(lock.with_suffix(""))
        locked = {lock.stem for lock in self._place.glob("*.lock")}
        for folder in self._place.iterdir():
            if folder.is_dir() and folder.name not in locked:
                self.forget(folder)


def _hold(lock: IO[bytes]) -> None:
    """Lock a file as long as it is open; OSError where another process has it.

    Systems without such locks (Windows) keep an open file from being removed instead.
    """
    if sys.platform != "win32":
        from fcntl import LOCK_EX, LOCK_NB, flock

        flock(lock.fileno(), LOCK_EX | LOCK_NB)

"""Copies of a store while others write: the database by SQLite's own backup, the sheets that it names."""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

from qc.store.errors import StoreError, StoreUnavailable
from qc.store.location import OWN_FILE
from qc.store.sheetfiles import flush_folder, sheet_hash

PAGES_AT_ONCE = 2_000  # 8 MB of the usual pages: what stands in memory between two steps


def copy_database(source: Path, target: Path) -> None:
    """Copy an SQLite database as it stands at one moment, whatever is written meanwhile.

    Parameters
    ----------
    source, target : Path
        The database, and the file to make.

    Raises
    ------
    StoreError
        It is damaged.
    StoreUnavailable
        It is locked for a minute, or the disk refuses the copy.

    Notes
    -----
    A reading transaction is held open on the source: without it each step would see the newest state, and
    every change by another program would begin the copy anew (SQLite documentation, "SQLite Backup API"). In
    the write-ahead log a reader keeps no writer waiting.
    """
    target.touch(OWN_FILE)
    try:
        with (
            closing(sqlite3.connect(f"{source.resolve().as_uri()}?mode=rw", uri=True)) as here,
            closing(sqlite3.connect(target)) as there,
        ):
            here.isolation_level = None
            here.execute("PRAGMA busy_timeout = 60000")
            here.execute("BEGIN")
            here.execute("SELECT count(*) FROM sqlite_master").fetchone()
            here.backup(there, pages=PAGES_AT_ONCE)
            here.execute("ROLLBACK")
            there.execute("PRAGMA journal_mode = DELETE")  # one file, nothing beside it
    except sqlite3.OperationalError as error:
        raise StoreUnavailable(f"{source} cannot be copied to {target} ({error}).") from error
    except sqlite3.Error as error:
        raise StoreError(f"{source} cannot be copied to {target} ({error}). No backup was made.") from error
    flush_file(target)


def copy_file(source: Path, target: Path, digest: str | None = None, earlier: Path | None = None) -> str:
    """Copy a file, flushed to the disk; returns the SHA-256 of its bytes.

    Parameters
    ----------
    source, target : Path
        The file, and where to.
    digest : str, optional
        Its hash, where it is known.
    earlier : Path, optional
        The same file in the backup before: given a second name, once its bytes prove to be of `digest`.
    """
    if digest is not None and earlier is not None and _holds(earlier, digest):
        try:
            os.link(earlier, target)
        except OSError:  # another disk, or one that knows no second names
            pass
        else:
            return digest
    shutil.copyfile(source, target)
    target.chmod(OWN_FILE)
    flush_file(target)
    return sheet_hash(target.read_bytes())


def flush_file(path: Path) -> None:
    """Flush a file to the disk."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def flush_tree(folder: Path) -> None:
    """Flush the names in a folder and in the folders below."""
    for inner in [folder, *(path for path in folder.rglob("*") if path.is_dir())]:
        flush_folder(inner)


def _holds(path: Path, digest: str) -> bool:
    try:
        return sheet_hash(path.read_bytes()) == digest
    except OSError:
        return False

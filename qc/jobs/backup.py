"""Copies of a whole workshop: made while others write, proven before they are called done."""

from __future__ import annotations

import errno
import json
import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from qc.errors import MachineError, UsageError
from qc.jobs.errors import JobError
from qc.jobs.halves import half_folder, is_half, writable
from qc.jobs.judging import ending
from qc.jobs.verify import Verified, verify_store
from qc.jobs.workshop import ADDRESS, DATABASE_VARIABLE, OLDER_VARIABLE, Workshop, keep_address
from qc.plain import JsonObject
from qc.report.terminal import backup_note_text, backup_text, restored_text
from qc.stats import Tabled
from qc.store import (
    OWN_FILE,
    OWN_FOLDER,
    StoreError,
    copy_database,
    copy_file,
    flush_file,
    flush_tree,
    open_store,
    private_folder,
    refuse_network_share,
)

STATE = "last backup"
DUE_DAYS = 7
"""After so many days `qc status` reminds of a backup."""

MANIFEST = "backup.json"
DATABASE, SHEETS = "qc.db", "sheets"
_PREFIX, _FAULTY, _WITHOUT_ROWS = "backup-", "-with-faults", "-without-rows"
_OF_DATABASE = {DATABASE, f"{DATABASE}-wal", f"{DATABASE}-shm", f"{DATABASE}-journal"}
_LEFT_OUT = {*_OF_DATABASE, SHEETS, "log", MANIFEST, ADDRESS}

NO_BACKUP = "No backup was made."
NOTHING_BACK = "Nothing was brought back."
NOTE_PATIENCE_S = 3.0
"""Chosen: the backup is whole by then, so nobody waits a minute for the note of it."""

_PUT_BACK = " Put back the last backup of the workshop folder."  # which is what was being done
_NOT_NOTED = (
    "It is whole, but could not be noted in the store, which is locked or full: `qc status` may go on "
    "reminding of a backup."
)
ROWS = "rows.dump"
_NO_ROWS = f"The database that {DATABASE_VARIABLE} names holds no rows. "
_LOAD = (
    f"Load the rows into an empty database first, with {DATABASE_VARIABLE} set to its address: "
    f'`pg_restore --clean --if-exists --no-owner --dbname="${DATABASE_VARIABLE}" {{folder}}/{ROWS}`; '
    "then type this command again."
)


@dataclass(frozen=True, slots=True)
class Backup(Tabled):
    """A backup: where it lies, how much it holds, and what was wrong with it."""

    folder: Path
    entries: int
    head: str
    sheets: int
    faults: tuple[str, ...] = ()
    remark: str = ""
    rows: bool = True  # always: earlier programs left them out where a server had them

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return Tabled.to_dict(self) | {"folder": str(self.folder), "whole": not self.faults}

    def to_text(self) -> str:
        """Say it in words."""
        return backup_text(self.folder, self.entries, self.sheets, self.head, self.faults, self.remark)


@dataclass(frozen=True, slots=True)
class Restored(Tabled):
    """A workshop that was brought back."""

    folder: Path
    entries: int
    head: str

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return Tabled.to_dict(self) | {"folder": str(self.folder)}

    def to_text(self) -> str:
        """Say it in words."""
        return restored_text(self.folder, self.entries, self.head)


def backup(workshop: Workshop, out: Path) -> Backup:
    """Copy a workshop into a dated folder, and prove the copy; others may write meanwhile.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    out : Path
        Where backups lie, outside the workshop; made where missing.

    Returns
    -------
    Backup
        With faults where the copy is not sound: such a folder has a name that says so.

    Raises
    ------
    UsageError
        `out` is no folder.
    JobError
        The folder lies in the workshop.
    MachineError
        It cannot be written.
    StoreError
        The database cannot be read.
    """
    if workshop.folder.resolve() in [out.resolve(), *out.resolve().parents]:
        raise JobError(f"{out} lies in the workshop itself. Name a folder outside it, best on another disk.")
    if out.exists() and not out.is_dir():
        raise UsageError(f"{out} is no folder. Name one; it is made where it is missing. {NO_BACKUP}")
    name = f"{_PREFIX}{workshop.now:%Y-%m-%d-%H%M%S}"
    with ending(NO_BACKUP), writable(out):
        private_folder(out)
        with half_folder(out, name, _PREFIX + r"[0-9-]+") as half:
            made = _fill(workshop, half, _newest(out))
            final = _free(out, name + (_FAULTY if made.faults else ""))
            flush_tree(half)
            half.rename(final)
    remarks = []
    if not made.faults and not _noted(workshop, final, made.head):
        remarks.append(_NOT_NOTED)
    if final.stat().st_dev == workshop.folder.stat().st_dev:
        remarks.append("It lies on the disk of the workshop: copy it to another one.")
    return replace(made, folder=final, remark=" ".join(remarks))


def restore(source: Path, folder: Path, *, into: str = "") -> Restored:
    """Bring a backup back into an empty place; nothing is there before it has been proven.

    A backup without rows, as earlier programs made them of a workshop on a server, is proven against the rows
    in the database that ``QC_DATABASE_URL`` names.

    Parameters
    ----------
    source : Path
        A backup, or a copy of a whole workshop folder; of this or an earlier version of the program.
    folder : Path
        Where the workshop is to be: new or empty.
    into : str
        Address of an empty PostgreSQL database (or schema) to take the rows; the folder then names it, and
        holds the rest. Nothing is kept there unless the chain ends as it did.

    Raises
    ------
    JobError
        `source` is no backup or not sound, or `folder` is not empty.
    StoreError
        The database of `into` cannot be reached, or holds rows.
    MachineError
        `folder` cannot be written.
    """
    if is_half(source):
        raise JobError(f"{source} is half a backup: making it was cut off. Name another one.")
    url = _address_of_rows(source)
    if url and into:
        raise JobError(f"{source} is a backup without rows: there are none to carry. Leave out `--into`.")
    if (folder.exists() and not folder.is_dir()) or (folder.is_dir() and any(folder.iterdir())):
        raise _not_empty(folder)
    refuse_network_share(folder)
    with ending(NOTHING_BACK), writable(folder):
        private_folder(folder.parent)
        with half_folder(folder.parent, folder.name, re.escape(folder.name)) as half:
            for path in _files(source, {MANIFEST, ROWS, ADDRESS}):
                target = half / path.relative_to(source)
                private_folder(target.parent)
                copy_file(path, target)
            found = _carried(source, half, into) if into else _proven(source, half, url)
            flush_tree(half)
            try:
                if folder.is_dir():
                    folder.rmdir()
                half.rename(folder)
            except OSError as error:  # somebody else put something there meanwhile
                if error.errno not in (errno.ENOTEMPTY, errno.EEXIST):
                    raise
                raise _not_empty(folder) from error
    return Restored(folder, found.entries, found.head)


def _not_empty(folder: Path) -> JobError:
    return JobError(f"{folder} is not empty. Name a new folder, so that nothing of yours is written over.")


def _proven(source: Path, half: Path, url: str | None) -> Verified:
    """Prove what was copied of a backup, with its rows where they are."""
    try:
        with open_store(half, url=url) as store:
            if url and store.pulse()[0] == 0:
                raise JobError(_NO_ROWS + _LOAD.format(folder=source))
            return _sound(source, verify_store(store, against=_head_of(source)))
    except StoreError as error:
        if url or isinstance(error, MachineError):
            raise
        # of the backup that was given; of the copy of it nobody knows, and by then it is gone
        told = str(error).replace(str(half), str(source)).removesuffix(_PUT_BACK)
        raise JobError(f"{told} {NOTHING_BACK} Name another backup.") from error


def _carried(source: Path, half: Path, into: str) -> Verified:
    """Carry the rows of what was copied to a server, prove them there, and only then keep them."""
    with open_store(half) as kept, open_store(half, url=into) as store:
        if not store.on_server:
            raise JobError("`--into` names a PostgreSQL database: postgresql://user@host/name.")
        with store.writing():
            if not (hashes := store.hashes()) or hashes != kept.hashes():
                kept.carry_into(store)  # else it was killed once the rows were there, before the folder was
            found = _sound(source, verify_store(store, against=_head_of(source)))
            if (found.entries, found.head) != (len(kept.hashes()), kept.head()):
                raise JobError(f"The chain of {source} ended otherwise after it was carried. {NOTHING_BACK}")
    for name in _OF_DATABASE:  # one place for the rows: an older one beside it would mislead
        (half / name).unlink(missing_ok=True)
    keep_address(half, into)
    return found


def _sound(source: Path, found: Verified) -> Verified:
    """Return what was found of a copy, and raise where it is not sound."""
    if found.faults:
        told = " ".join(found.faults[:3])
        raise JobError(f"{source} is not sound, nothing was brought back: {told} Name another backup.")
    return found


def backup_note(workshop: Workshop) -> str:
    """Return a reminder where there is no backup, or none for over a week; else nothing."""
    last = workshop.store.state(STATE)
    if last is not None:
        at = datetime.fromisoformat(last["at"])
    else:
        begun = workshop.store.begun()
        if begun is None:
            return ""
        at = begun
    days = (workshop.now - at).days
    return backup_note_text(days, last is not None) if days > DUE_DAYS else ""


def _fill(workshop: Workshop, half: Path, before: Path | None) -> Backup:
    """Copy database, sheets and the other files into `half`, then prove what was copied."""
    if not workshop.store.on_server:
        copy_database(workshop.folder / DATABASE, half / DATABASE)
    (half / SHEETS).mkdir(OWN_FOLDER)
    with open_store(half) as copied:
        if workshop.store.on_server:
            workshop.store.carry_into(copied)
        waiting = [one.sheet for one in copied.unread(open_only=False)]  # nobody could read these yet
        named = list(dict.fromkeys([*(one.sheet for one in copied.sheets()), *waiting]))
        for digest in named:
            source, target = workshop.folder / SHEETS / digest, half / SHEETS / digest
            if source.is_file():  # one that is missing is a fault that the proof names
                copy_file(source, target, digest, before / SHEETS / digest if before else None)
        held = _copy_the_rest(workshop, half)  # before the proof, which asks for the reports of closed months
        found = verify_store(copied)
    _note(workshop, half, held, found.entries, found.head)
    return Backup(half, found.entries, found.head, len(named), found.faults)


def _copy_the_rest(workshop: Workshop, half: Path) -> dict[str, str]:
    """Copy the plan, the reports and what else lies in the workshop; returns their hashes by name."""
    held = {}
    for path in _files(workshop.folder, _LEFT_OUT):
        target = half / path.relative_to(workshop.folder)
        private_folder(target.parent)
        held[str(path.relative_to(workshop.folder))] = copy_file(path, target)
    return held


def _note(workshop: Workshop, half: Path, held: Mapping[str, str], entries: int, head: str) -> None:
    """Note what the copy holds."""
    facts = {"made": workshop.now.isoformat(), "entries": entries, "head": head, "files": held}
    (half / MANIFEST).touch(OWN_FILE)
    (half / MANIFEST).write_text(json.dumps(facts, ensure_ascii=False, indent=1), "utf-8")
    flush_file(half / MANIFEST)


def _noted(workshop: Workshop, folder: Path, head: str) -> bool:
    """Note when the last backup was made, for the reminder; a locked store does not spoil a backup."""
    at = {"at": workshop.now.isoformat(), "folder": str(folder), "head": head}
    try:
        with workshop.store.impatient(NOTE_PATIENCE_S):
            workshop.store.set_state(STATE, at)
    except MachineError:
        return False
    return True


def _files(folder: Path, left_out: set[str]) -> Iterator[Path]:
    """Yield the files of a folder and below; half-written ones and links are passed over."""
    for path in sorted(folder.iterdir()):
        if path.name in left_out or path.name.startswith(".") or path.name.endswith(".part"):
            continue
        if path.is_symlink():
            continue
        if path.is_dir():
            yield from _files(path, set())
        elif path.is_file():
            yield path


def _address_of_rows(source: Path) -> str | None:
    """Return where the rows of a backup without rows are now; None where they lie in it."""
    if (source / DATABASE).is_file():
        return None
    if (source / ADDRESS).is_file():
        raise JobError(
            f"The rows of {source} are in PostgreSQL, not in the folder. Make a backup first, which holds "
            f"them: `qc backup DIR --workshop {source}`; then bring that back."
        )
    if not (source / MANIFEST).is_file() or _WITHOUT_ROWS not in source.name:
        raise JobError(f"{source} is no backup (no {DATABASE} in it). Name a dated folder of `qc backup`.")
    url = os.environ.get(DATABASE_VARIABLE) or os.environ.get(OLDER_VARIABLE)
    if not url:
        raise JobError(f"{source} is a backup without rows. {_LOAD.format(folder=source)}")
    return url


def _head_of(source: Path) -> str | None:
    """Return the last hash that a backup noted; None for the copy of a folder, which noted none."""
    manifest = source / MANIFEST
    if not manifest.is_file():
        return None
    try:
        return str(json.loads(manifest.read_text("utf-8"))["head"]) or None
    except (ValueError, KeyError, TypeError) as error:
        raise JobError(f"{manifest} cannot be read: the backup was altered. Name another one.") from error


def _newest(out: Path) -> Path | None:
    found = sorted(path for path in out.glob(f"{_PREFIX}*") if (path / MANIFEST).is_file())
    return found[-1] if found else None


def _free(out: Path, name: str) -> Path:
    """Return a name that nothing has yet: two backups may fall on one second."""
    number, path = 1, out / name
    while path.exists():
        number += 1
        path = out / f"{name}-{number}"
    return path

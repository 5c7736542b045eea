"""`qc upload --folder`: the sheets that lie in a folder, as a run by the clock takes them in.

Two runs may be at work at once, and people go on saving files meanwhile. So nothing is locked: an upload that
is said twice stores once, a file is moved away by one rename, and only the bytes that were stored leave the
folder.
"""

from __future__ import annotations

import hashlib
import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from qc import clock
from qc.errors import UsageError
from qc.ingest import SheetError
from qc.ingest.reading import read_file
from qc.jobs.receipts import UploadReceipt
from qc.jobs.upload import GivenFile, ShowProgress, upload
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import folder_text
from qc.stats import Tabled
from qc.words import kept_name

KINDS = {".csv", ".xlsx"}
OWN = (".", "~$")  # files that a program keeps beside one that is open in it
ARCHIVE = "archive"
SETTLED_S = 10.0
"""Chosen: a file that was changed less than this ago may still be being written; the next run takes it."""


@dataclass(frozen=True, slots=True)
class FolderReceipt(Tabled):
    """What became of the sheets in a folder.

    Attributes
    ----------
    folder : Path
        Where they lay.
    receipt : UploadReceipt
        Of those that were handed in.
    archived : tuple of Path
        Where those that were stored lie now; empty without `then_archive`.
    left : tuple of str
        Why a file was left where it is, a sentence each.
    """

    folder: Path
    receipt: UploadReceipt
    archived: tuple[Path, ...] = ()
    left: tuple[str, ...] = ()

    def to_dict(self) -> JsonObject:
        """Return the receipt of an upload, and beside it what was moved and what was left."""
        moved = [str(path) for path in self.archived]
        return {**self.receipt.to_dict(), "archived": moved, "left": list(self.left)}

    def to_text(self) -> str:
        """Say the receipt, then what was moved and what was left."""
        told = self.receipt.to_text() if self.receipt.sheets or self.receipt.kept_said else ""
        return folder_text(told, str(self.folder), len(self.archived), self.left)


def upload_folder(
    workshop: Workshop,
    folder: Path,
    *,
    then_archive: bool = False,
    who: str = "",
    progress: ShowProgress | None = None,
) -> FolderReceipt:
    """Take in the sheets that lie in a folder; those of folders in it are not looked at.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    folder : Path
        Where benches put their sheets, csv or xlsx.
    then_archive : bool
        Move each sheet that was stored, held rows and all, into ``archive`` and the day's folder in it.
        Refused ones stay where they are.
    who : str
        Code of the person who uploads.
    progress : callable, optional
        Told how many sheets have been read.

    Returns
    -------
    FolderReceipt
        Also where there was nothing to take in.

    Raises
    ------
    UsageError
        There is no such folder.
    MachineError
        A lock, a full disk or a missing right in the store. What was stored by then is told "already known"
        by the next run, which moves it.
    """
    if not folder.is_dir():
        raise UsageError(f"{folder} is no folder. Name the one that the benches put their sheets into.")
    waiting, left = _lying_in(folder, clock.now().timestamp())
    files: list[GivenFile] = []
    content: dict[str, tuple[Path, str]] = {}
    for path in waiting:
        try:
            data = read_file(path)
        except SheetError as error:
            if path.exists():  # else another run was quicker, and has told of it
                files.append((kept_name(path.name), error))
            continue
        files.append((kept_name(path.name), data))
        content[kept_name(path.name)] = path, hashlib.sha256(data).hexdigest()
    receipt = upload(workshop, files, who=who, progress=progress)
    archived: list[Path] = []
    if then_archive:
        place = folder / ARCHIVE / workshop.today.isoformat()
        for file in dict.fromkeys(sheet.count.file for sheet in receipt.sheets):
            path, digest = content[file]
            moved, why = _moved(path, digest, place)
            archived += [moved] if moved is not None else []
            left += [why] if why else []
    return FolderReceipt(folder, receipt, tuple(archived), tuple(left))


def _lying_in(folder: Path, now: float) -> tuple[list[Path], list[str]]:
    """Return the sheets of a folder by age, and why others are not among them."""
    found: list[tuple[float, Path]] = []
    left = []
    for path in folder.iterdir():
        if path.suffix.lower() not in KINDS or path.name.startswith(
            (".", "~$")
        ):  # a program's own, while open
            continue
        with suppress(FileNotFoundError):
            changed = path.stat().st_mtime
            if 0 <= now - changed < SETTLED_S:
                left.append(
                    f"{path.name} was changed {now - changed:.0f} seconds ago and may still be being "
                    "written: the next run takes it in."
                )
            elif path.is_file():
                found.append((changed, path))
    return [path for _, path in sorted(found)], sorted(left)


def _moved(path: Path, digest: str, place: Path) -> tuple[Path | None, str]:
    """Move what was stored; a file that was saved anew meanwhile comes back, for the next run."""
    target = place / f"{path.stem}-{digest[:8]}{path.suffix}"
    try:
        place.mkdir(parents=True, exist_ok=True)
        os.replace(path, target)
        found = _digest(target)
        if found == digest:
            return target, ""
        back = path.with_name(f"{path.stem}-{found[:8]}{path.suffix}") if path.exists() else path
        os.replace(target, back)
    except FileNotFoundError:
        return None, ""  # another run has moved it
    except OSError as error:
        return None, (
            f"{path.name} was taken in, but cannot be moved to {place} ({error.strerror}). Close it where it "
            "is open, or mend the rights of the folder; the next run moves it."
        )
    return None, f"{back.name} was changed while it was taken in: the next run takes in what it says now."


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()

"""The files of a month's report on the disk: put there whole, found again where the month is closed."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from qc.errors import MachineError
from qc.jobs.errors import JobError
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.store import OWN_FILE, flush_file, private_folder, sheet_hash

Stored = tuple[JsonObject, tuple[Path, ...]]


@dataclass(frozen=True, slots=True)
class FileNames:
    """What the files of a month are called."""

    month: str

    @property
    def pdf(self) -> str:
        """The two pages and what follows them, for paper."""
        return f"month-{self.month}.pdf"

    @property
    def html(self) -> str:
        """The same for a browser."""
        return f"month-{self.month}.html"

    @property
    def xlsx(self) -> str:
        """The same figures for whoever reckons on."""
        return f"month-{self.month}.xlsx"

    @property
    def answer(self) -> str:
        """What the command answered when the month was closed; kept with the others."""
        return f"month-{self.month}.json"

    @property
    def told(self) -> tuple[str, str, str]:
        """The files that are shown to people."""
        return self.pdf, self.html, self.xlsx


def stored_report(workshop: Workshop, which: str) -> Stored | None:
    """Return the answer and the files of a closed month as they were stored; None of one that is open.

    Raises
    ------
    JobError
        A file is lost, or is not what was stored.
    MachineError
        A file cannot be read.
    """
    closed = next((one for one in workshop.store.closed_months() if one.month == which), None)
    if closed is None:
        return None
    place, names = workshop.folder / "reports" / which, FileNames(which)
    data: dict[str, bytes] = {}
    for name, digest in closed.files.items():
        try:
            data[name] = (place / name).read_bytes()
        except FileNotFoundError as error:
            raise JobError(f"{place / name} is missing, and {which} is closed. {_BACK}") from error
        except OSError as error:
            raise MachineError(f"{place / name} cannot be read ({error.strerror}).") from error
        if sheet_hash(data[name]) != digest:
            raise JobError(f"{place / name} was altered since {closed.who} closed the month. {_BACK}")
    answer: JsonObject = json.loads(data[names.answer])
    return answer, tuple(place / name for name in names.told)


_BACK = (
    "Put it back from the last backup; its hash stands in the chain, `qc verify` tells whether it is the one."
)


def put_files(folder: Path, documents: Mapping[str, bytes], *, flush: bool = False) -> tuple[Path, ...]:
    """Write every file whole or none of them: a reader never meets half a report.

    Parameters
    ----------
    folder : pathlib.Path
        Made where missing.
    documents : mapping of str to bytes
        Name of each file, and what it holds.
    flush : bool
        Return only when all is on the disk.
    """
    private_folder(folder)
    drafts = {folder / f"{name}.part": folder / name for name in documents}
    try:
        for draft, path in drafts.items():
            draft.touch(OWN_FILE)
            draft.write_bytes(documents[path.name])
            if flush:
                flush_file(draft)
        for draft, path in drafts.items():
            os.replace(draft, path)
    finally:
        for draft in drafts:
            draft.unlink(missing_ok=True)
    return tuple(drafts.values())


def copied(files: tuple[Path, ...], out: Path) -> tuple[Path, ...]:
    """Copy stored files into another folder.

    Raises
    ------
    MachineError
        The folder cannot be written.
    """
    try:
        return put_files(out, {path.name: path.read_bytes() for path in files})
    except OSError as error:
        raise MachineError(
            f"{out}: the report cannot be copied there ({error.strerror}). It lies in {files[0].parent}."
        ) from error

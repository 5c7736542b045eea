"""Making an empty workshop with a commented plan to edit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from qc.jobs.errors import JobError
from qc.jobs.workshop import PLAN, open_workshop
from qc.report.terminal import new_workshop_text
from qc.stats import Tabled


@dataclass(frozen=True, slots=True)
class NewWorkshop(Tabled):
    """A workshop that was just made."""

    folder: Path

    @property
    def plan_file(self) -> Path:
        """The plan to edit."""
        return self.folder / PLAN

    def to_dict(self) -> dict[str, str]:
        """Return plain values."""
        return {"folder": str(self.folder), "plan": str(self.plan_file)}

    def to_text(self) -> str:
        """Say what was made and how to go on."""
        return new_workshop_text(self.folder, self.plan_file)


def new_workshop(folder: Path, *, as_of: date | None = None) -> NewWorkshop:
    """Make an empty workshop.

    Parameters
    ----------
    folder : Path
        A folder that does not exist yet, or an empty one.
    as_of : date, optional
        The day it is founded on; else today.

    Raises
    ------
    JobError
        There is something in the folder already.
    StoreError
        The folder is on a network share or cannot be written.
    """
    if (folder / PLAN).exists():
        raise JobError(f"There is a workshop in {folder} already; nothing was changed.")
    if folder.is_file() or (folder.is_dir() and any(folder.iterdir())):
        raise JobError(f"{folder} is not empty. Name a new folder, so that nothing of yours is mixed in.")
    open_workshop(folder, as_of=as_of, create=True, writes=True).store.close()
    return NewWorkshop(folder)

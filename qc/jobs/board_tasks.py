"""What the board's worker does: take in sheets, accept a mend. All that is heavy is loaded only here."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from qc.jobs.held import mend_held
from qc.jobs.upload import ShowProgress, upload
from qc.jobs.workshop import open_workshop


def warm() -> None:
    """Load the validation library, so that the first sheet of the day does not wait for it."""
    import great_expectations  # noqa: F401


def take_sheets(
    folder: Path,
    as_of: date | None,
    files: Sequence[tuple[str, bytes]],
    who: str,
    tell: ShowProgress,
) -> dict[str, Any]:
    """Upload sheets and return the receipt as plain values.

    Parameters
    ----------
    folder : Path
        The workshop folder.
    as_of : date or None
        The day to stand on.
    files : sequence of (name, bytes)
        The sheets.
    who : str
        Code of the person who hands them in.
    tell : callable
        Told how many sheets are done, of how many, and in words.
    """
    workshop = open_workshop(folder, as_of=as_of)
    try:
        return upload(workshop, files, who=who, progress=tell).to_dict()
    finally:
        workshop.store.close()


def accept_mend(folder: Path, as_of: date | None, held_id: str, who: str) -> dict[str, Any]:
    """Accept the proposed mend of a held row and say what became of it."""
    workshop = open_workshop(folder, as_of=as_of)
    try:
        return mend_held(workshop, int(held_id), who=who).to_dict()
    finally:
        workshop.store.close()

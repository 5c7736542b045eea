"""What the board's worker does: take in sheets, settle held rows, add to a signal's life. The heavy part."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from qc.jobs.held import Decision, mend_rows
from qc.jobs.signals import STATE_WORDS, say_of_signal
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


def decide_held(
    folder: Path,
    as_of: date | None,
    rows: Sequence[str],
    decision: str,
    changes: Mapping[str, object],
    who: str,
) -> dict[str, Any]:
    """Decide the same about held rows and say what became of them.

    Parameters
    ----------
    folder : Path
        The workshop folder.
    as_of : date or None
        The day to stand on.
    rows : sequence of str
        Ids of the rows, as the board shows them.
    decision : str
        A `Decision`.
    changes : mapping
        Column -> new value, for a decision by hand.
    who : str
        Code of the person who decides.
    """
    workshop = open_workshop(folder, as_of=as_of)
    try:
        found = mend_rows(workshop, [int(row) for row in rows], Decision(decision), changes, who=who)
        return found.to_dict()
    finally:
        workshop.store.close()


def say_signal(
    folder: Path, as_of: date | None, signal_id: str, saying: Mapping[str, Any], who: str
) -> dict[str, Any]:
    """Add to the life of a signal and say how it now stands.

    Parameters
    ----------
    folder : Path
        The workshop folder.
    as_of : date or None
        The day to stand on.
    signal_id : str
        The signal.
    saying : mapping
        `what`, and where given `cause`, `action` and `text`, as `say_of_signal` takes them.
    who : str
        Code of the person who says it.
    """
    workshop = open_workshop(folder, as_of=as_of)
    try:
        life = say_of_signal(workshop, signal_id, who=who, **saying)
    finally:
        workshop.store.close()
    if saying["what"] == "comment":
        return {"sentence": "The remark is kept.", "reasons": []}
    return {"sentence": f"The signal is now {STATE_WORDS[life.state]}.", "reasons": []}

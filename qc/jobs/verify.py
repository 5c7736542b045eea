"""The proof that nothing was lost or altered since it was accepted."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

from qc.errors import QcError, UsageError
from qc.jobs.errors import JobError
from qc.jobs.workshop import PLAN, find_folder, no_workshop, open_workshop, rows_address
from qc.plain import JsonObject
from qc.report.terminal import verified_text
from qc.stats import Tabled
from qc.store import Store, open_store

SHORTEST = 12
"""Digits of a hash that name an entry: 48 bits, so that no two of a store share them by chance."""


OUTSIDE_ALTERED = (
    "The list of pieces outside their limits that is kept for quick answers is not what the readings say: it "
    "was altered, so the pieces to hold may lack some. `qc rejudge` works it out anew."
)


@dataclass(frozen=True, slots=True)
class Verified(Tabled):
    """What the check of the store found; `head` is the hash of the newest entry.

    `noted` is the number of the entry whose hash was asked about; None where none was, or none has it.
    """

    entries: int
    head: str
    faults: tuple[str, ...]
    noted: int | None = None

    def to_dict(self) -> JsonObject:
        """Return the contract of ``qc verify --json``."""
        return {
            "whole": not self.faults,
            "entries": self.entries,
            "head": self.head,
            "faults": list(self.faults),
        }

    def to_text(self) -> str:
        """Say it in words."""
        return verified_text(self.entries, self.head, self.faults, self.noted)


def verify_workshop(folder: Path | None = None, *, against: str | None = None) -> Verified:
    """Work out every hash of a workshop again, whatever its plan says.

    Parameters
    ----------
    folder : Path, optional
        The workshop; else as `qc.jobs.workshop.find_folder` says.
    against : str, optional
        A hash that was noted earlier, on a printed report for example: it must be in the chain.

    Raises
    ------
    JobError
        There is no workshop there.
    UsageError
        `against` is no hash.
    StoreError
        The database is gone or cannot be opened.
    """
    noted = None if against is None else read_hash(against)
    place = find_folder(folder)
    if not (place / PLAN).is_file() and not (place / "sheets").is_dir():
        raise JobError(no_workshop(place))
    with open_store(place, url=rows_address(place)) as store:
        found = verify_store(store, against=noted)
    return replace(found, faults=(*found.faults, *_of_what_is_kept(place)))


def _of_what_is_kept(place: Path) -> list[str]:
    """Compare what is kept for quick answers with the readings; nothing where the plan cannot be read."""
    from qc.jobs.pieces import kept_otherwise

    try:
        workshop = open_workshop(place)
    except QcError:
        return []
    try:
        altered = kept_otherwise(workshop)
    except (QcError, ArithmeticError, ValueError):  # rows that are faults themselves, and named as such
        return []
    finally:
        workshop.store.close()
    return [OUTSIDE_ALTERED] if altered else []


def verify_store(store: Store, *, against: str | None = None) -> Verified:
    """Work out every hash of an open store again; `against` as in `verify_workshop`."""
    faults = store.verify()
    hashes = store.hashes()
    noted = next((n for n, one in enumerate(hashes, 1) if against and one.startswith(against)), None)
    if against is not None and noted is None:
        faults.append(
            f"No entry has the hash {against}: the end of the chain was cut off since it was noted, or the "
            "chain was made anew. Put back the last backup (`qc restore`) and compare."
        )
    if not hashes and store.sheets() == [] and store.sheet_files():
        faults.append("The store holds no entry at all. Put back the last backup (`qc restore`).")
    return Verified(len(hashes), hashes[-1] if hashes else "", tuple(faults), noted)


def read_hash(text: str) -> str:
    """Return a hash as it was typed off a page, spaces left out.

    Raises
    ------
    UsageError
        It is none, or too short to name one entry.

    Examples
    --------
    >>> read_hash("AB12 cd34 ef56")
    'ab12cd34ef56'
    """
    plain = re.sub(r"\s", "", text).lower()
    if not re.fullmatch(rf"[0-9a-f]{{{SHORTEST},64}}", plain):
        raise UsageError(
            f"'{text[:80]}' is no hash of an entry. Type the {SHORTEST} to 64 digits (0 to 9, a to f) that "
            "`qc verify` or the month's report printed."
        )
    return plain

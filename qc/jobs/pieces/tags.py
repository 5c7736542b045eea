"""A tag for each piece to hold: serial, place, why, what to do, and a line for who releases it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from qc.errors import MachineError
from qc.jobs.errors import JobError
from qc.jobs.pieces.hold import hold_list
from qc.jobs.pieces.rows import HoldRow, why_words
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.tags import HoldTag, tags_pdf
from qc.report.terminal import tags_text
from qc.stats import Tabled
from qc.store import OWN_FILE


@dataclass(frozen=True, slots=True)
class HoldTags(Tabled):
    """The tags that were written."""

    file: Path
    serials: tuple[str, ...]

    def to_dict(self) -> JsonObject:
        """Return the file and the pieces."""
        return {"file": str(self.file), "serials": list(self.serials)}

    def to_text(self) -> str:
        """Say how many tags lie where."""
        return tags_text(len(self.serials), str(self.file))


def write_tags(workshop: Workshop, out: Path, *, serials: Collection[str] | None = None) -> HoldTags:
    """Write a pdf with a tag for each piece in the house that is to be held.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    out : pathlib.Path
        The pdf; one that is there is written over.
    serials : collection of str, optional
        Only these pieces.

    Raises
    ------
    JobError
        No piece is to be held.
    MachineError
        The file cannot be written.
    """
    waiting = hold_list(workshop, serials=serials).waiting
    if not waiting:
        raise JobError("No piece in the house is to be held, so there is no tag to print.")
    data = tags_of(workshop, waiting)
    try:
        out.touch(OWN_FILE)
        out.write_bytes(data)
    except OSError as error:
        raise MachineError(
            f"{out}: the tags cannot be written here ({error.strerror}). Name another file with --out."
        ) from error
    return HoldTags(out, tuple(dict.fromkeys(row.serial for row in waiting)))


def tags_of(workshop: Workshop, rows: Sequence[HoldRow]) -> bytes:
    """Return a pdf with a tag for each piece of some rows of the list."""
    found: dict[str, list[HoldRow]] = {}
    for row in rows:
        found.setdefault(row.serial, []).append(row)
    return tags_pdf(workshop.plan.workshop.name, workshop.today, [_tag(own) for own in found.values()])


def _tag(rows: Sequence[HoldRow]) -> HoldTag:
    first = rows[0]
    kept = next((row.kept_back for row in rows if row.kept_back), None)
    reasons = tuple(f"{row.name}: {why_words(row)}" for row in rows)
    return HoldTag(first.serial, first.whereabouts.words, reasons, first.next_step, kept.who if kept else "")

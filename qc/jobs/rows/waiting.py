"""Held rows that wait for a person: listed, alike neighbours put together, written out for who typed them."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from qc.ingest import DOUBTS
from qc.jobs.errors import JobError
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import exported_text, held_row_text, held_text
from qc.stats import Tabled
from qc.store import HeldReason, HeldRecord

DOUBT_NAMES = frozenset(str(reason) for reason in DOUBTS)
"""Reasons that a person may answer with "it is really so"."""


@dataclass(frozen=True, slots=True)
class HeldRow:
    """One held row, for people."""

    id: int
    where: str
    text: str
    serial: str
    reasons: tuple[HeldReason, ...]
    proposal: Mapping[str, Any]

    @classmethod
    def of(cls, row: HeldRecord) -> HeldRow:
        """Put what the store holds of a row into the words of its sheet."""
        where = [row.file, f"tab {row.tab}" if row.tab else "", row.cell]
        return cls(
            id=row.id,
            where=", ".join(part for part in where if part),
            text=row.text,
            serial=row.as_typed().get("serial") or "",
            reasons=row.reasons,
            proposal=row.proposal,
        )

    def is_like(self, next_row: HeldRow) -> bool:
        """Say whether the next row is of the same piece and held alike, both without a mend."""
        same = [r.id for r in self.reasons] == [r.id for r in next_row.reasons]
        follows = next_row.id == self.id + 1
        return (
            same and follows and self.serial == next_row.serial and not (self.proposal or next_row.proposal)
        )

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "row": self.id,
            "where": self.where,
            "typed": self.text,
            "serial": self.serial,
            "reasons": [reason.to_dict() for reason in self.reasons],
            "proposal": self.proposal or None,
        }

    def to_text(self) -> str:
        """Say where it stands, why it is held, and what would put it right."""
        reasons = [(reason.sentence, reason.mend) for reason in self.reasons]
        return held_row_text(self.id, self.serial, self.text, reasons, self.proposal)


@dataclass(frozen=True, slots=True)
class HeldList(Tabled):
    """The rows that wait."""

    ROWS = "held"

    rows: tuple[HeldRow, ...]

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"held": [row.to_dict() for row in self.rows]}

    def to_text(self) -> str:
        """List them."""
        return held_text([(run[0].to_text(), [row.id for row in run]) for run in self.runs()])

    def runs(self) -> list[list[HeldRow]]:
        """Return the rows with neighbours of one piece that are held for the same reasons put together."""
        found: list[list[HeldRow]] = []
        for row in self.rows:
            if found and found[-1][-1].is_like(row):
                found[-1].append(row)
            else:
                found.append([row])
        return found


@dataclass(frozen=True, slots=True)
class Exported:
    """A file written for the person who typed the rows."""

    file: Path
    rows: int

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"file": str(self.file), "rows": self.rows}

    def to_text(self) -> str:
        """Say what was written."""
        return exported_text(self.rows, self.file)


def list_held(workshop: Workshop, *, sheet: str = "") -> HeldList:
    """Return the rows that wait for a decision, in order of entry.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    sheet : str
        Only rows of this sheet: its file name or the beginning of its hash.
    """
    rows = workshop.store.held()
    own = [row for row in rows if not sheet or row.file == sheet or row.sheet.startswith(sheet)]
    return HeldList(tuple(HeldRow.of(row) for row in own))


def export_held(workshop: Workshop, out: Path) -> Exported:
    """Write the held rows as csv, for the person who typed them.

    Cells that a spreadsheet would take for a formula are written with a leading apostrophe.
    """
    rows = list_held(workshop).rows
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(["row", "where", "serial", "typed", "reasons", "what to do", "proposal"])
    for row in rows:
        said = "; ".join(reason.sentence for reason in row.reasons)
        todo = "; ".join(reason.mend for reason in row.reasons)
        proposal = json.dumps(row.proposal, ensure_ascii=False) if row.proposal else ""
        writer.writerow(
            [_harmless(cell) for cell in (row.id, row.where, row.serial, row.text, said, todo, proposal)]
        )
    try:
        out.write_text(text.getvalue(), "utf-8")
    except OSError as error:
        raise JobError(f"{out}: the file cannot be written ({error.strerror}). Name another one.") from error
    return Exported(out, len(rows))


def _harmless(cell: object) -> object:
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in {"=", "+", "-", "@", "\t"} else cell

"""Held rows: what waits, and what a person decided about it.

A mended row goes through the same check as a new one; only then does it come in. What was typed stays on
record beside what it became, with who decided and when.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any, Literal

from qc.ingest import DOUBTS, Checked, MendedRow, Reason, mend_row, recheck, warm_up
from qc.jobs.errors import JobError
from qc.jobs.judging import NOTHING_STORED, STORED_NOT_JUDGED, catch_up, ending
from qc.jobs.past import known_of
from qc.jobs.roles import Verb, may
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import exported_text, held_row_text, held_text, mended_text
from qc.stats import Tabled
from qc.store import HeldReason, HeldRecord, reasons_of
from qc.words import listed


class Decision(StrEnum):
    """What a person may decide about a held row."""

    PROPOSAL = "proposal"  # take the proposed mend
    BY_HAND = "by-hand"  # change columns
    AS_TYPED = "as-typed"  # it was right after all: confirm every doubt
    DROP = "drop"  # set it aside for good


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
class Mended(Tabled):
    """What became of a held row."""

    row: int
    state: Literal["accepted", "dropped", "held"]
    sentence: str
    reasons: tuple[HeldReason, ...] = ()

    def to_text(self) -> str:
        """Say it in one sentence, and why where it is still held."""
        return mended_text(self.sentence, [reason.sentence for reason in self.reasons])


@dataclass(frozen=True, slots=True)
class MendedRows:
    """What became of several held rows."""

    rows: tuple[Mended, ...]

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"mended": [row.to_dict() for row in self.rows]}

    def to_text(self) -> str:
        """Say it row by row."""
        return "\n".join(row.to_text() for row in self.rows)


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


def mend_held(
    workshop: Workshop,
    row: int,
    decision: Decision = Decision.PROPOSAL,
    changes: Mapping[str, object] | None = None,
    *,
    who: str = "",
) -> Mended:
    """Decide about a held row.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    row : int
        Number of the held row.
    decision : Decision
        Take the proposal, change it by hand, accept it as typed, or drop it.
    changes : mapping, optional
        Column to new value, for a mend by hand.
    who : str
        Code of the person who decides.

    Returns
    -------
    Mended
        `held` with the reasons where the mended row does not pass the check either; nothing is lost then.

    Raises
    ------
    JobError
        The row is not held, or has no proposal.
    """
    return mend_rows(workshop, [row], decision, changes, who=who).rows[0]


def mend_rows(
    workshop: Workshop,
    rows: Iterable[int],
    decision: Decision,
    changes: Mapping[str, object] | None = None,
    *,
    who: str = "",
) -> MendedRows:
    """Decide the same about several held rows, in one transaction; see `mend_held`.

    A row that passes the check no better than before is held on, with its reasons; the others are settled
    all together. Where one of them is not there or was settled by somebody else, none is.
    """
    mended = settle_rows(workshop, rows, decision, changes, who=who)
    # the rows change a series as any other does; without it the board would wait for the next sheet
    with ending(STORED_NOT_JUDGED if any(one.state != "held" for one in mended.rows) else NOTHING_STORED):
        catch_up(workshop)
    return mended


def settle_rows(
    workshop: Workshop,
    rows: Iterable[int],
    decision: Decision,
    changes: Mapping[str, object] | None = None,
    *,
    who: str = "",
) -> MendedRows:
    """Decide about held rows as `mend_rows` does, and leave judging to whoever comes next.

    For one who works down a list: each decision is durable at once, and the series are judged at the end.
    """
    numbers = list(dict.fromkeys(rows))
    with ending(NOTHING_STORED):
        if decision is not Decision.DROP:
            warm_up()  # loading the check takes seconds, in which nobody else could write
        with workshop.store.writing():
            may(who, Verb.MEND, workshop.plan)
            waiting = _waiting(workshop, numbers)
            return MendedRows(tuple(_settle(workshop, held, decision, changes, who) for held in waiting))


def _waiting(workshop: Workshop, rows: Sequence[int]) -> list[HeldRecord]:
    """Return held rows in the order asked for; refuses all where one is not there or no longer waits."""
    known = {row.id: row for row in workshop.store.held(open_only=False, ids=rows)}
    unknown = [row for row in rows if row not in known]
    if unknown:
        raise JobError(f"No row {unknown[0]} is held{_none_changed(rows)}. See the list: qc held list")
    settled = [known[row] for row in rows if known[row].state != "open"]
    if settled:
        told = listed([f"{row.id} ({row.state})" for row in settled])
        raise JobError(
            f"No row {settled[0].id} is held any more. Settled already: {told}{_none_changed(rows)}. "
            "See the list: qc held list"
        )
    return [known[row] for row in rows]


def _none_changed(rows: Sequence[int]) -> str:
    return ", so none of these rows was changed" if len(rows) > 1 else ""


def _settle(
    workshop: Workshop,
    held: HeldRecord,
    decision: Decision,
    changes: Mapping[str, object] | None,
    who: str,
) -> Mended:
    """Decide about one row that waits, inside the transaction of all."""
    row = held.id
    if decision is Decision.DROP:
        workshop.store.settle_held([row], "dropped", who=who, when=workshop.now, note="set aside")
        return Mended(row, "dropped", f"Row {row} is set aside; it stays on record as typed.")
    kept = {"table": held.table, "typed": held.typed}
    mended = mend_row(kept, _changes(held, decision, changes), workshop.plan)
    checked = _check_again(workshop, mended, held, decision)
    if not checked.held.is_empty():
        reasons = reasons_of(checked.held["reasons"][0])
        return Mended(row, "held", _still_held(row, decision, reasons), reasons)
    workshop.store.settle_held(
        [row],
        "accepted",
        who=who,
        when=workshop.now,
        readings=checked.readings,
        events=checked.events,
        replaces=mended.replaces,
        note=f"{decision.value}: {json.dumps(mended.to_dict()['changed'], ensure_ascii=False)}",
    )
    return Mended(row, "accepted", f"Row {row} is accepted{_said(mended)}.")


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


def _changes(
    held: HeldRecord, decision: Decision, changes: Mapping[str, object] | None
) -> Mapping[str, object]:
    if decision is Decision.BY_HAND:
        return changes or {}
    if decision is Decision.AS_TYPED:
        return {}
    if not held.proposal:
        raise JobError(f"Row {held.id} has no proposed mend. Change it by hand: qc held mend {held.id} --set")
    return held.proposal


def _check_again(workshop: Workshop, mended: MendedRow, held: HeldRecord, decision: Decision) -> Checked:
    row = mended.row
    figure = (row.get("stage") or "", row.get("characteristic") or "", row.get("model"), row.get("serial"))
    known = known_of(workshop, [figure] if mended.table == "reading" else [], {row["serial"]} - {None, ""})
    reasons = {reason.id for reason in held.reasons}
    if decision is Decision.AS_TYPED:
        # who says that a row is so as it stands is not asked the next doubt about it, only what is on record
        reasons |= DOUBT_NAMES - {Reason.DIFFERS_FROM_RECORDED}
    # what a person vouches for must not be held again for the same doubt
    confirmed = reasons if decision in {Decision.AS_TYPED, Decision.PROPOSAL} else ()
    return recheck([mended], workshop.plan, known, confirmed=confirmed)[0]


def _still_held(row: int, decision: Decision, reasons: Iterable[HeldReason]) -> str:
    faults = [reason for reason in reasons if reason.id not in DOUBT_NAMES]
    if decision is Decision.AS_TYPED and faults:
        return f"Row {row} is still held: a doubt can be confirmed, a fault cannot. Type another value."
    return f"Row {row} is still held."


def _said(mended: MendedRow) -> str:
    if not mended.changed:
        return " as typed"
    changes = ", ".join(
        f"{name} {old} -> {new}" for name, (old, new) in mended.changed.items() if name != "hint"
    )
    return f" with {changes}" if changes else ""


def _harmless(cell: object) -> object:
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in {"=", "+", "-", "@", "\t"} else cell

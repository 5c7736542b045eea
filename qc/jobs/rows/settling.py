"""What a person decides about held rows.

A mended row goes through the same check as a new one; only then does it come in. What was typed stays on
record beside what it became, with who decided and when.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from qc.ingest import Checked, MendedRow, Reason, mend_row, recheck, warm_up
from qc.jobs.errors import JobError
from qc.jobs.judging import NOTHING_STORED, STORED_NOT_JUDGED, catch_up, ending
from qc.jobs.past import known_of
from qc.jobs.roles import Verb, may
from qc.jobs.rows.waiting import DOUBT_NAMES
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import mended_text
from qc.stats import Tabled
from qc.store import HeldReason, HeldRecord, reasons_of
from qc.words import listed


class Decision(StrEnum):
    """What a person may decide about a held row."""

    PROPOSAL = "proposal"  # take the proposed mend
    BY_HAND = "by-hand"  # change columns
    AS_TYPED = "as-typed"  # it was right after all: confirm every doubt
    DROP = "drop"  # set it aside for good


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

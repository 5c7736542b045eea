"""What a person decides about held rows.

A mended row goes through the same check as a new one; only then does it come in. What was typed stays on
record beside what it became, with who decided and when.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from qc.ingest import IDENTITY, Checked, MendedRow, Reason, mend_row, recheck
from qc.jobs.errors import JobError
from qc.jobs.judging import NOTHING_STORED, STORED_NOT_JUDGED, catch_up, ending
from qc.jobs.past import known_of
from qc.jobs.roles import Verb, may
from qc.jobs.rows.ahead import CheckedAhead, standing_at
from qc.jobs.rows.corrections import offered_now
from qc.jobs.rows.naming import piece_words
from qc.jobs.rows.reasons import DOUBT_NAMES, is_doubt
from qc.jobs.rows.waiting import mend_words, recorded_of
from qc.jobs.workshop import Workshop
from qc.plain import FrameRow, JsonObject
from qc.plan import Plan
from qc.report.terminal import mended_text, settled_line
from qc.stats import Tabled
from qc.store import HeldReason, HeldRecord, Settlement, reasons_of
from qc.words import listed

LOOKED_AHEAD = 10
"""So many rows that follow are looked through for the next with a mend; chosen: a page of the list."""


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

    def to_line(self) -> str:
        """Say it of all together: how many of each state, and of those still held why, by kind."""
        if len(self.rows) == 1:
            return " ".join([self.rows[0].sentence, *(one.sentence for one in self.rows[0].reasons)])
        states = Counter(row.state for row in self.rows)
        why = Counter(one.id.replace("-", " ") for row in self.rows for one in row.reasons)
        return settled_line(states, why.most_common())


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
    progress: Callable[[int, int], None] | None = None,
    failing: str = NOTHING_STORED,
    ahead: CheckedAhead | None = None,
) -> MendedRows:
    """Decide about held rows as `mend_rows` does, and leave judging to whoever comes next.

    For one who works down a list: each decision is durable at once, and the series are judged at the end.
    `progress` is told after each row how many are done, of how many; all are kept together at the end.
    `failing` says what is stored where that fails, for who has stored something before; `ahead` knows what
    `check_next` found.
    """
    numbers = list(dict.fromkeys(rows))
    with ending(failing):
        with workshop.store.writing():
            may(who, Verb.MEND, workshop.plan, workshop.store.people())
            waiting = _waiting(workshop, numbers)
            done: dict[int, Mended] = {}

            def settled(held: HeldRecord, mended: Mended) -> None:
                done[held.id] = mended
                if progress is not None:
                    progress(len(done), len(waiting))

            if decision is Decision.DROP:
                dropped = [_dropped(workshop, held) for held in waiting]
                _store(workshop, dropped, who)
                for held, one in zip(waiting, dropped, strict=True):
                    settled(held, one.mended)
                return MendedRows(tuple(done[held.id] for held in waiting))
            mends = [(held, _mended(held, decision, changes, workshop.plan)) for held in waiting]
            checked = _checked_together(workshop, mends, decision)
            recorded = recorded_of(workshop, waiting)
            at_once = [
                (held, _judged(workshop, held, mended, checked[held.id], decision, recorded))
                for held, mended in mends
                if held.id in checked
            ]
            _store(workshop, [one for _, one in at_once], who)
            for held, one in at_once:
                settled(held, one.mended)
            # the others are asked alone, beside what came in
            for held, mended in mends:
                if held.id not in checked:
                    known = ahead.of(workshop, held.id, decision) if ahead and not changes else None
                    again = known or _check_again(workshop, [mended], _confirmed(held, decision))[0]
                    one = _judged(workshop, held, mended, again, decision, recorded)
                    _store(workshop, [one], who)
                    settled(held, one.mended)
            return MendedRows(tuple(done[held.id] for held in waiting))


def check_next(
    workshop: Workshop, row: int, ahead: CheckedAhead, *, waits: Callable[[], bool] = lambda: False
) -> tuple[int, ...]:
    """Check what is decided next on the board's list: the next row with a mend, and the row that follows.

    Who works down a list by the buttons on it goes from mend to mend; a row without one has to be unfolded
    first, which takes longer than its check.

    Parameters
    ----------
    workshop : Workshop
        An open workshop; nothing is written.
    row : int
        The row decided about last. The list has the newest first, and begins again after its end.
    ahead : CheckedAhead
        Keeps what is found, for `settle_rows`.
    waits : callable
        Asked before each check; nothing more is checked once somebody waits.

    Returns
    -------
    tuple of int
        The rows that were checked; empty where none waits, or none of it can be known beforehand.
    """
    at = standing_at(workshop)
    waiting = sorted(map(int, workshop.store.held_open()), reverse=True)
    following = [one for one in waiting if one < row] + [one for one in waiting if one >= row]
    records = {held.id: held for held in workshop.store.held(ids=following[:LOOKED_AHEAD])}
    coming = offered_now(workshop, [records[one] for one in following if one in records])
    checked: list[int] = []
    for held in [one for one in coming if one.proposal][:1] + coming[:1]:
        decision = _first_way(held)
        if decision is not None and held.id not in checked and not waits():
            mended = _mended(held, decision, None, workshop.plan)
            found = _check_again(workshop, [mended], _confirmed(held, decision))[0]
            ahead.keep(held.id, decision, found, at)
            checked.append(held.id)
    return tuple(checked)


def _first_way(held: HeldRecord) -> Decision | None:
    """Return what the board offers first for a row, None where something has to be typed for it."""
    if held.proposal:
        return Decision.PROPOSAL
    return Decision.AS_TYPED if all(is_doubt(reason) for reason in held.reasons) else None


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
    return offered_now(workshop, [known[row] for row in rows])


def _none_changed(rows: Sequence[int]) -> str:
    return ", so none of these rows was changed" if len(rows) > 1 else ""


@dataclass(frozen=True, slots=True)
class _Judged:
    """What is said of a row that was decided about, and what is kept of it; nothing where it waits on."""

    mended: Mended
    settlement: Settlement | None


def _store(workshop: Workshop, judged: Sequence[_Judged], who: str) -> None:
    own = [one.settlement for one in judged if one.settlement is not None]
    workshop.store.settle_each(own, who=who, when=workshop.now)


def _dropped(workshop: Workshop, held: HeldRecord) -> _Judged:
    said = f"{_named(workshop, held)} is set aside; it stays on record as typed."
    return _Judged(Mended(held.id, "dropped", said), Settlement((held.id,), "dropped", note="set aside"))


def _named(workshop: Workshop, held: HeldRecord) -> str:
    return f"Row {held.id} ({piece_words(held.as_typed(), workshop.plan)})"


def _judged(
    workshop: Workshop,
    held: HeldRecord,
    mended: MendedRow,
    checked: Checked,
    decision: Decision,
    recorded: Mapping[int, FrameRow],
) -> _Judged:
    """Say what becomes of a row by what its check found."""
    named = _named(workshop, held)
    if not checked.held.is_empty():
        reasons = reasons_of(checked.held["reasons"][0])
        return _Judged(Mended(held.id, "held", _still_held(named, decision, reasons), reasons), None)
    note = f"{decision.value}: {json.dumps(mended.to_dict()['changed'], ensure_ascii=False)}"
    kept = Settlement((held.id,), "accepted", checked.readings, checked.events, mended.replaces, note)
    return _Judged(Mended(held.id, "accepted", f"{named} is accepted{_said(mended, held, recorded)}."), kept)


def _mended(
    held: HeldRecord, decision: Decision, changes: Mapping[str, object] | None, plan: Plan
) -> MendedRow:
    return mend_row({"table": held.table, "typed": held.typed}, _changes(held, decision, changes, plan), plan)


def _checked_together(
    workshop: Workshop, mends: Sequence[tuple[HeldRecord, MendedRow]], decision: Decision
) -> dict[int, Checked]:
    """Check rows beside one another, as they would be on one sheet; returns those that are settled by it.

    These pass, or have a fault, which is one whatever stands beside them. To gather what is known of the past
    for each row anew took a third of the time of a whole card. Only readings of which no two are the same
    measurement: of such, the second has to see the first on record.
    """
    alike: dict[frozenset[str], list[tuple[int, MendedRow]]] = {}
    for held, mended in mends:
        if mended.table == "reading":
            alike.setdefault(_confirmed(held, decision), []).append((held.id, mended))
    found: dict[int, Checked] = {}
    for confirmed, rows in alike.items():
        marks = {tuple(mended.row.get(name) for name in IDENTITY) for _, mended in rows}
        if 1 < len(rows) == len(marks):
            checked = _check_again(workshop, [mended for _, mended in rows], confirmed)
            told = zip((row for row, _ in rows), checked, strict=True)
            found |= {row: one for row, one in told if one.held.is_empty() or _has_fault(one)}
    return found


def _has_fault(checked: Checked) -> bool:
    return any(not is_doubt(reason) for reason in reasons_of(checked.held["reasons"][0]))


def _changes(
    held: HeldRecord, decision: Decision, changes: Mapping[str, object] | None, plan: Plan
) -> Mapping[str, object]:
    """Return what a decision changes in a held row; a mend that was never proposed is refused."""
    if decision is Decision.BY_HAND:
        return changes or {}
    if decision is Decision.AS_TYPED:
        return {}
    if not held.proposal:
        typed = held.as_typed()
        column = next((name for name in ("value", "serial", "day") if name in typed), "value")
        raise JobError(
            f"Row {held.id} ({piece_words(typed, plan)}) has no proposed mend. Change it by hand: "
            f"qc held mend {held.id} --set {column}=VALUE --who CODE"
        )
    return held.proposal


def _confirmed(held: HeldRecord, decision: Decision) -> frozenset[str]:
    """Return the doubts that a decision answers: what a person vouches for is not held for the same again."""
    reasons = {reason.id for reason in held.reasons}
    if decision is Decision.AS_TYPED:
        # who says that a row is so as it stands is not asked the next doubt about it, only what is on record
        reasons |= DOUBT_NAMES - {Reason.DIFFERS_FROM_RECORDED}
    return frozenset(reasons if decision in {Decision.AS_TYPED, Decision.PROPOSAL} else ())


def _check_again(workshop: Workshop, mends: Sequence[MendedRow], confirmed: Collection[str]) -> list[Checked]:
    rows = [mended.row for mended in mends]
    figures = {
        (row.get("stage") or "", row.get("characteristic") or "", row.get("model"), row.get("serial"))
        for row, mended in zip(rows, mends, strict=True)
        if mended.table == "reading"
    }
    parts = [str(row["subject"]) for row in rows if row.get("kind") == "part" and row.get("subject")]
    serials = {row["serial"] for row in rows} - {None, ""}
    days = [row["day"] for row in rows if row.get("day")]
    known = known_of(workshop, figures, serials, since=min(days, default=None), parts=parts)
    return recheck(mends, workshop.plan, known, confirmed=confirmed)


def _still_held(named: str, decision: Decision, reasons: Iterable[HeldReason]) -> str:
    faults = [reason for reason in reasons if not is_doubt(reason)]
    if decision is Decision.AS_TYPED and faults:
        return f"{named} is still held: a doubt can be confirmed, a fault cannot. Type another value."
    return f"{named} is still held."


def _said(mended: MendedRow, held: HeldRecord, recorded: Mapping[int, FrameRow]) -> str:
    """Say what the row became: ``: 500 becomes 0.5``."""
    changes = {name: new for name, (_, new) in mended.changed.items()}
    if mended.replaces is not None:
        changes["replaces"] = mended.replaces
    said = mend_words(changes, held.as_typed(), held.text, recorded)
    return f": {said}" if said else " as typed"

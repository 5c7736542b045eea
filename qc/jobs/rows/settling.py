"""What a person decides about held rows.

A mended row goes through the same check as a new one; only then does it come in. What was typed stays on
record beside what it became, with who decided and when.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from qc.ingest import IDENTITY, Checked, MendedRow, Reason, mend_row, recheck
from qc.jobs.errors import JobError
from qc.jobs.judging import NOTHING_STORED, STORED_NOT_JUDGED, catch_up, ending
from qc.jobs.past import known_of
from qc.jobs.roles import Verb, may
from qc.jobs.rows.ahead import CheckedAhead, standing_at
from qc.jobs.rows.corrections import offered_now
from qc.jobs.rows.decided import Decision, Mended, MendedRows
from qc.jobs.rows.naming import piece_words
from qc.jobs.rows.reasons import DOUBT_NAMES, is_doubt
from qc.jobs.rows.typed_twice import Asked, asked_about, confirmed_by_typing, still_held
from qc.jobs.rows.waiting import mend_words, recorded_of
from qc.jobs.workshop import Workshop
from qc.plain import FrameRow
from qc.plan import Plan
from qc.store import HeldRecord, Settlement, reasons_of
from qc.words import listed

LOOKED_AHEAD = 10
"""So many rows that follow are looked through for the next with a mend; chosen: a page of the list."""


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
            answered = {held.id: _answered(workshop, held, decision, mended) for held, mended in mends}
            checked = _checked_together(workshop, mends, answered)
            recorded = recorded_of(workshop, waiting)
            at_once = [
                (held, _judged(workshop, held, mended, checked[held.id], decision, recorded, answered))
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
                    again = known or _check_again(workshop, [mended], answered[held.id])[0]
                    one = _judged(workshop, held, mended, again, decision, recorded, answered)
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
            found = _check_again(workshop, [mended], _answered(workshop, held, decision, mended))[0]
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
    asked: Asked | None = None  # what its person is asked to type once more


def _store(workshop: Workshop, judged: Sequence[_Judged], who: str) -> None:
    own = [one.settlement for one in judged if one.settlement is not None]
    workshop.store.settle_each(own, who=who, when=workshop.now)
    asked = [one.asked for one in judged if one.asked is not None]
    workshop.store.keep_asked(asked, who=who, when=workshop.now)


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
    answered: Mapping[int, frozenset[str]],
) -> _Judged:
    """Say what becomes of a row by what its check found."""
    named = _named(workshop, held)
    if not checked.held.is_empty():
        reasons = reasons_of(checked.held["reasons"][0])
        asked = asked_about(held, mended, reasons) if decision is Decision.BY_HAND else None
        told = still_held(named, reasons, confirming=decision is Decision.AS_TYPED, asked=asked)
        return _Judged(Mended(held.id, "held", told, reasons, asked is not None), None, asked)
    note = f"{decision.value}: {json.dumps(mended.to_dict()['changed'], ensure_ascii=False)}"
    said = f"{named} is accepted{_said(mended, held, recorded)}"
    if decision is Decision.BY_HAND and answered[held.id]:
        note, said = f"{note}, typed twice to confirm it", f"{said}, typed twice to confirm it"
    kept = Settlement((held.id,), "accepted", checked.readings, checked.events, mended.replaces, note)
    return _Judged(Mended(held.id, "accepted", f"{said}."), kept)


def _mended(
    held: HeldRecord, decision: Decision, changes: Mapping[str, object] | None, plan: Plan
) -> MendedRow:
    return mend_row({"table": held.table, "typed": held.typed}, _changes(held, decision, changes, plan), plan)


def _checked_together(
    workshop: Workshop,
    mends: Sequence[tuple[HeldRecord, MendedRow]],
    answered: Mapping[int, frozenset[str]],
) -> dict[int, Checked]:
    """Check rows beside one another, as they would be on one sheet; returns those that are settled by it.

    These pass, or have a fault, which is one whatever stands beside them. To gather what is known of the past
    for each row anew took a third of the time of a whole card. Only readings of which no two are the same
    measurement: of such, the second has to see the first on record.
    """
    alike: dict[frozenset[str], list[tuple[int, MendedRow]]] = {}
    for held, mended in mends:
        if mended.table == "reading":
            alike.setdefault(answered[held.id], []).append((held.id, mended))
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


def _answered(workshop: Workshop, held: HeldRecord, decision: Decision, mended: MendedRow) -> frozenset[str]:
    """Return the doubts that a decision answers: what a person vouches for is not held for the same again."""
    if decision is Decision.BY_HAND:
        return confirmed_by_typing(workshop, held, mended)
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


def _said(mended: MendedRow, held: HeldRecord, recorded: Mapping[int, FrameRow]) -> str:
    """Say what the row became: ``: 500 becomes 0.5``."""
    changes = {name: new for name, (_, new) in mended.changed.items()}
    if mended.replaces is not None:
        changes["replaces"] = mended.replaces
    said = mend_words(changes, held.as_typed(), held.text, recorded)
    return f": {said}" if said else " as typed"

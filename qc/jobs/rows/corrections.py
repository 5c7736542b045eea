"""Mends that are offered for held rows, as the store stands now.

A row that was doubted since another piece lacked its card is not offered to that piece once it has had its
own. A correction handed in with its original was read before that had a number, and an original that was
corrected or taken back since stands no longer: so the offer is made when it is asked for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from qc.ingest import IDENTITY, Reason, identity
from qc.jobs.workshop import Workshop
from qc.plain import FrameRow
from qc.store import HeldRecord
from qc.words import dated_words

DIFFERS = str(Reason.DIFFERS_FROM_RECORDED)


def offered_now(workshop: Workshop, rows: Sequence[HeldRecord]) -> list[HeldRecord]:
    """Return held rows with what is offered for them looked at anew.

    The reading to be replaced is the one that stands now; a piece that has had its own card since the row was
    held is offered no more, and the row says so.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    rows : sequence of HeldRecord
        Open ones; those of which nothing changed since are given back as they are.
    """
    return _without_taken(workshop, _with_standing(workshop, rows))


def _with_standing(workshop: Workshop, rows: Sequence[HeldRecord]) -> list[HeldRecord]:
    differing = {row.id: row.as_typed() for row in rows if _differs(row)}
    if not differing:
        return list(rows)
    serials = sorted({str(typed.get("serial") or "") for typed in differing.values()})
    standing = workshop.store.readings(serials=serials)
    numbers = dict(zip(identity(standing), standing["id"], strict=True))
    found = []
    for row in rows:
        if row.id in differing:
            others = {name: value for name, value in row.proposal.items() if name != "replaces"}
            number = numbers.get(_identity(differing[row.id]))
            now = {} if number is None else {"replaces": number}
            # the reason offered the reading that stood when the sheet was read
            reasons = [replace(one, proposal=now) if one.id == DIFFERS else one for one in row.reasons]
            row = replace(row, proposal={**others, **now}, reasons=tuple(reasons))
        found.append(row)
    return found


def _differs(row: HeldRecord) -> bool:
    return any(reason.id == DIFFERS for reason in row.reasons)


def _identity(typed: Mapping[str, Any]) -> str:
    """Return what `identity` gives for a stored reading, of a row as typed."""
    return "|".join("" if typed.get(name) is None else str(typed[name]) for name in IDENTITY)


def _without_taken(workshop: Workshop, rows: Sequence[HeldRecord]) -> list[HeldRecord]:
    """Take back the offer of a piece that has had its own card since a row was held."""
    serials = {serial for row in rows for serial in _offered(row)}
    if not serials:
        return list(rows)
    cards: dict[tuple[str, str, str], list[FrameRow]] = {}
    wanted = ["serial", "stage", "characteristic", "day", "entered_at", "sheet"]
    for card in workshop.store.readings(serials=sorted(serials)).select(wanted).unique().to_dicts():
        cards.setdefault((card["serial"], card["stage"], card["characteristic"]), []).append(card)
    # a decision that was undone has its row wait anew; what was proposed is still of the day of its sheet
    came = {one.sheet: one.entered for one in workshop.store.sheets()}
    found = []
    for row in rows:
        typed, gone = row.as_typed(), {}
        figure = (str(typed.get("stage") or ""), str(typed.get("characteristic") or ""))
        for serial in _offered(row):
            # what came on the row's own sheet stood beside it when it was held
            since = [
                card["day"]
                for card in cards.get((serial, *figure), ())
                if card["entered_at"] > came.get(row.sheet, row.entered) and card["sheet"] != row.sheet
            ]
            if since:
                gone[serial] = max(since)
        found.append(_told_taken(row, gone) if gone else row)
    return found


def _offered(row: HeldRecord) -> set[str]:
    """Return the pieces that a held reading is offered to instead of the one typed."""
    if row.table != "reading":
        return set()
    offers = [row.proposal, *(reason.proposal or {} for reason in row.reasons)]
    return {str(one["serial"]) for one in offers if one.get("serial")}


def _told_taken(row: HeldRecord, gone: Mapping[str, date]) -> HeldRecord:
    """Return a held row without the offers of some pieces; each reason that made one says why."""
    typed = row.as_typed().get("serial") or ""
    reasons = []
    for reason in row.reasons:
        serial = str((reason.proposal or {}).get("serial", ""))
        if serial in gone:
            said = f"{serial} has had its own card since, of {dated_words(gone[serial])}."
            kept = {name: value for name, value in (reason.proposal or {}).items() if name != "serial"}
            reason = replace(
                reason,
                sentence=f"{reason.sentence} {said}",
                mend=f"If {typed} was measured, confirm it; else type the piece that was." if typed else "",
                proposal=kept or None,
            )
        reasons.append(reason)
    proposal = dict(row.proposal)
    if str(proposal.get("serial", "")) in gone:
        del proposal["serial"]
    return replace(row, proposal=proposal, reasons=tuple(reasons))

"""Held rows that correct a reading: which one they would take the place of, as the store stands now.

A correction handed in with its original was read before that had a number, and an original that was corrected
or taken back since stands no longer: so the offer is made when it is asked for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from qc.ingest import IDENTITY, Reason, identity
from qc.jobs.workshop import Workshop
from qc.store import HeldRecord

DIFFERS = str(Reason.DIFFERS_FROM_RECORDED)


def offered_now(workshop: Workshop, rows: Sequence[HeldRecord]) -> list[HeldRecord]:
    """Return held rows with the offer to replace the reading that now stands where they were measured.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    rows : sequence of HeldRecord
        Open ones; those that differ from nothing on record are given back as they are.
    """
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

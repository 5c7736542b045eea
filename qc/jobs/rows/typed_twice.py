"""A value typed by hand that is odd itself: who types it a second time confirms it.

What was asked about it the first time is kept, so that the same is not asked again: not of another person
either, nor after a while.
"""

from __future__ import annotations

from collections.abc import Sequence

from qc.ingest import MendedRow, Reason
from qc.jobs.rows.decided import TYPE_AGAIN
from qc.jobs.rows.reasons import DOUBT_NAMES, is_doubt
from qc.jobs.workshop import Workshop
from qc.store import HeldReason, HeldRecord

Asked = tuple[int, str, tuple[str, ...]]
"""The held row, what was typed for it, and the doubts that were asked about that."""


def asked_about(held: HeldRecord, mended: MendedRow, reasons: Sequence[HeldReason]) -> Asked | None:
    """Return what is to be kept of a mend that is asked about, None where it has a fault too."""
    if not mended.given or not all(reason.id in DOUBT_NAMES for reason in reasons):
        return None
    return held.id, mended.typed(), tuple(reason.id for reason in reasons)


def confirmed_by_typing(workshop: Workshop, held: HeldRecord, mended: MendedRow) -> frozenset[str]:
    """Return the doubts that typing a value answers: none the first time, then all that it may raise.

    Only that another figure is on record is asked anew where it was not asked before: it may have come since.
    """
    asked = workshop.store.asked(held.id, mended.typed()) if mended.given else frozenset()
    return asked | (DOUBT_NAMES - {Reason.DIFFERS_FROM_RECORDED}) if asked else asked


def still_held(
    named: str, reasons: Sequence[HeldReason], *, confirming: bool = False, asked: Asked | None = None
) -> str:
    """Say that a row waits on, and what its person can do: what cannot be confirmed, or how it can."""
    if confirming and not all(is_doubt(reason) for reason in reasons):
        return f"{named} is still held: a doubt can be confirmed, a fault cannot. Type another value."
    return f"{named} is still held. {TYPE_AGAIN}" if asked else f"{named} is still held."

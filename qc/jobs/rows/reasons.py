"""One reason for one fault: where a doubt explains what a rule only found wrong, the rule's sentence goes.

A figure with a slipped point lies outside the sensible range, and a date without a year cannot be read: told
twice, one slip looks like two. Which faults a doubt stands for is kept with it, since a fault cannot be
confirmed as typed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from qc.ingest import DOUBTS, Reason
from qc.store import HeldReason, reasons_of

DOUBT_NAMES = frozenset(str(reason) for reason in DOUBTS)
"""Reasons that a person may answer with "it is really so"."""

EXPLAINED: dict[str, frozenset[Reason]] = {
    "value": frozenset(
        {
            Reason.NOT_A_NUMBER,
            Reason.OUTSIDE_SENSIBLE,
            Reason.OUT_OF_RANGE,
            Reason.NEGATIVE_COUNT,
            Reason.NOT_WHOLE,
            Reason.EXTRA_CELLS,
        }
    ),
    "day": frozenset({Reason.NO_DATE, Reason.FUTURE_DATE, Reason.OLD_DATE}),
    "serial": frozenset({Reason.MISSING_SERIAL}),
    "model": frozenset({Reason.UNKNOWN_MODEL}),
    "gauge": frozenset({Reason.UNKNOWN_GAUGE}),
}
"""Faults of a column that a doubt explains which offers a mend of that column."""


def is_doubt(reason: HeldReason) -> bool:
    """Say whether a person may answer a reason with "it is really so": not where it explains a fault."""
    return reason.id in DOUBT_NAMES and not reason.covers


def one_reason_each(reasons: Sequence[HeldReason]) -> tuple[HeldReason, ...]:
    """Return the reasons of a row without faults that a doubt of the row explains; that one names them.

    Examples
    --------
    >>> outside = HeldReason("outside-sensible", "4.8 mm cannot be right.")
    >>> slip = HeldReason("decimal-slip", "4.8 mm is ten times the usual.", "Accept.", {"value": 0.48})
    >>> [(one.id, one.covers) for one in one_reason_each([outside, slip])]
    [('decimal-slip', ('outside-sensible',))]
    """
    left = list(reasons)
    for doubt in reasons:
        if doubt.id not in DOUBT_NAMES:
            continue
        explained = {str(one) for column in doubt.proposal or () for one in EXPLAINED.get(column, ())}
        covered = tuple(one.id for one in left if one.id in explained)
        if covered:
            left = [one for one in left if one.id not in covered]
            left[left.index(doubt)] = replace(doubt, covers=covered)
    return tuple(left)


def told_reasons(text: str) -> tuple[str, ...]:
    """Return the reasons of a stored row that are told of it, one for each fault."""
    return tuple(reason.id for reason in one_reason_each(reasons_of(text)))

"""Doubts: what great_expectations cannot say, since it takes knowing the figure, its neighbours or the past.

A new doubt is one module here with a function ``find(facts, doubted)``, one line below and one reason in
`qc.ingest.reasons`. A doubt holds a row and offers a mend; none of them changes anything.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from qc.ingest.doubts import (
    body_for_stocking,
    comma_decimal,
    copied_run,
    day_month_date,
    decimal_slip,
    differs_from_recorded,
    doubled_row,
    doubled_serial,
    epoch_1904,
    factor_1000,
    gauge_not_zeroed,
    inch_for_mm,
    model_differs,
    per_side,
    radius_for_diameter,
    spreadsheet_date,
    unknown_serial,
    volume_balance,
)
from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.reasons import Finding, Reason

Doubt = Callable[[Facts, Doubts], Doubted]

FINDERS: tuple[Doubt, ...] = (
    comma_decimal.find,
    day_month_date.find,
    spreadsheet_date.find,
    epoch_1904.find,
    decimal_slip.find,
    inch_for_mm.find,
    radius_for_diameter.find,
    per_side.find,
    factor_1000.find,
    unknown_serial.find,
    doubled_serial.find,
    model_differs.find,  # leaves out rows whose serial is in doubt: that explains the model
    body_for_stocking.find,
    doubled_row.find,
    differs_from_recorded.find,
    gauge_not_zeroed.find,
    # The next two weigh several readings against each other, so they leave out rows already in doubt.
    volume_balance.find,
    copied_run.find,
)
"""Asked in this order; where two offer to change the same column, the earlier one is proposed."""

__all__ = ["FINDERS", "Doubt", "Doubted", "Facts", "find_doubts"]


def find_doubts(facts: Facts, faults: Sequence[Finding]) -> Doubted:
    """Ask every doubt about an upload.

    Parameters
    ----------
    facts : Facts
        The upload's rows beside what is usual.
    faults : sequence of Finding
        What the rules found in readings already.

    Returns
    -------
    Doubted
        All findings, in the order of `FINDERS`.
    """
    readings: list[Finding] = []
    events: list[Finding] = []
    doubted: dict[int, frozenset[Reason]] = {}
    _add(doubted, faults)
    for find in FINDERS:
        found = find(facts, doubted)
        readings += found.readings
        events += found.events
        _add(doubted, found.readings)
    return Doubted(readings, events)


def _add(doubted: dict[int, frozenset[Reason]], findings: Sequence[Finding]) -> None:
    for finding in findings:
        doubted[finding.index] = doubted.get(finding.index, frozenset()) | {finding.reason}

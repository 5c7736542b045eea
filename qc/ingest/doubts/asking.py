"""Asks every doubt about an upload in turn, each one seeing what those before it found."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.doubts.figures import (
    find_columns_swapped,
    find_comma_decimal,
    find_decimal_slip,
    find_digits_swapped,
    find_factor_1000,
    find_far_from_usual,
    find_gauge_not_zeroed,
    find_inch_for_mm,
    find_many_counted,
    find_other_model,
    find_per_side,
    find_radius_for_diameter,
    find_sign_lost,
)
from qc.ingest.doubts.pieces import (
    find_after_shipping,
    find_body_for_stocking,
    find_doubled_serial,
    find_model_differs,
    find_never_begun,
    find_second_card,
    find_serial_series,
    find_unknown_serial,
    find_used_twice,
    find_volume_balance,
)
from qc.ingest.doubts.rows import (
    find_copied_run,
    find_differs_from_recorded,
    find_doubled_row,
    find_other_gauge,
    find_same_card,
)
from qc.ingest.doubts.sheets import (
    find_day_month_date,
    find_epoch_1904,
    find_spreadsheet_date,
    find_wrong_day,
)
from qc.ingest.reasons import Finding, Reason

Doubt = Callable[[Facts, Doubts], Doubted]

FINDERS: tuple[Doubt, ...] = (
    find_comma_decimal,
    find_day_month_date,
    find_spreadsheet_date,
    find_epoch_1904,
    find_columns_swapped,  # before the scale: each of two exchanged figures may look like a slip of the point
    find_decimal_slip,
    find_inch_for_mm,
    find_radius_for_diameter,
    find_per_side,
    find_factor_1000,
    find_unknown_serial,
    find_serial_series,
    find_never_begun,
    find_doubled_serial,
    find_used_twice,
    find_wrong_day,
    find_same_card,  # before the next, which would offer another piece for figures that are on record
    find_second_card,
    find_after_shipping,
    find_model_differs,  # leaves out rows whose serial is in doubt: that explains the model
    find_body_for_stocking,
    find_doubled_row,
    find_differs_from_recorded,
    find_gauge_not_zeroed,
    # The next two weigh several readings against each other, so they leave out rows already in doubt.
    find_volume_balance,
    find_copied_run,
    # What no slip above explains: the figure alone is left.
    find_sign_lost,
    find_digits_swapped,
    find_other_model,
    find_far_from_usual,
    find_many_counted,
    find_other_gauge,
)
"""Asked in this order; where two offer to change the same column, the earlier one is proposed."""


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

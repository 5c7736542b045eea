"""What was judged before, as it is kept: all that an answer needs on most days.

Judging loads the statistics of every kind of series. So whoever only answers imports it inside a function,
when something waits or a past day is asked about.
"""

from __future__ import annotations

from dataclasses import replace

from qc.jobs.workshop import Workshop
from qc.store import VerdictRecord
from qc.watch import SeriesKey, SeriesVerdict, verdict_from

_READ: dict[str, tuple[bytes, float, SeriesVerdict]] = {}
"""The verdict last read of each series, with what it was read from: one answer asks for it several times."""


def at_latest(workshop: Workshop) -> Workshop:
    """Return the workshop on the newest day that was judged, where it stands on an earlier one.

    What is kept is the newest state: something said or brought in as of a past day belongs into it.
    """
    newest = workshop.store.judged_day()
    return replace(workshop, today=newest) if newest is not None and workshop.today < newest else workshop


def load_verdicts(workshop: Workshop) -> list[SeriesVerdict]:
    """Return the kept verdicts of the series that the plan asks for, in route order."""
    kept = {record.series: record for record in workshop.store.verdicts()}
    order = [str(SeriesKey(s.id, c.id, f)) for s, c, f in workshop.plan.charted()]
    wanted = workshop.plan.workshop.wanted_ppk
    return [_read(kept[key], wanted) for key in order if key in kept]


def _read(record: VerdictRecord, wanted_ppk: float) -> SeriesVerdict:
    """Rebuild a verdict, or return the one that the same bytes gave before; nobody can change it."""
    before = _READ.get(record.series)
    if before is None or before[:2] != (record.packed, wanted_ppk):
        before = record.packed, wanted_ppk, verdict_from(record.plain, wanted_ppk)
        _READ[record.series] = before
    return before[2]

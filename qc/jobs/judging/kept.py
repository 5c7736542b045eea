"""What was judged before, as it is kept: all that an answer needs on most days.

Judging loads the statistics of every kind of series. So whoever only answers imports it inside a function,
when something waits or a past day is asked about.
"""

from __future__ import annotations

from dataclasses import replace

from qc.jobs.workshop import Workshop
from qc.watch import SeriesKey, SeriesVerdict, verdict_from


def at_latest(workshop: Workshop) -> Workshop:
    """Return the workshop on the newest day that was judged, where it stands on an earlier one.

    What is kept is the newest state: something said or brought in as of a past day belongs into it.
    """
    newest = workshop.store.judged_day()
    return replace(workshop, today=newest) if newest is not None and workshop.today < newest else workshop


def load_verdicts(workshop: Workshop) -> list[SeriesVerdict]:
    """Return the kept verdicts of the series that the plan asks for, in route order."""
    kept = {record.series: record.plain for record in workshop.store.verdicts()}
    order = [str(SeriesKey(s.id, c.id, f)) for s, c, f in workshop.plan.charted()]
    wanted = workshop.plan.workshop.wanted_ppk
    return [verdict_from(kept[key], wanted) for key in order if key in kept]

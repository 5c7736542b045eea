"""What is new since a day: every series as it is known now against what had been told of it by then."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from qc import clock
from qc.jobs.workshop import Workshop
from qc.watch import SeriesVerdict, Since, change_since, verdict_from


@dataclass(frozen=True, slots=True)
class Changes:
    """What became of each series since the end of a day; one that nothing is said of is the same."""

    since: date
    series: dict[str, Since]

    def of(self, series: str) -> Since:
        """Return what became of a series, ``stage/characteristic/family``."""
        return self.series.get(series, "same")


def changes_since(
    workshop: Workshop, verdicts: Iterable[SeriesVerdict], since: date | None = None
) -> Changes:
    """Compare verdicts with what had been told by the end of an earlier day.

    Parameters
    ----------
    workshop : Workshop
        An open workshop, or one as it was known on a day.
    verdicts : iterable of SeriesVerdict
        As they are known now.
    since : date, optional
        The earlier day; else the one before the workshop's.
    """
    day = since or workshop.today - timedelta(days=1)
    own, wanted = workshop.plan.workshop, workshop.plan.workshop.wanted_ppk
    # what was told has no points: what is compared needs none
    told = {
        row.series: verdict_from({**row.plain, "points": []}, wanted)
        for row in workshop.store.told(until=clock.end_of(day, own.time_zone))
    }
    return Changes(day, {str(v.key): change_since(told.get(str(v.key)), v) for v in verdicts})

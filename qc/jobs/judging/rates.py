"""The false-alarm rate of every point: that of the month it was measured in, fixed when first judged.

A month's budget is shared out over all series by the points they are expected to bring in it. What a series
got for a month is kept, so that judging again gives what was said then even after the pace has changed; a
changed budget of the plan holds from the next months on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from qc.jobs.workshop import Workshop
from qc.watch import Budget, SeriesKey, month_of, month_pace, share_budget

MONTHS_BACK = 3
"""So far back the pace of a series that is not judged now is taken from."""

Days = Mapping[str, Sequence[date]]


def rates_of_points(workshop: Workshop, days: Days, *, keep: bool = True) -> dict[str, list[float]]:
    """Return the rate of each point, and keep those of months that are judged for the first time.

    Parameters
    ----------
    workshop : Workshop
        Its plan gives the false signals a month.
    days : mapping of str to sequence of date
        Measured day of each point, by series.
    keep : bool
        False where the store cannot be written: the same rates are fixed the next time.

    Returns
    -------
    dict of str to list of float
        As long as the days of each series.
    """
    kept = {key: dict(workshop.store.state(_rates(key)) or {}) for key in days}
    fresh: dict[str, set[str]] = {}
    for key, own in days.items():
        for month in {month_of(day) for day in own} - set(kept[key]):
            fresh.setdefault(month, set()).add(key)
    if fresh:
        changed = _fix(workshop, days, fresh, kept)
        if keep:
            workshop.store.set_states(changed)
    return {key: [kept[key][month_of(day)] for day in own] for key, own in days.items()}


def present_budget(workshop: Workshop) -> Budget:
    """Return the budget as it works out in the present month."""
    paces = _Paces(workshop)
    month = month_of(workshop.today)
    per_month = workshop.plan.workshop.false_signals_per_month
    return share_budget(per_month, [paces.of(key, month, {}) for key in _asked(workshop)])


def _fix(
    workshop: Workshop, days: Days, fresh: Mapping[str, set[str]], kept: dict[str, dict[str, float]]
) -> dict[str, Any]:
    """Share out the budget of months for series that have no rate in them yet; return what is to be kept."""
    paces = _Paces(workshop)
    asked = _asked(workshop)
    per_month = workshop.plan.workshop.false_signals_per_month
    for month in sorted(fresh):
        now = {key: month_pace(own, month) for key, own in days.items() if own}
        rate = share_budget(per_month, [paces.of(key, month, now) for key in asked]).rate
        for key in fresh[month]:
            kept[key][month] = rate
            paces.keep(key, month, now[key])
    changed = {_rates(key): kept[key] for keys in fresh.values() for key in keys}
    return {**changed, **paces.changed}


class _Paces:
    """Expected points a month, by month and series, as they were fixed."""

    def __init__(self, workshop: Workshop) -> None:
        self.store = workshop.store
        self.months: dict[str, dict[str, float]] = {}
        self.changed: dict[str, dict[str, float]] = {}

    def of(self, key: str, month: str, now: Mapping[str, float]) -> float:
        """Return the pace fixed for a month, else what is known now, else that of months before, else one."""
        if key in self._month(month):
            return self._month(month)[key]
        if key in now:
            return now[key]
        before = month
        for _ in range(MONTHS_BACK):
            before = month_of(date.fromisoformat(f"{before}-01") - timedelta(days=1))
            if key in self._month(before):
                return self._month(before)[key]
        return 1.0

    def keep(self, key: str, month: str, pace: float) -> None:
        """Fix the pace of a series in a month."""
        self._month(month)[key] = pace
        self.changed[f"pace {month}"] = self._month(month)

    def _month(self, month: str) -> dict[str, float]:
        if month not in self.months:
            self.months[month] = dict(self.store.state(f"pace {month}") or {})
        return self.months[month]


def _rates(key: str) -> str:
    return f"rates {key}"


def _asked(workshop: Workshop) -> list[str]:
    return sorted({str(SeriesKey(s.id, c.id, f)) for s, c, f in workshop.plan.charted()})

"""Whether the gauges that a figure rests on were known to be good."""

from __future__ import annotations

from datetime import date

import polars as pl

from qc.jobs.pieces import Doubt, doubts_of
from qc.jobs.workshop import Workshop
from qc.plan import PLACE, Plan


class Gauges:
    """What is known of the gauges: when each was in doubt, and since when it is checked at all."""

    def __init__(self, workshop: Workshop) -> None:
        self._workshop = workshop
        self._plan: Plan = workshop.plan
        self._known: dict[str, tuple[list[Doubt], date | None]] = {}

    def checked(self, rows: pl.DataFrame) -> tuple[bool | None, str]:
        """Say whether the gauges of some readings were known to be good, and why one was not.

        Of a place read on several days only the newest reading counts, as everywhere. A gauge that is never
        checked says nothing beside one that is; None where no gauge is ever checked.
        """
        newest = pl.col("day") == pl.col("day").max().over("serial", "characteristic", *PLACE)
        pairs = rows.filter(newest).select("gauge", "day").unique(maintain_order=True)
        answers: list[bool | None] = []
        for name, day in pairs.iter_rows():
            doubts, first = self._of(name) if name else ([], None)
            doubt = next((one for one in doubts if one.first <= day <= one.last), None)
            if doubt is not None:
                return False, doubt.because
            answers.append(True if first is not None and first <= day else None)
        return (True if any(answers) else None), ""

    def _of(self, name: str) -> tuple[list[Doubt], date | None]:
        if name not in self._known:
            gauge = self._plan.gauge(name)
            doubts = list(doubts_of(self._workshop, gauge)) if gauge else []
            until = self._workshop.today
            checks = self._workshop.store.events("gauge-check", subjects=[name], until=until)
            days = checks.filter(pl.col("value").is_not_null())["day"].drop_nulls()
            self._known[name] = doubts, (min(days) if len(days) else None)
        return self._known[name]

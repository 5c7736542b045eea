"""What a reading is worth, for the board: worked out once for what is stored, beside everything else."""

from __future__ import annotations

import threading
from dataclasses import dataclass

from qc.errors import UsageError
from qc.jobs.workshop import Workshop
from qc.watch import SeriesKey


@dataclass(frozen=True, slots=True)
class WorthRow:
    """One series: its cells under the head of the table, and the advice with its figures.

    `stays` says that the advice changes nothing; `facts` are names and figures one by one.
    """

    key: SeriesKey
    title: str
    cells: tuple[str, ...]
    advice: str
    because: str
    stays: bool
    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class WorthView:
    """What all figures are worth, the costly ones first; `under` says what the columns mean."""

    hours: float  # at the bench a month, readings that serve several figures counted once
    head: tuple[str, ...]
    rows: tuple[WorthRow, ...]
    under: str
    notes: tuple[str, ...]


class WeighedOnce:
    """Keeps the worth of all figures as long as nothing is added.

    It takes seconds, so it has a lock of its own: who only turns a page does not wait for it.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._known: tuple[object, WorthView] | None = None

    def of(self, workshop: Workshop) -> WorthView:
        """Return the worth of all figures."""
        with self._lock:
            mark = (*workshop.store.pulse(), workshop.today)
            if self._known is None or self._known[0] != mark:
                self._known = mark, _view(workshop)
            return self._known[1]

    def asked(self, workshop: Workshop, key: SeriesKey, see: str, within: str, limit: str) -> str:
        """Answer what was typed about one series, in a sentence; one for what cannot be asked."""
        try:
            change, pieces, edge = (_number(text) for text in (see, within, limit))
            if pieces is not None and pieces != int(pieces):
                raise UsageError(f"{within.strip()} pieces: a whole number is needed.")
            if change is None and pieces is None and edge is None:
                return ""
            if (change is None) != (pieces is None):
                return "A change and the pieces it is to be seen within go together: type both."
            # the simulation and what it stands on are loaded when they are asked for
            from qc.jobs.questions import worth_of_readings

            found = worth_of_readings(
                workshop,
                stage=key.stage,
                characteristic=key.characteristic,
                family=key.family,
                see=change,
                within=None if pieces is None else int(pieces),
                limit=edge,
                judge=False,
            )
        except UsageError as error:
            return str(error)
        return " ".join(one.sentence for one in found.asked)


def _view(workshop: Workshop) -> WorthView:
    """Turn what each figure costs and buys into rows with their words."""
    from qc.jobs.questions import worth_of_readings
    from qc.report.terminal import DEFAULT_TIME
    from qc.watch.worth import STAYS, WORTH_HEAD, WORTH_UNDER, worth_cells, worth_facts

    found = worth_of_readings(workshop, judge=False)
    rows = tuple(
        WorthRow(
            one.key,
            one.title,
            worth_cells(one),
            one.advice,
            one.because,
            one.advice in STAYS,
            worth_facts(one),
        )
        for one in found.series
    )
    by_plan = all(one.cost.seconds_in_plan for one in found.series)
    notes = (*(() if by_plan else (DEFAULT_TIME,)), *found.notes)
    return WorthView(found.hours_a_month, WORTH_HEAD, rows, WORTH_UNDER, notes)


def _number(text: str) -> float | None:
    """Read what was typed; a comma may stand for the point."""
    typed = text.strip()
    if not typed:
        return None
    try:
        return float(typed.replace(",", ".").replace("−", "-"))
    except ValueError:
        raise UsageError(f"“{typed[:20]}” is no number; type it like 1.5.") from None

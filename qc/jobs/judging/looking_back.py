"""What was said on the day asked about: as kept, or, of a day already past, judged as it stood then."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from qc.jobs.judging.verdicts import judge_now, load_verdicts, said_by
from qc.jobs.workshop import Workshop
from qc.sayings import Said, SignalState, state_after
from qc.store import signal_id
from qc.watch import SeriesVerdict, SignalResult


@dataclass(frozen=True, slots=True)
class SignalOfDay:
    """A signal as it stood on the day asked about, and whether the verdicts of that day show it.

    `known` is the day on which it was first told; None where that lies after the day asked about.
    """

    id: str
    series: str
    found: SignalResult
    said: tuple[Said, ...]
    shown: bool
    known: date | None = None

    @property
    def state(self) -> SignalState:
        """How it stands after all that had been said."""
        return state_after(self.said)


def looks_back(workshop: Workshop) -> bool:
    """Return whether the day asked about lies before the newest day that was judged."""
    newest = workshop.store.judged_day()
    return newest is not None and workshop.today < newest


def verdicts_of_day(workshop: Workshop) -> list[SeriesVerdict]:
    """Return the verdicts of the day asked about, in route order; those of a past day are not kept."""
    # an answer about a past day keeps nothing: it is given where the store cannot be written, too
    return judge_now(workshop, keep=False).verdicts if looks_back(workshop) else load_verdicts(workshop)


def signals_of_day(
    workshop: Workshop, verdicts: Iterable[SeriesVerdict], *, series: str | None = None
) -> list[SignalOfDay]:
    """Return the signals as they stood on the day asked about.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    verdicts : iterable of SeriesVerdict
        `verdicts_of_day`.
    series : str, optional
        Only of this series, ``stage/characteristic/family``.

    Returns
    -------
    list of SignalOfDay
        Of a past day only those that had been raised by then, with what had been said by then.
    """
    rows = workshop.store.signals(series=series)
    shown = [
        (signal_id(str(v.key), s.kind, s.raised_serial), str(v.key), s) for v in verdicts for s in v.signals
    ]
    if not looks_back(workshop):
        ids = {own for own, _, _ in shown}
        return [
            SignalOfDay(
                row.id,
                row.series,
                SignalResult.from_dict(row.plain),
                row.said,
                row.id in ids,
                row.first_as_of,
            )
            for row in rows
        ]
    said = {row.id: said_by(workshop, row.said) for row in rows}
    known = {row.id: row.first_as_of for row in rows if row.first_as_of <= workshop.today}
    return [
        SignalOfDay(own, key, signal, said.get(own, ()), True, known.get(own))
        for own, key, signal in shown
        if series in {None, key}
    ]

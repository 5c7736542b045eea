"""What was said on the day asked about: as kept, or, of a day already past, judged as it stood then."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from qc.jobs.judging.closings import said_by, with_reopenings
from qc.jobs.judging.kept import load_verdicts
from qc.jobs.judging.names import name_of
from qc.jobs.workshop import Workshop
from qc.sayings import CLOSED_STATES, CLOSINGS, Said, SignalState, state_after
from qc.store import SignalRecord, own_id, signal_id
from qc.watch import SeriesVerdict, SignalResult, heirs_of


@dataclass(frozen=True, slots=True)
class SignalOfDay:
    """A signal as it stood on the day asked about, and whether the verdicts of that day show it.

    `known` is the day on which it was first told; None where that lies after the day asked about. `before`
    are ids that it went by: of signals that told of the same change and were raised at another piece.
    `numbers` are its own and theirs: it keeps the one by which it was first known.
    """

    id: str
    series: str
    found: SignalResult
    said: tuple[Said, ...]
    shown: bool
    known: date | None = None
    before: tuple[str, ...] = ()
    numbers: tuple[int, ...] = ()

    @property
    def name(self) -> str:
        """What people call it by: its number, the lowest of several; its id as long as it has none."""
        return name_of(self.id, self.numbers)

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
    if not looks_back(workshop):
        return load_verdicts(workshop)
    from qc.jobs.judging.verdicts import judge_now

    # an answer about a past day keeps nothing: it is given where the store cannot be written, too
    return judge_now(workshop, keep=False).verdicts


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
    by_series: dict[str, list[SignalRecord]] = {}
    for row in rows:
        by_series.setdefault(row.series, []).append(row)
    found = [
        signal
        for verdict in verdicts
        if series in {None, str(verdict.key)}
        for signal in _shown(workshop, verdict, by_series.get(str(verdict.key), []))
    ]
    if looks_back(workshop):
        return found
    # signals that the present verdicts do not show and that none of theirs took over stay listed
    by_id = {own: signal for signal in found for own in (signal.id, *signal.before)}
    listed: dict[str, SignalOfDay] = {}
    for row in rows:
        told = SignalResult.from_dict(row.plain)
        own = by_id.get(row.id) or SignalOfDay(
            row.id, row.series, told, row.said, False, row.first_as_of, numbers=_numbers([row])
        )
        listed.setdefault(own.id, own)
    return list(listed.values())


def told_at_closing(workshop: Workshop, signal: SignalOfDay) -> SignalResult | None:
    """Return what had been told last of a closed signal when it was closed; None of an open one."""
    if signal.state not in CLOSED_STATES:
        return None
    closing = next(one for one in reversed(signal.said) if one.what in CLOSINGS)
    own = {signal.id, *signal.before}
    rows = workshop.store.told_signals(signal.series, before=closing.id)
    told = [one for _, found in rows for one in found if own_id(signal.series, one) in own]
    return SignalResult.from_dict(told[-1]) if told else None


def _shown(workshop: Workshop, verdict: SeriesVerdict, rows: Sequence[SignalRecord]) -> list[SignalOfDay]:
    """Return the signals that a verdict shows, each with what was said of it and of those it takes over."""
    key = str(verdict.key)
    ordinals = {point.serial: point.ordinal for point in verdict.points}
    heirs = heirs_of([SignalResult.from_dict(row.plain) for row in rows], verdict.signals, ordinals)
    ids = [signal_id(key, signal.kind, signal.root) for signal in verdict.signals]
    found = []
    for place, signal in enumerate(verdict.signals):
        own = ids[place]
        if own in ids[place + 1 :]:
            continue  # it opened again since: the newest finding speaks for the signal
        places = [n for n, other in enumerate(ids) if other == own]
        mine = [row for row, heir in zip(rows, heirs, strict=True) if heir in places]
        said = sorted((one for row in mine for one in said_by(workshop, row.said)), key=lambda one: one.id)
        days = [row.first_as_of for row in mine if row.first_as_of <= workshop.today]
        before = tuple(row.id for row in mine if row.id != own)
        life = with_reopenings(said, [verdict.signals[n] for n in places], workshop)
        known = min(days, default=None)
        found.append(SignalOfDay(own, key, signal, life, True, known, before, _numbers(mine)))
    return found


def _numbers(rows: Iterable[SignalRecord]) -> tuple[int, ...]:
    return tuple(sorted(row.number for row in rows if row.number))

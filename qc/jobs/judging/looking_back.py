"""What was said on the day asked about: as kept, or, of a day already past, judged as it stood then."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from weakref import WeakKeyDictionary

import polars as pl

from qc.jobs.judging.closings import said_by, with_reopenings
from qc.jobs.judging.kept import load_verdicts
from qc.jobs.judging.names import name_of
from qc.jobs.workshop import Workshop
from qc.plan import Plan
from qc.sayings import CLOSED_STATES, OPEN_STATES, Said, SignalState, last_closing, state_after
from qc.store import SignalRecord, Store, own_id, signal_id
from qc.watch import SeriesKey, SeriesVerdict, SignalResult, Suspect, heirs_of, stands_in, way_back_of


@dataclass(frozen=True, slots=True)
class Joined:
    """An open signal that stands in a newer one: what it is called by, its id, and how it was told last."""

    name: str
    id: str
    found: SignalResult


@dataclass(frozen=True, slots=True)
class SignalOfDay:
    """A signal as it stood on the day asked about, and whether the verdicts of that day show it.

    `known` is the day on which it was first told; None where that lies after the day asked about. `before`
    are ids that it went by: of signals that told of the same change and were raised at another piece.
    `numbers` are its own and theirs: it keeps the one by which it was first known. `earlier` are those
    signals as they were told last; `joined` of these the open ones that the readings show no more by
    themselves, since this one, of another kind, tells of the same pieces. `waits`: it is open, the readings
    show it no more, and no other one tells of its pieces: it waits for an answer as it was told last.
    """

    id: str
    series: str
    found: SignalResult
    said: tuple[Said, ...]
    shown: bool
    known: date | None = None
    before: tuple[str, ...] = ()
    numbers: tuple[int, ...] = ()
    earlier: tuple[SignalResult, ...] = ()
    joined: tuple[Joined, ...] = ()
    waits: bool = False
    back_of: str = ""

    @property
    def listed(self) -> bool:
        """Whether it is to be listed: the readings show it, somebody said something, or it waits."""
        return self.stands or bool(self.said)

    @property
    def stands(self) -> bool:
        """Whether it is a finding: the readings show it, or it waits as it was told last."""
        return self.shown or self.waits

    @property
    def suspects(self) -> tuple[Suspect, ...]:
        """What it coincides with, and what those that stand in it coincided with."""
        return (*self.found.suspects, *(one for each in self.joined for one in each.found.suspects))

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


_JUDGED_LAST: WeakKeyDictionary[Store, tuple[tuple[date, tuple[int, int], Plan], list[SeriesVerdict]]] = (
    WeakKeyDictionary()
)
"""Verdicts of the past day that was asked about last, by store: one answer asks for them several times."""


def verdicts_of_day(workshop: Workshop) -> list[SeriesVerdict]:
    """Return the verdicts of the day asked about, in route order; those of a past day are not kept."""
    if not looks_back(workshop):
        return load_verdicts(workshop)
    from qc.jobs.judging.verdicts import judge_now

    own = workshop.today, workshop.store.pulse(), workshop.plan
    day, pulse, plan = own
    if (last := _JUDGED_LAST.get(workshop.store)) and last[0][:2] == (day, pulse) and last[0][2] is plan:
        return list(last[1])
    # an answer about a past day keeps nothing: it is given where the store cannot be written, too
    verdicts = judge_now(workshop, keep=False).verdicts
    _JUDGED_LAST[workshop.store] = own, list(verdicts)
    return verdicts


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
    verdicts, rows = list(verdicts), workshop.store.signals(series=series)
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
    of_series = {str(verdict.key): verdict for verdict in verdicts}
    found, left = _with_joined(workshop, of_series, found, rows)
    by_id = {own: signal for signal in (*found, *left) for own in (signal.id, *signal.before)}
    return list({by_id[row.id].id: by_id[row.id] for row in rows}.values())


def told_at_closing(
    workshop: Workshop, signal: SignalOfDay, verdict: SeriesVerdict | None
) -> SignalResult | None:
    """Return what had been told last of a closed signal when it was closed; None of an open one.

    Where the first piece made after the mend was named and had come in by then, what was told last without
    it: the pieces made after a mend say nothing of when the change began.
    """
    closing = last_closing(signal.said)
    if closing is None or signal.state not in CLOSED_STATES:
        return None
    own = {signal.id, *signal.before}
    rows = workshop.store.told_signals(signal.series, before=closing.id)
    told = [one for _, found in rows for one in found if own_id(signal.series, one) in own]
    mine = [SignalResult.from_dict(one) for one in told]
    places = {point.serial: point.ordinal for point in verdict.points} if verdict else {}
    mended = places.get(closing.first)
    if mended is not None:
        without = [one for one in mine if one.kept and places.get(one.kept[-1], mended) < mended]
        mine = without or mine
    return mine[-1] if mine else None


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
        if not signal.kept and looks_back(workshop):
            signal = replace(signal, kept=_kept_then(mine, verdict))
        life = with_reopenings(said, [verdict.signals[n] for n in places], workshop)
        known = min(days, default=None)
        earlier = tuple(SignalResult.from_dict(row.plain) for row in mine if row.id != own)
        found.append(SignalOfDay(own, key, signal, life, True, known, before, _numbers(mine), earlier))
    return found


def _kept_then(rows: Sequence[SignalRecord], verdict: SeriesVerdict) -> tuple[str, ...] | None:
    """Return first and last of the pieces made by a past day that a signal holds; None where none is kept."""
    there = {point.serial for point in verdict.points}
    kept = [own for row in rows if (own := SignalResult.from_dict(row.plain).kept)]
    if not kept:
        return None
    first, last = kept[-1]
    return (first, last if last in there else verdict.points[-1].serial) if first in there else ()


def _with_joined(
    workshop: Workshop,
    verdicts: Mapping[str, SeriesVerdict],
    shown: Sequence[SignalOfDay],
    rows: Sequence[SignalRecord],
) -> tuple[list[SignalOfDay], list[SignalOfDay]]:
    """Return the signals shown, with those that stand in them now, and those left that nothing shows.

    An open signal never leaves unanswered: where a finding of another kind tells of its pieces, it stands in
    that one, number, suspects, pieces and all; else it waits as it was told last. One that proved to be the
    way back of another one, or whose reading was corrected or taken back since, has its answer; one told
    before this was kept goes on as it was.
    """
    found, left = list(shown), []
    there = {own for signal in shown for own in (signal.id, *signal.before)}
    for row in rows:
        if row.id in there:
            continue
        told, verdict = SignalResult.from_dict(row.plain), verdicts.get(row.series)
        said = said_by(workshop, row.said)
        alone = SignalOfDay(
            row.id, row.series, told, row.said, False, row.first_as_of, numbers=_numbers([row])
        )
        waits = state_after(said) in OPEN_STATES and told.kept is not None
        # verdicts may be those of an earlier day: what was raised after it was not there yet
        there_then = verdict is not None and any(told.raised_day <= p.day for p in verdict.points)
        if verdict is None or not (waits and there_then) or _put_right(workshop, row.series, told):
            left.append(alone)
            continue
        fits = [n for n, one in enumerate(found) if one.series == row.series and one.state in OPEN_STATES]
        back = _way_back(told, [one for one in found if one.series == row.series], verdict)
        if back:
            left.append(replace(alone, back_of=back))
            continue
        place = stands_in(told, [found[n].found for n in fits], verdict)
        if place is None:
            left.append(replace(alone, waits=True))
        else:
            found[fits[place]] = _joining(found[fits[place]], alone, said)
    return found, left


def _way_back(told: SignalResult, of_series: Sequence[SignalOfDay], verdict: SeriesVerdict) -> str:
    place = way_back_of(told, [one.found for one in of_series], verdict)
    return "" if place is None else of_series[place].name


def _joining(one: SignalOfDay, other: SignalOfDay, said: Sequence[Said]) -> SignalOfDay:
    """Return a signal with another one that stands in it now."""
    known = [day for day in (one.known, other.known) if day is not None]
    return replace(
        one,
        said=tuple(sorted((*one.said, *said), key=lambda each: (each.id, each.when))),
        known=min(known, default=None),
        before=(*one.before, other.id),
        numbers=tuple(sorted({*one.numbers, *other.numbers})),
        earlier=(*one.earlier, other.found),
        joined=(*one.joined, Joined(other.name, other.id, other.found)),
    )


def _put_right(workshop: Workshop, series: str, told: SignalResult) -> bool:
    """Say whether a reading of the piece that raised a signal was corrected or taken back."""
    key = SeriesKey.parse(series)
    figure = workshop.plan.characteristic(key.stage, key.characteristic)
    if figure is None:
        return True
    rows = workshop.store.history(serials=[told.raised_serial])
    own = (pl.col("stage") == key.stage) & pl.col("characteristic").is_in(figure.sources)
    return not rows.filter(own & (pl.col("state") != "stands")).is_empty()


def _numbers(rows: Iterable[SignalRecord]) -> tuple[int, ...]:
    return tuple(sorted(row.number for row in rows if row.number))

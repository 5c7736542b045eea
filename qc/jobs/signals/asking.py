"""Signals as they are asked for: all of them, those of a series, or one by its id."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from qc.jobs.errors import JobError
from qc.jobs.judging import (
    SignalOfDay,
    answering,
    at_latest,
    brought_up,
    present_budget,
    signals_of_day,
    verdicts_of_day,
)
from qc.jobs.pieces import hold_list, mend_of
from qc.jobs.signals.life import SignalLife, SignalList, life_of
from qc.jobs.signals.pieces import made_under, with_released
from qc.jobs.then import said_of_then
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.sayings import CLOSED_STATES, OPEN_STATES, state_after
from qc.store import SignalRecord, own_id
from qc.watch import SeriesVerdict, without_interval
from qc.words import dated_words, some_of


def list_signals(workshop: Workshop, *, all_states: bool = False, series: str | None = None) -> SignalList:
    """Return signals, those of the worst series first, after judging what waits.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    all_states : bool
        Closed ones too.
    series : str, optional
        Only of this series, ``stage/characteristic/family``.
    """
    waits = brought_up(workshop)
    told = waits.sentence(workshop.plan.workshop.time_zone) if waits else said_of_then(workshop)
    every = _lives(workshop, all_states=all_states, series=series)
    since = waits.since if waits else None
    return SignalList(tuple(every), present_budget(workshop).sentence(), told, since)


def find_signal(workshop: Workshop, signal_id: str, *, present: Workshop | None = None) -> SignalLife:
    """Return one signal by its number, its id or the beginning of that.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    signal_id : str
        The number, the id or its beginning.
    present : Workshop, optional
        The workshop with all that is known now, where `workshop` stands on a past day: a signal that was told
        later is named with that day.

    Raises
    ------
    JobError
        There is none, or the beginning fits several.
    """
    waits = brought_up(workshop)
    try:
        signal = _find(_lives(workshop, all_states=True), signal_id)
    except JobError as error:
        raise _told_later(workshop, present or workshop, signal_id) or error from None
    not_judged = waits.sentence(workshop.plan.workshop.time_zone) if waits else ""
    return replace(told_whole(workshop, signal), told=_told_of(workshop, signal), not_judged=not_judged)


def newest_life(workshop: Workshop, signal_id: str) -> SignalLife:
    """Return a signal as it stands by all that is known, whatever day is asked about."""
    return _find(_lives(at_latest(workshop), all_states=True), signal_id)


def _told_later(workshop: Workshop, present: Workshop, signal_id: str) -> JobError | None:
    """Return what is to be said of a signal that was first told after the day asked about."""
    rows = present.store.signals()
    fits = [s for s in rows if str(s.number) == signal_id]
    if not fits and not signal_id.isdecimal():
        fits = [s for s in rows if s.id.startswith(signal_id)]
    told = [day for s in fits for day, found in present.store.told_signals(s.series) if _among(s, found)]
    if len(fits) != 1 or not told or min(told) <= workshop.today:
        return None
    shown = dated_words(workshop.today)
    return JobError(
        f"Signal {fits[0].number or fits[0].id} was not known here on {shown}: it was first told on "
        f"{dated_words(min(told))}. "
        f"Ask of that day or a later one: --known {min(told).isoformat()}"
    )


def _among(signal: SignalRecord, found: Sequence[JsonObject]) -> bool:
    return any(own_id(signal.series, one) == signal.id for one in found)


def told_whole(workshop: Workshop, signal: SignalLife) -> SignalLife:
    """Return a signal with the pieces made under its cause, as far as the series still shows it."""
    verdicts = verdicts_of_day(workshop)
    verdict = next((v for v in verdicts if str(v.key) == signal.series), None)
    if verdict is None or not (signal.present or signal.waits):
        return signal
    row = next(one for one in signals_of_day(workshop, verdicts, series=signal.series) if one.id == signal.id)
    pieces = made_under(workshop, verdict, signal.found, signal.events, row.earlier)
    return with_to_tick(workshop, replace(signal, made_under=pieces), row, verdicts)


def with_to_tick(
    workshop: Workshop, signal: SignalLife, row: SignalOfDay, verdicts: Sequence[SeriesVerdict]
) -> SignalLife:
    """Return a signal with what the lead decided of its pieces, and with those still to deal with.

    Which are to deal with, in the house and gone, is said of one that was mended.
    """
    own = [piece.serial for piece in signal.made_under]
    found = hold_list(workshop, serials=own, judge=False, verdicts=verdicts, keep=False)
    names = {signal.id, *signal.before}
    of_figure = [row for row in found.rows if signal.series.startswith(f"{row.stage}/{row.characteristic}/")]
    pieces = tuple(
        one if one.done else with_released(one, of_figure, names, workshop.today) for one in signal.made_under
    )
    signal = replace(signal, made_under=pieces)
    if mend_of(row) is None:
        return signal
    here, gone = (
        {one.serial for one in rows if any(signal.id in names for names in one.rests_on)}
        for rows in (found.waiting, found.shipped)
    )
    to_tick, to_decide = (tuple(serial for serial in own if serial in held) for held in (here, gone))
    return replace(signal, to_tick=to_tick, to_decide=to_decide)


def _lives(workshop: Workshop, *, all_states: bool = False, series: str | None = None) -> list[SignalLife]:
    """Return signals as they are kept, those of the worst series first."""
    verdicts = {str(v.key): v for v in verdicts_of_day(workshop)}
    rows = signals_of_day(workshop, verdicts.values(), series=series)
    broken = {series for series, verdict in verdicts.items() if verdict.not_kept is not None}
    wanted = [row for row in rows if all_states or row.state in OPEN_STATES or row.series in broken]
    lives = [life_of(workshop, row, verdicts.get(row.series)) for row in wanted]
    found = [life for life in lives if all_states or life.state in OPEN_STATES or life.not_kept]
    kept = [one for one in found if one.present or one.waits or all_states or one.events]
    kept.sort(key=lambda s: (-_weight(verdicts.get(s.series), s), s.series, s.found.raised))
    return kept


def _find(every: Sequence[SignalLife], signal_id: str) -> SignalLife:
    fits = answering(every, signal_id)
    if len(fits) == 1:
        return fits[0]
    if not fits:
        numbers = sorted({min(one.numbers) for one in every if one.numbers})
        there = f" The numbers are {some_of(map(str, numbers))}." if len(numbers) > 1 else ""
        raise JobError(f"There is no signal {signal_id!r}.{there} See the list: qc signals --all")
    raise JobError(
        f"{signal_id!r} begins {len(fits)} signals. Type more of the id: {', '.join(s.id for s in fits)}"
    )


def _told_of(workshop: Workshop, signal: SignalLife) -> tuple[tuple[date, str, str], ...]:
    """Return what was said of a signal by the day asked about, each time it was said otherwise.

    While a signal is closed nobody is told of it, though what is found of its change goes on being kept.
    """
    own = {signal.id, *signal.before}
    said: list[tuple[date, str, str]] = []
    for day, found in workshop.store.told_signals(signal.series):
        if day > workshop.today or _was_closed(signal, day):
            continue
        # of a mend that was given the lie the change before it is kept beside the one by which it opened anew
        mine = [one for one in found if own_id(signal.series, one) in own][-1:]
        for one in mine:
            words = one["sentence"], one["because"]
            # the interval alone narrows with every piece: that is not said otherwise
            if not said or (without_interval(said[-1][1]), said[-1][2]) != (
                without_interval(words[0]),
                words[1],
            ):
                said.append((day, *words))
    return tuple(said)


def _was_closed(signal: SignalLife, day: date) -> bool:
    """Say whether a signal stood closed when a day began."""
    return state_after([one for one in signal.events if one.when.date() < day]) in CLOSED_STATES


def _weight(verdict: SeriesVerdict | None, signal: SignalLife) -> float:
    return 0.0 if verdict is None else verdict.worst + (signal.found.ended is None)

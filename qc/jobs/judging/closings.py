"""What closed signals mean to those who judge: which changes are answered, which causes are mended."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

from qc.jobs.workshop import Workshop
from qc.sayings import CLOSED_STATES, MENDED, STAYS, Said, What, outcome_of, state_after
from qc.store import PROGRAM, SignalRecord
from qc.watch import Decisions, Mend, SeriesKey, SignalResult, heirs_of, standing_mends


@dataclass(slots=True)
class Closings:
    """What people closed in one series, each signal as it was told last.

    Attributes
    ----------
    answered : list of SignalResult
        Closed as false, or because the new level stays: the series does not drift by them any more.
    stays : list of SignalResult
        Of these the ones whose new level stays.
    mends : list of Mend
        Causes that were mended, oldest first.
    """

    answered: list[SignalResult] = field(default_factory=list)
    stays: list[SignalResult] = field(default_factory=list)
    mends: list[Mend] = field(default_factory=list)


def closings_by_series(workshop: Workshop) -> dict[str, Closings]:
    """Return, by series, what had been closed by the workshop's day."""
    found: dict[str, Closings] = {}
    reopened: dict[str, list[tuple[int, SignalResult]]] = {}
    closed = []
    for signal in workshop.store.signals():
        said = said_by(workshop, signal.said)
        if not said:
            continue
        told = SignalResult.from_dict(signal.plain)
        own = found.setdefault(signal.series, Closings())
        own.mends += [_mend(workshop, signal, told, one) for one in standing_mends(said)]
        if state_after(said) in CLOSED_STATES:
            closed.append((signal.series, _last_closing(said), said[-1].id, told))
        elif any(one.what is What.REOPENED for one in said):
            reopened.setdefault(signal.series, []).append((said[-1].id, told))
    for series, closing, last, told in closed:
        outcome = outcome_of(closing)
        later = [other for number, other in reopened.get(series, ()) if number > last]
        # a signal that took over may be reopened under its own id; a mend ends its change by itself
        if outcome == MENDED or heirs_of([told], later, {told.start_serial: told.start}) != [None]:
            continue
        found[series].answered.append(told)
        if outcome == STAYS:
            found[series].stays.append(told)
    for own in found.values():
        own.mends.sort(key=lambda mend: mend.number)
    return found


def told_before(workshop: Workshop, keys: Collection[str]) -> dict[str, list[SignalResult]]:
    """Return, of some series, the findings as they were told last; none where the day asked about is past."""
    newest = workshop.store.judged_day()
    if newest is not None and workshop.today < newest:
        return {}
    found: dict[str, list[SignalResult]] = {}
    for signal in workshop.store.signals():
        if signal.series in keys:
            found.setdefault(signal.series, []).append(SignalResult.from_dict(signal.plain))
    return found


def with_mends(decided: Mapping[str, Decisions], closings: Mapping[str, Closings]) -> dict[str, Decisions]:
    """Put the mended causes beside what a lead decided."""
    mends = {series: tuple(own.mends) for series, own in closings.items() if own.mends}
    return {
        series: replace(decided.get(series, Decisions()), mends=mends.get(series, ()))
        for series in {**decided, **mends}
    }


def said_by(workshop: Workshop, said: Sequence[Said]) -> tuple[Said, ...]:
    """Return what had been said of a signal by the end of the workshop's day."""
    zone = ZoneInfo(workshop.plan.workshop.time_zone)
    return tuple(one for one in said if one.when.astimezone(zone).date() <= workshop.today)


def with_reopenings(
    said: Sequence[Said], findings: Sequence[SignalResult], workshop: Workshop
) -> tuple[Said, ...]:
    """Return what was said of a signal with each time the pieces gave a mend the lie and it opened again.

    Nobody says that: it follows from the readings, and goes where they are corrected.
    """
    zone = ZoneInfo(workshop.plan.workshop.time_zone)
    opened = {one.closing: one for one in findings if one.closing is not None}
    life: list[Said] = []
    for one in said:
        life.append(one)
        found = opened.get(one.id)
        if found is not None:
            measured = datetime.combine(found.raised_day, time(), zone).astimezone(UTC)
            text = f"{found.raised_serial} shows it once more."
            when = max(one.when, measured)
            life.append(Said(What.REOPENED, PROGRAM, text, id=one.id, about=one.about, when=when))
    return tuple(life)


def _last_closing(said: Sequence[Said]) -> Said:
    return next(one for one in reversed(said) if one.what in {What.CLOSED, What.CLOSED_FALSE})


def _mend(workshop: Workshop, signal: SignalRecord, told: SignalResult, closing: Said) -> Mend:
    day = closing.when.astimezone(ZoneInfo(workshop.plan.workshop.time_zone)).date()
    if closing.first:
        return Mend(told, closing.id, day, closing.first)
    stage = SeriesKey.parse(signal.series).stage
    return Mend(told, closing.id, day, known=frozenset(workshop.store.serials_known(stage, day, closing.id)))

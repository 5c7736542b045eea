"""Pieces that left while a signal held them: an answer given later takes none of them off the list.

Whoever asks where they went needs their names, whatever became of the cause: mended, left as it is or false.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

import polars as pl

from qc import clock
from qc.jobs.judging import SignalOfDay
from qc.jobs.workshop import Workshop
from qc.sayings import CLOSINGS, MENDED, What, outcome_of, told_here
from qc.store import own_id
from qc.watch import SeriesVerdict, SignalResult


@dataclass(frozen=True, slots=True)
class HeldSpan:
    """From which day on a signal held its pieces, and the moment of the answer that let them go."""

    first: date
    answered: datetime | None = None

    def covers(self, left: date, told: datetime | None) -> bool:
        """Say whether what left on a day, told of at a moment, left while the signal held it."""
        if left < self.first:
            return False
        if self.answered is None or left < self.answered.date():
            return True
        # of what left on the very day of the answer, the order of the two entries tells
        return left == self.answered.date() and told is not None and told <= self.answered


@dataclass(frozen=True, slots=True)
class LeftOn:
    """The day a piece, or what it is built into, left, and when that was handed in."""

    day: date
    told: datetime | None


def spans_of(signal: SignalOfDay, zone: str, *, any_answer: bool = False) -> tuple[HeldSpan, ...]:
    """Return the stretches of days on which a signal held its pieces, in their order.

    A mend lets no piece go that was made under its cause: each is held until it is dealt with. Those that
    were made after it, and what is held for its batch alone, `any_answer` lets go.
    """
    start: date | None = signal.known or signal.found.raised_day
    found = []
    for one in told_here(signal.said, zone):
        lets_go = one.what in CLOSINGS and (any_answer or outcome_of(one) != MENDED)
        if lets_go and start is not None:
            found.append(HeldSpan(start, one.when))
            start = None
        elif one.what is What.REOPENED and start is None:
            start = one.when.date()
    return (*found, HeldSpan(start)) if start is not None else tuple(found)


def departures(workshop: Workshop, only: Collection[str] | None = None) -> dict[str, LeftOn]:
    """Return when what is out left; a part leaves with what it is built into. `only` these, else all.

    Whoever goes through many signals asks once for all of them.
    """
    store, today = workshop.store, workshop.today
    built = store.events("part", subjects=None if only is None else sorted(only), until=today)
    inside = dict(built.filter(pl.col("subject") != "").select("subject", "serial").iter_rows())
    asked = None if only is None else sorted({*only, *inside.values()})
    moves = store.events(("shipped", "returned"), serials=asked, until=today).sort("day", "id")
    out: dict[str, LeftOn] = {}
    for kind, serial, day, told in moves.select("kind", "serial", "day", "entered_at").iter_rows():
        if kind == "shipped":
            out[serial] = LeftOn(day, told)
        else:
            out.pop(serial, None)
    parts = {part: out.get(whole) for part, whole in inside.items()}
    return {serial: left for serial, left in {**out, **parts}.items() if left is not None}


def held_since(spans: Sequence[HeldSpan], left: LeftOn | None, own: date | None = None) -> date | None:
    """Return since when a piece was held on the day it left; None where it was not held then.

    Of a piece that is here still it is the day from which it is held now. `own` is the day from which the
    signal covered this piece (`covered_from`).
    """
    if left is None:
        return spans[-1].first if spans and spans[-1].answered is None else None
    days = [span if own is None else replace(span, first=max(span.first, own)) for span in spans]
    return next((span.first for span in reversed(days) if span.covers(left.day, left.told)), None)


def left_while_held(
    workshop: Workshop,
    signal: SignalOfDay,
    verdict: SeriesVerdict,
    serials: Iterable[str],
    gone: Mapping[str, LeftOn],
    *,
    made_after: bool = False,
    batch: str = "",
) -> dict[str, date]:
    """Return of the pieces that a signal held those that left meanwhile, with the day they were held from.

    `gone` is what left of them, and when (`departures`); `made_after` that they were made after its mend;
    `batch` the one for which it held them.
    """
    zone = workshop.plan.workshop.time_zone
    spans = spans_of(signal, zone, any_answer=made_after or bool(batch))
    left = [one for one in serials if one in gone and held_since(spans, gone[one]) is not None]
    if not left:
        return {}
    # what was told after the last of them had left need not be read
    own = covered_from(workshop, signal, verdict, left, max(gone[one].day for one in left), batch=batch)
    found = {one: held_since(spans, gone[one], own[one]) for one in left if one in own}
    return {serial: since for serial, since in found.items() if since is not None}


def covered_from(
    workshop: Workshop,
    signal: SignalOfDay,
    verdict: SeriesVerdict,
    serials: Sequence[str],
    until: date,
    *,
    batch: str = "",
) -> dict[str, date]:
    """Return from which day on a signal held each piece, as it was told then; one not held by `until` is out.

    A change that is told later on since an earlier piece held the pieces in between from that day only:
    nobody could keep back before what no list named. Nor was a piece held whose own card had not come in.
    """
    known, names = signal.known or signal.found.raised_day, {signal.id, *signal.before}
    rows = workshop.store.told_signals(signal.series, days=(known, until))
    own = ((day, one) for day, each in rows for one in each if own_id(signal.series, one) in names)
    told = [(day, SignalResult.from_dict(one)) for day, one in own]
    # a store that was made before all this was kept does not say what its tellings held
    if not told or (not batch and all(one.kept is None for _, one in told)):
        return dict.fromkeys(serials, known)
    told[0] = known, told[0][1]
    entered = _batch_entered(workshop, batch, serials) if batch else _entered(workshop, verdict, serials)
    ordinals = {point.serial: point.ordinal for point in verdict.points}
    found: dict[str, date] = {}
    for day, one in told:
        for serial in serials:
            covered = _first_batch(one) == batch if batch else _kept(one, serial, ordinals)
            came = max(day, entered.get(serial, day))
            if covered and came <= until:
                found.setdefault(serial, came)
    return found


def _kept(told: SignalResult, serial: str, ordinals: Mapping[str, int]) -> bool:
    """Say whether a piece lies in the stretch that a finding held; to the end where its last was renamed."""
    if not told.kept or serial not in ordinals:
        return False
    first, last = told.kept
    return ordinals.get(first, 1) <= ordinals[serial] <= ordinals.get(last, len(ordinals))


def _first_batch(told: SignalResult) -> str:
    first = next(iter(told.suspects), None)
    return first.name if first is not None and first.kind == "batch" else ""


def _entered(workshop: Workshop, verdict: SeriesVerdict, serials: Sequence[str]) -> dict[str, date]:
    """Return on which day the first reading of each piece for a figure came in."""
    figure = workshop.plan.characteristic(verdict.key.stage, verdict.key.characteristic)
    if figure is None:
        return {}
    rows = workshop.store.history(serials=sorted(serials)).filter(
        pl.col("stage") == verdict.key.stage, pl.col("characteristic").is_in(figure.sources)
    )
    return _first_days(workshop, rows)


def _batch_entered(workshop: Workshop, batch: str, serials: Sequence[str]) -> dict[str, date]:
    """Return on which day it came in of each piece that it is of a batch."""
    parts = workshop.store.events("part", until=workshop.today).filter(pl.col("batch") == batch)
    read = workshop.store.history(serials=sorted(serials)).filter(pl.col("batch") == batch)
    own = [
        rows.select(pl.col(column).alias("serial"), "entered_at")
        for rows, column in ((parts, "serial"), (parts, "subject"), (read, "serial"))
    ]
    return _first_days(workshop, pl.concat(own).filter(pl.col("serial").is_in(list(serials))))


def _first_days(workshop: Workshop, rows: pl.DataFrame) -> dict[str, date]:
    first = rows.drop_nulls("entered_at").group_by("serial").agg(pl.col("entered_at").min())
    zone = workshop.plan.workshop.time_zone
    return {
        serial: clock.day_of(told, zone) for serial, told in first.select("serial", "entered_at").iter_rows()
    }

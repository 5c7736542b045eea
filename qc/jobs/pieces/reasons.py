"""Why pieces are to be held: limits, open signals, gauges in doubt, suspect batches."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import groupby

import polars as pl

from qc.jobs.judging import SignalOfDay, signals_of_day
from qc.jobs.pieces.gauges_moved import MovedGauge, master_checks, moved_gauges
from qc.jobs.pieces.outside import figures_of, figures_outside
from qc.jobs.pieces.rows import HoldRow
from qc.jobs.workshop import Workshop
from qc.plan import PLACE, Characteristic, Gauge, Plan, Stage
from qc.sayings import OPEN_STATES
from qc.watch import (
    MasterCheck,
    PieceFigure,
    SeriesVerdict,
    check_is_good,
    is_bad,
    outside_words,
    pieces_in,
    worst_of_days,
)
from qc.words import dated_words, named, quantity_words

ONE_DAY = timedelta(days=1)
OpenSignal = tuple[SignalOfDay, SeriesVerdict]


@dataclass(frozen=True, slots=True)
class Doubt:
    """Days on which a gauge is not to be trusted, both included; `off` is the day of the check it failed."""

    gauge: Gauge
    first: date
    last: date
    because: str
    off: date | None = None


def by_limits(workshop: Workshop, *, keep: bool = True) -> tuple[list[HoldRow], list[HoldRow]]:
    """Return the pieces outside their limits, and those inside by less than their gauge can tell.

    Of the second the plan says, by figure, whether they are told only or held with the first.
    """
    held: list[HoldRow] = []
    told: list[HoldRow] = []
    for figure in figures_outside(workshop, keep=keep):
        characteristic = workshop.plan.characteristic(figure.stage, figure.characteristic)
        stage = workshop.plan.stage(figure.stage)
        if characteristic is None or stage is None:
            continue
        row = _limit_row(stage, characteristic, figure)
        into = told if figure.inside and characteristic.near_limit == "told" else held
        into.append(row)
    return held, told


def by_signals(
    workshop: Workshop, signals: Iterable[OpenSignal], only: Collection[str] | None = None
) -> list[HoldRow]:
    """Return the pieces that lie in the stretch of an open signal that is bad for them; `only` these.

    Of changes only the one by which a series drifts now counts; a piece that stands apart counts by itself.
    """
    rows: list[HoldRow] = []
    for signal, verdict in signals:
        found = _figure_of(workshop.plan, verdict)
        if found is None or not is_bad(verdict, signal.found):
            continue
        serials = _of(only, (point.serial for point in pieces_in(verdict, signal.found)))
        figures = figures_of(workshop, *found, serials) if serials else {}
        title = _title(*found)
        for serial in serials:
            because = f"signal {signal.name}: {signal.found.sentence}"
            step = f"Keep it back until signal {signal.name} is answered. {signal.found.next_step}".strip()
            rests = ((signal.id, *signal.before),)
            rows.append(
                HoldRow(
                    serial,
                    *_ids(found),
                    title,
                    found[1].unit,
                    figures.get(serial),
                    "signal",
                    because,
                    step,
                    rests,
                )
            )
    return rows


def by_gauges(
    workshop: Workshop,
    moved: Iterable[MovedGauge] | None = None,
    only: Collection[str] | None = None,
) -> list[HoldRow]:
    """Return the pieces whose newest reading was taken with a gauge in doubt; `moved` for who has those."""
    rows: list[HoldRow] = []
    checks = master_checks(workshop)
    of = {one.gauge.id: one for one in (moved_gauges(workshop, checks) if moved is None else moved)}
    for gauge in workshop.plan.gauges:
        one = of.get(gauge.id)
        for doubt in doubts_in(gauge, checks.get(gauge.id, ()), workshop.today):
            # what its checks say of the stretch, where they had moved before the one that was off
            said = one is not None and one.change.since <= doubt.last
            because = f"{doubt.because}. {one.sentence}" if one is not None and said else doubt.because
            rows += _doubted(workshop, replace(doubt, because=because), only)
    return rows


def by_batches(
    workshop: Workshop, signals: Iterable[OpenSignal], only: Collection[str] | None = None
) -> list[HoldRow]:
    """Return the pieces that bear a batch which an open signal suspects first; `only` these."""
    rows: list[HoldRow] = []
    for signal, verdict in signals:
        found = _figure_of(workshop.plan, verdict)
        first = next(iter(signal.found.suspects), None)
        if found is None or first is None or first.kind != "batch" or not is_bad(verdict, signal.found):
            continue
        parts = workshop.store.events("part", until=workshop.today).filter(pl.col("batch") == first.name)
        read = workshop.store.of_batch(first.name, until=workshop.today)
        serials = _of(only, sorted({s for s in (*parts["serial"], *read["serial"]) if s}))
        figures = figures_of(workshop, *found, serials) if serials else {}
        for serial in serials:
            because = f"batch {first.name}, first suspect of signal {signal.name}"
            step = f"Keep it back until batch {first.name} is cleared; measure two pieces of it first."
            rests = (tuple(f"{first.name} {own}" for own in (signal.id, *signal.before)),)
            rows.append(
                HoldRow(
                    serial,
                    *_ids(found),
                    _title(*found),
                    found[1].unit,
                    figures.get(serial),
                    "batch",
                    because,
                    step,
                    rests,
                )
            )
    return rows


def open_signals(workshop: Workshop, verdicts: Sequence[SeriesVerdict]) -> list[OpenSignal]:
    """Return the open signals that still hold: single pieces, and the one by which each series drifts."""
    by_key = {str(verdict.key): verdict for verdict in verdicts}
    found = []
    for signal in signals_of_day(workshop, verdicts):
        verdict = by_key.get(signal.series)
        if verdict is None or not signal.shown or signal.state not in OPEN_STATES:
            continue
        telling = verdict.telling
        drifts = telling is not None and _same(signal, telling.raised, telling.kind)
        if drifts or signal.found.kind == "single":
            found.append((signal, verdict))
    found.sort(key=lambda one: -one[1].worst)
    return found


def doubts_of(workshop: Workshop, gauge: Gauge) -> Iterator[Doubt]:
    """Yield the stretches of days on which what a gauge read is in doubt, by its checks in the store."""
    checks = master_checks(workshop, [gauge.id]).get(gauge.id, ())
    return doubts_in(gauge, checks, workshop.today)


def doubts_in(gauge: Gauge, checks: Iterable[MasterCheck], today: date) -> Iterator[Doubt]:
    """Yield the stretches of days on which what a gauge read is in doubt, by its checks.

    A check that was off puts everything in doubt since the last good one; between two good checks all is
    trusted. Checks are of the morning: on the day of a good one the gauge is trusted, also where it was
    found off that morning and put right; what it read before is in doubt all the same.
    """
    good: date | None = None
    last_off: tuple[date, float] | None = None
    for day, made in groupby(sorted(checks, key=lambda check: check.day), key=lambda check: check.day):
        own = list(made)
        off = [check.value for check in own if check_is_good(gauge, check.value) is False]
        if off:
            last_off = (day, max(off, key=abs))
        if check_is_good(gauge, worst_of_days(own)[0].value) is not False:
            if last_off is not None:
                yield _off(gauge, good, last_off, day - ONE_DAY)
            last_off, good = None, day
    if last_off is not None:
        yield _off(gauge, good, last_off, today)
    elif gauge.daily_check and (good is None or good < today):
        since = f"not been checked since {dated_words(good)}" if good else "never been checked"
        yield Doubt(gauge, good + ONE_DAY if good else date.min, today, f"{_name(gauge)} has {since}")


def _off(gauge: Gauge, good: date | None, off: tuple[date, float], last: date) -> Doubt:
    day, value = off
    since = f", last known good on {dated_words(good)}" if good else ""
    much = quantity_words(abs(value), gauge.unit)
    said = f"{_name(gauge)} was found {much} off on {dated_words(day)}{since}"
    return Doubt(gauge, good + ONE_DAY if good else date.min, last, said, day)


def _name(gauge: Gauge) -> str:
    return named(gauge.name, gauge.id)


def _of(only: Collection[str] | None, serials: Iterable[str]) -> list[str]:
    """Return the serials that are asked for; all of them where nobody says which."""
    return [serial for serial in serials if only is None or serial in only]


def _doubted(workshop: Workshop, doubt: Doubt, only: Collection[str] | None) -> Iterator[HoldRow]:
    """Yield the pieces whose figure, as it stands now, rests on a reading of these days."""
    touched = workshop.store.gauged(doubt.gauge.id, doubt.first, doubt.last)
    if only is not None:
        touched = touched.filter(pl.col("serial").is_in(list(only)))
    for (stage_id, name), own in touched.group_by("stage", "characteristic", maintain_order=True):
        stage = workshop.plan.stage(str(stage_id))
        characteristic = workshop.plan.characteristic(str(stage_id), str(name))
        if stage is None or characteristic is None:
            continue
        serials = own["serial"].unique().sort().to_list()
        newest = _standing(workshop, stage, characteristic, serials, doubt)
        figures = figures_of(workshop, stage, characteristic, newest)
        for serial, day in newest.items():
            yield HoldRow(
                serial,
                stage.id,
                characteristic.id,
                _title(stage, characteristic),
                characteristic.unit,
                figures.get(serial),
                "gauge",
                doubt.because,
                "Measure it again with a gauge that is known to be good.",
                ((f"{doubt.gauge.id} {day.isoformat()}",),),
            )


def _standing(
    workshop: Workshop, stage: Stage, characteristic: Characteristic, serials: Sequence[str], doubt: Doubt
) -> dict[str, date]:
    """Return the pieces of which the newest reading of a place is a doubtful one, with its newest day."""
    readings = workshop.store.figures(stage.id, [characteristic.id], until=workshop.today, serials=serials)
    newest = pl.col("day") == pl.col("day").max().over("serial", *PLACE)
    doubtful = (pl.col("gauge") == doubt.gauge.id) & pl.col("day").is_between(doubt.first, doubt.last)
    rows = readings.filter(newest).filter(doubtful).group_by("serial").agg(pl.col("day").max()).sort("serial")
    return dict(rows.iter_rows())


def _limit_row(stage: Stage, characteristic: Characteristic, figure: PieceFigure) -> HoldRow:
    said = outside_words(figure)
    if figure.inside:
        because = f"{said}: inside, but not proven: within the gauge's own spread of the limit"
        step = "Measure it again, with a finer gauge where there is one, or release it by name and reason."
    else:
        because = said
        step = "Measure it again. If it stays outside, mend it, or release it by name and reason."
    # what was released is this figure at this place under these limits, and nothing that comes later
    rests = f"{figure.place}: {figure.value!r} in {figure.lower!r} to {figure.upper!r}"
    title, unit = _title(stage, characteristic), characteristic.unit
    return HoldRow(
        figure.serial, stage.id, characteristic.id, title, unit, figure, "limit", because, step, ((rests,),)
    )


def _same(signal: SignalOfDay, raised: int, kind: str) -> bool:
    return signal.found.raised == raised and signal.found.kind == kind


def _figure_of(plan: Plan, verdict: SeriesVerdict) -> tuple[Stage, Characteristic] | None:
    stage = plan.stage(verdict.key.stage)
    characteristic = plan.characteristic(verdict.key.stage, verdict.key.characteristic)
    return None if stage is None or characteristic is None else (stage, characteristic)


def _ids(found: tuple[Stage, Characteristic]) -> tuple[str, str]:
    return found[0].id, found[1].id


def _title(stage: Stage, characteristic: Characteristic) -> str:
    return f"{stage.name}: {characteristic.name}"

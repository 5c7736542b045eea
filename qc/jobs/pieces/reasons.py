"""Why pieces are to be held of themselves or for what read them: limits, gauges in doubt."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import polars as pl

from qc.jobs.judging import SignalOfDay, master_checks
from qc.jobs.pieces.gauges_moved import MovedGauge, moved_gauges
from qc.jobs.pieces.outside import figures_of, figures_outside
from qc.jobs.pieces.rows import HoldRow
from qc.jobs.workshop import Workshop
from qc.plan import PLACE, Characteristic, Gauge, Stage
from qc.watch import (
    FoundOff,
    MasterCheck,
    PieceFigure,
    SeriesVerdict,
    found_off,
    outside_words,
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


def doubts_of(workshop: Workshop, gauge: Gauge) -> Iterator[Doubt]:
    """Yield the stretches of days on which what a gauge read is in doubt, by its checks in the store."""
    checks = master_checks(workshop, [gauge.id]).get(gauge.id, ())
    return doubts_in(gauge, checks, workshop.today)


def doubts_in(gauge: Gauge, checks: Iterable[MasterCheck], today: date) -> Iterator[Doubt]:
    """Yield the stretches of days on which what a gauge read is in doubt, by its checks.

    Those of checks that were off as `found_off` has them, and days without a check where one is due.
    """
    own = list(checks)
    off = list(found_off(gauge, own))
    yield from (_off(one, today) for one in off)
    good = max((check.day for check in own), default=None)
    still_off = bool(off) and off[-1].last is None
    if not still_off and gauge.daily_check and (good is None or good < today):
        since = f"not been checked since {dated_words(good)}" if good else "never been checked"
        yield Doubt(gauge, good + ONE_DAY if good else date.min, today, f"{_name(gauge)} has {since}")


def doubted_serials(workshop: Workshop, doubt: Doubt) -> tuple[str, ...]:
    """Return the pieces of which a figure, as it stands now, rests on a reading of these days."""
    return tuple(sorted({row.serial for row in _doubted(workshop, doubt, None)}))


def _off(one: FoundOff, today: date) -> Doubt:
    since = f", last known good on {dated_words(one.good)}" if one.good else ""
    much = quantity_words(abs(one.value), one.gauge.unit)
    said = f"{_name(one.gauge)} was found {much} off on {dated_words(one.day)}{since}"
    return Doubt(one.gauge, one.first, today if one.last is None else one.last, said, one.day)


def _name(gauge: Gauge) -> str:
    return named(gauge.name, gauge.id)


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
                # one that is checked daily was in doubt that evening, for want of a good check after it
                since=day if doubt.gauge.daily_check else doubt.off,
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


def _title(stage: Stage, characteristic: Characteristic) -> str:
    return f"{stage.name}: {characteristic.name}"

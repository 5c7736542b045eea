"""The gauges of the plan for the board: what each measures, how fine its step is, how its checks stand."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Final

import polars as pl

from qc.jobs.board.gauge_views import BiasView, CheckView, GaugeView, MeasureView
from qc.jobs.pieces import gauge_courses
from qc.jobs.workshop import Workshop
from qc.plan import PLACE, Characteristic, Gauge, Plan, Stage
from qc.states import DUE, GAUGE, IN_ORDER, MOVED
from qc.stats import StatisticsError, factors, gauge_bias, gauge_resolution
from qc.watch import (
    GaugeChange,
    MasterCheck,
    SeriesKey,
    check_is_good,
    gauge_moved_sentence,
    gauge_moved_steps,
    gauge_standing,
    is_zero,
    runs_out_soon,
    standing_change,
    worst_of_days,
)
from qc.words import IN_UNIT

NEWEST: Final = 200
"""Newest readings of a figure and model that the scatter is taken from."""

LEAST_STEPS_APART: Final = 8
"""Fewer differences from piece to piece say nothing of a scatter (house rule)."""

BIAS_CHECKS: Final = 20
"""While the last check is good, bias is the mean of so many newest ones."""

LOOK_BACK_DAYS: Final = 400  # chosen: a year and a little more, so that a yearly round is in view

WORST: Final = tuple(GAUGE)
"""The states of a gauge, the worst first."""


def gauge_views(workshop: Workshop) -> tuple[GaugeView, ...]:
    """Return the gauges of the plan, those that need a look first.

    Parameters
    ----------
    workshop : Workshop
        An open workshop; nothing later than its day is read.
    """
    plan, today = workshop.plan, workshop.today
    since = today - timedelta(days=LOOK_BACK_DAYS)
    events = workshop.store.events("gauge-check", since=since, until=today).sort("day", "id")
    measures = _measures(workshop)
    courses = gauge_courses(workshop)
    views = [
        _view(
            gauge,
            plan,
            today,
            _checks(gauge, events),
            tuple(measures.get(gauge.id, ())),
            courses.get(gauge.id, ()),
        )
        for gauge in plan.gauges
    ]
    # Of two alike, the one in use first.
    return tuple(sorted(views, key=lambda v: (WORST.index(v.state), not v.measures)))


def gauges_to_look_at(workshop: Workshop) -> tuple[tuple[Gauge, GaugeView], ...]:
    """Return the gauges that are not in order, the worst first; those to be checked today as usual left out.

    Parameters
    ----------
    workshop : Workshop
        An open workshop; no reading is looked at, so it is quick in any store.
    """
    plan, today = workshop.plan, workshop.today
    if not plan.gauges:
        return ()
    since = today - timedelta(days=LOOK_BACK_DAYS)
    events = workshop.store.events("gauge-check", since=since, until=today).sort("day", "id")
    courses = gauge_courses(workshop)
    views = [
        (gauge, _view(gauge, plan, today, _checks(gauge, events), (), courses.get(gauge.id, ())))
        for gauge in plan.gauges
    ]
    found = [(g, v) for g, v in views if v.state not in (IN_ORDER, DUE) or runs_out_soon(g, today)]
    # of two alike, the one in use first: it missed a check
    return tuple(sorted(found, key=lambda one: (WORST.index(one[1].state), not one[1].missed)))


def trusted_since(view: GaugeView) -> str:
    """Return since when a gauge is in doubt: ``last-good-check``, the day it was calibrated, or empty."""
    if view.last_good is not None:
        return "last-good-check"
    return view.calibrated.isoformat() if view.calibrated else ""


def _view(
    gauge: Gauge,
    plan: Plan,
    today: date,
    checks: tuple[CheckView, ...],
    measures: tuple[MeasureView, ...] = (),
    changes: tuple[GaugeChange, ...] = (),
) -> GaugeView:
    """Put a gauge together; a check that no tolerance judges counts as a good one."""
    # of a zero and a ring on one day the worse decides: a good zero does not make good what the ring says
    days = worst_of_days(MasterCheck(c.day, c.value, c.master) for c in checks)
    last = days[-1] if days else None
    last_good = next((c.day for c in reversed(days) if check_is_good(gauge, c.value) is not False), None)
    stands = gauge_standing(gauge, plan, today, (last.day, last.value) if last else None)
    change, state = standing_change(changes), stands.state
    if change is not None and WORST.index(state) > WORST.index(MOVED):
        state = MOVED
    return GaugeView(
        id=gauge.id,
        name=gauge.name,
        step=gauge.resolution,
        unit=gauge.unit,
        state=state,
        sentence=stands.sentence,
        tolerance=gauge.check_tolerance,
        daily=gauge.daily_check,
        calibrated=max((d for d in gauge.calibrated if d <= today), default=None),
        due=gauge.due,
        next_check=stands.next_check,
        missed=stands.missed,
        last_good=last_good,
        bias=_bias(checks, last_good),
        measures=measures,
        checks=checks,
        changes=changes,
        moved="" if change is None else gauge_moved_sentence(gauge, change, today),
        steps=() if change is None else gauge_moved_steps(gauge.id, change),
    )


def _checks(gauge: Gauge, events: pl.DataFrame) -> tuple[CheckView, ...]:
    own = events.filter((pl.col("subject") == gauge.id) & pl.col("value").is_not_null())
    return tuple(
        CheckView(day, value, check_is_good(gauge, value), person or "", master or "")
        for day, value, person, master in own.select("day", "value", "person", "batch").iter_rows()
    )


def _bias(checks: Sequence[CheckView], last_good: date | None) -> BiasView | None:
    """Return how far off the gauge reads since its last good check; while it is good, of late."""
    if not checks:
        return None
    off = [c for c in checks if last_good is None or c.day > last_good]
    # a zero says nothing of what the gauge reads on a ring
    own = [c for c in off or checks if not is_zero(c.master)] or list(off or checks)
    if not off:
        # a gauge that was found off has been set since: what it read before is over
        wrong = max((c.day for c in own if c.good is False), default=date.min)
        own = [c for c in own if c.good is not False and c.day >= wrong][-BIAS_CHECKS:] or own[-BIAS_CHECKS:]
    found = gauge_bias([c.value for c in own], 0.0)
    low, high = found.interval or (None, None)
    return BiasView(found.bias, low, high, found.n, own[0].day, found.clear)


def _measures(workshop: Workshop) -> dict[str, list[MeasureView]]:
    """Return, by gauge, what its newest readings measure and how they scatter from piece to piece."""
    found: dict[str, list[MeasureView]] = {}
    if not workshop.plan.gauges:
        return found
    charted = {(s.id, c.id): SeriesKey(s.id, c.id, f) for s, c, f in reversed(workshop.plan.charted())}
    # a figure that is computed scatters by its rule, and a count by nature: neither says anything of a step
    for stage in workshop.plan.stages:
        for figure in stage.characteristics:
            if figure.kind != "measured" or figure.derive is not None:
                continue
            readings = _newest(workshop, stage, figure)
            for (name,), own in readings.filter(pl.col("gauge").is_not_null()).group_by(
                "gauge", maintain_order=True
            ):
                gauge = workshop.plan.gauge(str(name))
                if gauge is not None:
                    view = _measure(gauge, stage, figure, own, charted.get((stage.id, figure.id)))
                    found.setdefault(gauge.id, []).append(view)
    return found


def _newest(workshop: Workshop, stage: Stage, figure: Characteristic) -> pl.DataFrame:
    models: Iterable[str | None] = [*(m.id for m in workshop.plan.models_of(figure)), None]
    found = workshop.store.recent_readings((stage.id, figure.id, model, NEWEST) for model in models)
    return found.filter(pl.col("day") <= workshop.today)


def _measure(
    gauge: Gauge, stage: Stage, figure: Characteristic, readings: pl.DataFrame, series: SeriesKey | None
) -> MeasureView:
    scale = 1.0 if gauge.unit == figure.unit else IN_UNIT.get((gauge.unit, figure.unit))
    spread, steps, fine = None, None, None
    moved = _differences(readings)
    if scale is not None and moved.len() >= LEAST_STEPS_APART:
        step = gauge.resolution * scale
        spread = float(moved.abs().mean() or 0.0) / factors(2).d2  # type: ignore[arg-type]
        steps, fine = spread / step, _fine(readings["value"].to_list(), step, spread)
    name = f"{stage.name}: {figure.name}"
    return MeasureView(name, figure.unit, spread, steps, fine, readings.height, series)


def _differences(readings: pl.DataFrame) -> pl.Series:
    """Return the differences from one piece to the next, model by model and place by place.

    Neighbours share a level, so a slow drift or the models' own targets do not pass for scatter.
    """
    first = readings.sort("measured_at", "id").unique(
        ["serial", "model", *PLACE], keep="first", maintain_order=True
    )
    own = first.with_columns(step=pl.col("value").diff().over("model", *PLACE))
    return own["step"].drop_nulls()


def _fine(values: Sequence[float], step: float, spread: float) -> bool:
    if not spread > 0:
        return False
    try:
        return gauge_resolution(values, resolution=step, sigma=spread).fine_enough
    # readings that never differ show no spread, so no step is fine enough for it
    except StatisticsError:
        return False

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
from qc.stats import StatisticsError, factors, gauge_bias, gauge_resolution
from qc.watch import GaugeChange, SeriesKey, gauge_moved_sentence, gauge_moved_steps, standing_change
from qc.words import IN_UNIT, count_words, day_words, quantity_words

NEWEST: Final = 200
"""Newest readings of a figure and model that the scatter is taken from."""

LEAST_STEPS_APART: Final = 8
"""Fewer differences from piece to piece say nothing of a scatter (house rule)."""

BIAS_CHECKS: Final = 20
"""While the last check is good, bias is the mean of so many newest ones."""

CALIBRATION_SOON: Final = timedelta(days=14)  # chosen: time to send a gauge away
LOOK_BACK_DAYS: Final = 400  # chosen: a year and a little more, so that a yearly round is in view
WEEKDAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

WORST: Final = {"off": 0, "overdue": 1, "moved": 2, "due": 3, "good": 4}


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
    return tuple(sorted(views, key=lambda v: (WORST[v.state], not v.measures)))


def missed_checks(workshop: Workshop) -> tuple[tuple[Gauge, date, str], ...]:
    """Return the gauges whose daily check is missed: each with the first day missed and a sentence.

    One that was never checked is due at once: nobody can say which days it missed.

    Parameters
    ----------
    workshop : Workshop
        An open workshop; no reading is looked at, so it is quick in any store.
    """
    plan, today = workshop.plan, workshop.today
    daily = [gauge for gauge in plan.gauges if gauge.daily_check]
    if not daily:
        return ()
    since = today - timedelta(days=LOOK_BACK_DAYS)
    events = workshop.store.events("gauge-check", since=since, until=today).sort("day", "id")
    views = [(gauge, _view(gauge, plan, today, _checks(gauge, events))) for gauge in daily]
    return tuple(
        (g, v.next_check, f"{g.id}: {v.sentence}")
        for g, v in views
        if v.next_check is not None and (v.missed or not v.checks)
    )


def trusted_since(view: GaugeView) -> str:
    """Return since when a gauge is in doubt: ``last-good-check``, the day it was calibrated, or empty."""
    if view.last_good is not None:
        return "last-good-check"
    return view.calibrated.isoformat() if view.calibrated else ""


def next_working_day(plan: Plan, day: date) -> date:
    """Return the first day after `day` that is not off."""
    found = day + timedelta(days=1)
    while is_off(plan, found):
        found += timedelta(days=1)
    return found


def is_off(plan: Plan, day: date) -> bool:
    """Return whether the workshop does not work on a day."""
    return bool({day, WEEKDAYS[day.weekday()]} & {*plan.workshop.days_off})


def _view(
    gauge: Gauge,
    plan: Plan,
    today: date,
    checks: tuple[CheckView, ...],
    measures: tuple[MeasureView, ...] = (),
    changes: tuple[GaugeChange, ...] = (),
) -> GaugeView:
    """Put a gauge together; a check that no tolerance judges counts as a good one."""
    last = checks[-1] if checks else None
    last_good = next((c.day for c in reversed(checks) if c.good is not False), None)
    # the first check of all is due today, or on the day that work goes on
    before = last.day if last else today - timedelta(days=1)
    next_check = next_working_day(plan, before) if gauge.daily_check else None
    missed = _working_days(plan, next_check, today) if next_check else 0
    state, sentence = _state(gauge, today, last, next_check, missed)
    change = standing_change(changes)
    if change is not None and WORST[state] > WORST["moved"]:
        state = "moved"
    return GaugeView(
        id=gauge.id,
        name=gauge.name,
        step=gauge.resolution,
        unit=gauge.unit,
        state=state,
        sentence=sentence,
        tolerance=gauge.check_tolerance,
        daily=gauge.daily_check,
        calibrated=max((d for d in gauge.calibrated if d <= today), default=None),
        due=gauge.due,
        next_check=next_check,
        missed=missed,
        last_good=last_good,
        bias=_bias(checks, last_good),
        measures=measures,
        checks=checks,
        changes=changes,
        moved="" if change is None else gauge_moved_sentence(gauge, change, today),
        steps=() if change is None else gauge_moved_steps(gauge.id),
    )


def _state(
    gauge: Gauge, today: date, last: CheckView | None, next_check: date | None, missed: int
) -> tuple[str, str]:
    """Return how a gauge stands and the sentence that says it, the worst first."""
    if last is not None and last.good is False:
        return "off", f"Its last check on {_on(last.day, today)} was off: {_reading(last, gauge)}."
    if gauge.daily_check and missed:
        days = count_words(missed, "working day")
        since = f"Not checked since {_on(last.day, today)}" if last else "Never checked"
        return "overdue", f"{since}: {days} without a check."
    if gauge.due is not None and gauge.due < today:
        return "overdue", f"Its calibration ran out on {_on(gauge.due, today)}."
    if gauge.daily_check and last is None:
        return "overdue", "It is to be checked daily, and no check is on record."
    soon = gauge.due is not None and gauge.due <= today + CALIBRATION_SOON
    left = _calibration_left(gauge, today) if soon or not gauge.daily_check else ""
    checked = f"Last check {_on(last.day, today)}: {_reading(last, gauge)}." if last else ""
    if next_check is not None and next_check <= today:
        return "due", f"{checked} Next check today. {left}".strip()
    later = f"Next check {_on(next_check, today)}." if next_check else ""
    said = " ".join(text for text in (checked, later, left) if text)
    return ("due" if soon else "good"), said or "No check and no calibration is asked of it."


def _calibration_left(gauge: Gauge, today: date) -> str:
    if gauge.due is None:
        return ""
    days = (gauge.due - today).days
    left = "today" if not days else f"in {count_words(days, 'day')}"
    year = "" if gauge.due.year == today.year else f" {gauge.due.year}"
    return f"Its calibration runs out {left}, on {day_words(gauge.due)}{year}."


def _checks(gauge: Gauge, events: pl.DataFrame) -> tuple[CheckView, ...]:
    own = events.filter((pl.col("subject") == gauge.id) & pl.col("value").is_not_null())
    limit = gauge.check_tolerance
    return tuple(
        CheckView(day, value, None if limit is None else abs(value) <= limit, person or "")
        for day, value, person in own.select("day", "value", "person").iter_rows()
    )


def _bias(checks: Sequence[CheckView], last_good: date | None) -> BiasView | None:
    """Return how far off the gauge reads since its last good check; while it is good, of late."""
    if not checks:
        return None
    off = [c for c in checks if last_good is None or c.day > last_good]
    own = off or list(checks[-BIAS_CHECKS:])
    found = gauge_bias([c.value for c in own], 0.0)
    low, high = found.interval or (None, None)
    return BiasView(found.bias, low, high, found.n, own[0].day, found.clear)


def _working_days(plan: Plan, first: date, today: date) -> int:
    """Count the working days from `first` up to yesterday: today's check may still come."""
    span = (today - first).days
    return sum(not is_off(plan, first + timedelta(days=n)) for n in range(max(span, 0)))


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
    frames = [workshop.store.recent_readings(stage.id, figure.id, model, NEWEST) for model in models]
    return pl.concat(frames).filter(pl.col("day") <= workshop.today)


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


def _reading(check: CheckView, gauge: Gauge) -> str:
    sign = "+" if check.value > 0 else "−" if check.value < 0 else ""
    said = f"{sign}{quantity_words(abs(check.value), gauge.unit)}"
    if gauge.check_tolerance is None:
        return said
    within = "inside" if check.good else "outside"
    return f"{said}, {within} ±{quantity_words(gauge.check_tolerance, gauge.unit)}"


def _on(day: date, today: date) -> str:
    return day_words(day, today)

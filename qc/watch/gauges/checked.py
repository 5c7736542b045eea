"""How a gauge stands: off, overdue, never checked, due or in order; the same for board, report and lists."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from qc.plan import Gauge, Plan
from qc.states import DUE, IN_ORDER, NEVER_CHECKED, OFF, OVERDUE
from qc.words import count_words, day_words, quantity_words

CALIBRATION_SOON = timedelta(days=14)  # chosen: time to send a gauge away
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True, slots=True)
class GaugeStanding:
    """How a gauge stands on a day.

    Attributes
    ----------
    state : str
        A name of `qc.states.GAUGE`.
    sentence : str
        What it rests on.
    next_check : date or None
        By when its daily check is to be made: the first day missed, where one was. None where none is asked.
    missed : int
        Working days without a check since the last one, today not counted.
    """

    state: str
    sentence: str
    next_check: date | None = None
    missed: int = 0


def gauge_standing(
    gauge: Gauge, plan: Plan, today: date, last: tuple[date, float] | None = None
) -> GaugeStanding:
    """Say how a gauge stands, the worst first.

    Parameters
    ----------
    gauge : Gauge
        Says whether it is checked daily, within what, and until when its calibration holds.
    plan : Plan
        Gives the days off.
    today : date
        The workshop's day. A calibration that runs out today still holds; a check of today may still come.
    last : (date, float), optional
        Day and figure [unit of the gauge] of its last check, None where none is on record.
    """
    # the first check of all is due today, or on the day that work goes on
    before = last[0] if last else today - timedelta(days=1)
    next_check = next_working_day(plan, before) if gauge.daily_check else None
    missed = _working_days(plan, next_check, today) if next_check else 0
    state, sentence = _state(gauge, today, last, next_check, missed)
    return GaugeStanding(state, sentence, next_check, missed)


def check_is_good(gauge: Gauge, off: float) -> bool | None:
    """Say whether a check was within the limit of a check, None where the gauge has none."""
    return None if gauge.check_tolerance is None else abs(off) <= gauge.check_tolerance


def runs_out_soon(gauge: Gauge, today: date) -> bool:
    """Say whether a calibration holds today and runs out so soon that the gauge is to be sent away."""
    return gauge.due is not None and today <= gauge.due <= today + CALIBRATION_SOON


def next_working_day(plan: Plan, day: date) -> date:
    """Return the first day after `day` that is not off."""
    found = day + timedelta(days=1)
    while is_off(plan, found):
        found += timedelta(days=1)
    return found


def is_off(plan: Plan, day: date) -> bool:
    """Return whether the workshop does not work on a day."""
    return bool({day, WEEKDAYS[day.weekday()]} & {*plan.workshop.days_off})


def _state(
    gauge: Gauge, today: date, last: tuple[date, float] | None, next_check: date | None, missed: int
) -> tuple[str, str]:
    """Return how a gauge stands and the sentence that says it, the worst first."""
    checked = day_words(last[0], today) if last else ""
    out = gauge.due is not None and gauge.due < today
    over = f"Its calibration ran out on {day_words(gauge.due, today)}." if out else ""
    if last is not None and check_is_good(gauge, last[1]) is False:
        return OFF, f"Its last check on {checked} was off: {_reading(gauge, last[1])}. {over}".strip()
    if missed:
        days = count_words(missed, "working day")
        return OVERDUE, f"Not checked since {checked}: {days} without a check. {over}".strip()
    if over:
        return OVERDUE, over
    if gauge.daily_check and last is None:
        return NEVER_CHECKED, "It is to be checked daily, and no check is on record."
    soon = runs_out_soon(gauge, today)
    left = _calibration_left(gauge, today) if soon or not gauge.daily_check else ""
    said = f"Last check {checked}: {_reading(gauge, last[1])}." if last else ""
    if next_check is not None and next_check <= today:
        return DUE, f"{said} Next check today. {left}".strip()
    later = f"Next check {day_words(next_check, today)}." if next_check else ""
    told = " ".join(text for text in (said, later, left) if text)
    return (DUE if soon else IN_ORDER), told or "No check and no calibration is asked of it."


def _calibration_left(gauge: Gauge, today: date) -> str:
    if gauge.due is None:
        return ""
    days = (gauge.due - today).days
    left = "today" if not days else f"in {count_words(days, 'day')}"
    year = "" if gauge.due.year == today.year else f" {gauge.due.year}"
    return f"Its calibration runs out {left}, on {day_words(gauge.due)}{year}."


def _working_days(plan: Plan, first: date, today: date) -> int:
    """Count the working days from `first` up to yesterday: today's check may still come."""
    span = (today - first).days
    return sum(not is_off(plan, first + timedelta(days=n)) for n in range(max(span, 0)))


def _reading(gauge: Gauge, off: float) -> str:
    sign = "+" if off > 0 else "−" if off < 0 else ""
    said = f"{sign}{quantity_words(abs(off), gauge.unit)}"
    if gauge.check_tolerance is None:
        return f"{said}; no tolerance is set, so nothing can be found off"
    limit = f"±{quantity_words(gauge.check_tolerance, gauge.unit)}"
    return f"{said}, {'inside' if check_is_good(gauge, off) else 'outside'} {limit}"

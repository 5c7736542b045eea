"""The checks of the gauges in a month's report: what each read on its master, what the run of them says."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date

from qc.intervals import interval_words
from qc.plain import JsonObject
from qc.plan import Gauge
from qc.report.month.canvas import DRIFT, INK, SOFT, STEADY, Canvas
from qc.report.month.content import GaugeCourse
from qc.stats import gauge_bias
from qc.watch import (
    GaugeChange,
    MasterCheck,
    check_is_good,
    gauge_moved_sentence,
    gauge_moved_steps,
    lines_of,
    masters_words,
    standing_change,
)
from qc.words import count_words, day_words, plain_words, quantity_words, unit_words

NEWEST = 60
"""So many checks are drawn: three months of daily ones, as many as a panel has pieces."""

SIZE_IN = (6.9, 1.3)


def gauge_courses_of_month(
    gauges: Sequence[Gauge],
    checks: Mapping[str, Sequence[MasterCheck]],
    changes: Mapping[str, Sequence[GaugeChange]],
    first: date,
    as_of: date,
) -> tuple[GaugeCourse, ...]:
    """Return the checks of each gauge, zero and rings apart, those that moved first.

    Parameters
    ----------
    gauges : sequence of Gauge
        Those of the plan; one that was not checked in the month is left out, unless it moved.
    checks : mapping of gauge id to sequence of MasterCheck
        All up to the month's last day, in order of time.
    changes : mapping of gauge id to sequence of GaugeChange
        What they went through, from `gauge_changes`.
    first, as_of : date
        The period, both days included.
    """
    found = []
    for gauge in gauges:
        calibrated = max((day for day in gauge.calibrated if day <= as_of), default=date.min)
        lines = lines_of(one for one in checks.get(gauge.id, ()) if one.day >= calibrated)
        for on, own in lines.items():
            change = standing_change([one for one in changes.get(gauge.id, ()) if one.master == on])
            of_month = [one for one in own if first <= one.day <= as_of]
            if of_month or change is not None:
                found.append(_course(gauge, on, own, of_month, change, as_of))
    return tuple(sorted(found, key=lambda one: not one.moved))


def _course(
    gauge: Gauge,
    on: str,
    checks: Sequence[MasterCheck],
    of_month: Sequence[MasterCheck],
    change: GaugeChange | None,
    as_of: date,
) -> GaugeCourse:
    bias = gauge_bias([one.value for one in of_month], 0.0) if of_month else None
    low, high = (bias.interval if bias else None) or (None, None)
    told = "As it was."
    if change is not None:
        # the sentences of a report have one sign for minus
        told = gauge_moved_sentence(gauge, change, as_of).replace("−", "-")
    return GaugeCourse(
        gauge=gauge.id,
        name=gauge.name,
        on=on,
        unit=gauge.unit,
        step=gauge.resolution,
        tolerance=gauge.check_tolerance,
        checks=len(of_month),
        outside=sum(check_is_good(gauge, one.value) is False for one in of_month),
        mean=bias.bias if bias else None,
        low=low,
        high=high,
        told=told,
        moved=change is not None,
        next_step="" if change is None else gauge_moved_steps(gauge.id, change)[1],
        since=None if change is None else change.since,
        points=tuple((one.day, one.value) for one in checks),
    )


def gauge_line(course: GaugeCourse) -> JsonObject:
    """Return one row of the block: which gauge on what, how many checks, their mean with its interval."""
    checks = count_words(course.checks, "check")
    outside = f"{checks} in the month"
    if course.tolerance is not None:
        limit = quantity_words(course.tolerance, course.unit)
        outside += f", {course.outside or 'none'} outside ±{limit}"
    return {
        "key": course.key,
        "mark": "▲" if course.moved else "○",
        "who": f"{course.gauge}{masters_words(course.on)}",
        "title": course.title,
        "checks": checks,
        "outside": f"{outside}.",
        "mean": _mean(course),
        "told": course.told,
        "next_step": course.next_step,
    }


def _mean(course: GaugeCourse) -> str:
    if course.mean is None:
        return "—"
    # checks that never differ have a mean without doubt, as far as the step of the gauge goes
    if course.low is None or course.high is None or math.isclose(course.low, course.high):
        told = quantity_words(abs(course.mean), course.unit)
        return f"{'+' if course.mean > 0 else '-' if course.mean < 0 else ''}{told}"
    return interval_words(course.mean, course.low, course.high, course.unit, sure="", signed=True)


def draw_gauge(course: GaugeCourse) -> bytes:
    """Draw the newest checks of a gauge as SVG: between its tolerance, what moved in its colour."""
    shown = course.points[-NEWEST:]
    limits = [] if course.tolerance is None else [-course.tolerance, course.tolerance]
    values = [value for _, value in shown]
    canvas = Canvas(*SIZE_IN, (-1, len(shown)), [0.0, *limits, *values])
    canvas.title(f"off its master [{unit_words(course.unit)}]")
    canvas.across(0.0, SOFT, 0.7, "3 2")
    for limit in limits:
        canvas.across(limit)
    labels = [(one, f"limit {plain_words(one)} {unit_words(course.unit)}", INK) for one in limits]
    labels.append((0.0, "as its master", SOFT))
    since = course.since or date.max
    begun = next((at for at, (day, _) in enumerate(shown) if day >= since), len(shown))
    for start, end, colour in ((0, begun, STEADY), (begun, len(shown), DRIFT)):
        own = values[start:end]
        if own:
            mean = sum(own) / len(own)
            canvas.course(start - 0.4, end - 0.6, mean, mean, colour)
            if begun < len(shown) and colour == DRIFT:
                labels.append((mean, f"since {day_words(shown[begun][0])}", DRIFT))
    for at, value in enumerate(values):
        canvas.mark(at, value, DRIFT if at >= begun else INK)
    canvas.labels(labels)
    canvas.under(f"in order of the checks, {day_words(shown[0][0])} to {day_words(shown[-1][0])}")
    return canvas.svg()

"""What happened beside a series: the ticks under its chart."""

from __future__ import annotations

from datetime import date

from qc.jobs.board.views import ChartMark, SeriesVerdict
from qc.plan import Plan

SUSPECT_WORDS = {
    "tool": "{} in use",
    "batch": "batch {}",
    "person": "{} begins",
    "gauge": "{} in use",
    "gauge-check": "{} not checked",
}
"""How a suspect is named under the chart, short enough to stand at its tick."""


def marks(verdict: SeriesVerdict, plan: Plan) -> tuple[ChartMark, ...]:
    """Return what happened beside a series: tools fitted, gauges calibrated, people who joined.

    Parameters
    ----------
    verdict : SeriesVerdict
        Only what its own points used is told.
    plan : Plan
        Where the days stand.
    """
    points = verdict.points
    if not points:
        return ()
    found: list[ChartMark] = []
    first_day, last_day = points[0].day, points[-1].day
    seen: set[tuple[str, str]] = set()
    for point in points:
        for kind, name in (("tool", point.tool), ("person", point.person)):
            if not name or (kind, name) in seen:
                continue
            seen.add((kind, name))
            began = _began(plan, kind, name)
            if point.ordinal > points[0].ordinal and began is not None and began >= first_day:
                text = f"{name} fitted" if kind == "tool" else f"{name} joins"
                found.append(ChartMark(point.ordinal - 0.5, began, kind, text))
    for name in dict.fromkeys(p.gauge for p in points if p.gauge):
        gauge = plan.gauge(name)
        for day in gauge.calibrated if gauge else ():
            if first_day < day <= last_day:
                after = next(p.ordinal for p in points if p.day >= day)
                found.append(ChartMark(after - 0.5, day, "gauge", f"{name} calibrated"))
    found += _suspect_marks(verdict, {m.text.partition(" ")[0] for m in found})
    return tuple(sorted(found, key=lambda m: (m.ordinal, m.text)))


def _suspect_marks(verdict: SeriesVerdict, named: set[str]) -> list[ChartMark]:
    """Return what coincides with the present signal, unless a mark names it already."""
    signal = verdict.current
    found = []
    for suspect in signal.suspects if signal else ():
        place = next((p.ordinal for p in verdict.points if p.serial == suspect.serial), None)
        if place is None or suspect.name in named:
            continue
        text = SUSPECT_WORDS.get(suspect.kind, "{}").format(suspect.name)
        found.append(ChartMark(place - 0.5, suspect.day or verdict.points[place - 1].day, suspect.kind, text))
    return found


def _began(plan: Plan, kind: str, name: str) -> date | None:
    if kind == "tool":
        tool = plan.tool(name)
        return tool.fitted if tool else None
    person = plan.person(name)
    return person.joined if person else None

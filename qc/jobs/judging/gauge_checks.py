"""Checks of the gauges as they are stored, and the stretches in which they say that a gauge read wrongly."""

from __future__ import annotations

from collections.abc import Sequence

from qc.jobs.workshop import Workshop
from qc.watch import FoundOff, MasterCheck, found_off


def master_checks(workshop: Workshop, gauges: Sequence[str] | None = None) -> dict[str, list[MasterCheck]]:
    """Return the checks of each gauge, or of these, up to the workshop's day, in order of time."""
    events = workshop.store.events("gauge-check", subjects=gauges, until=workshop.today).sort("day", "id")
    checks: dict[str, list[MasterCheck]] = {}
    asked = events.select("subject", "day", "value", "batch", "code")
    for gauge, day, value, master, code in asked.iter_rows():
        if value is not None:
            checks.setdefault(gauge, []).append(MasterCheck(day, value, master or "", code == "zeroed"))
    return checks


def stretches_off(workshop: Workshop) -> tuple[FoundOff, ...]:
    """Return the stretches in which a gauge of the plan read wrongly, as its checks up to the day say."""
    asked = [gauge for gauge in workshop.plan.gauges if gauge.check_tolerance is not None]
    if not asked:
        return ()
    checks = master_checks(workshop, [gauge.id for gauge in asked])
    return tuple(one for gauge in asked for one in found_off(gauge, checks.get(gauge.id, ())))

"""Gauges whose checks say that they read otherwise than before: told on the board, in status and to hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from qc.jobs.judging import master_checks
from qc.jobs.workshop import Workshop
from qc.plan import Gauge
from qc.watch import GaugeChange, MasterCheck, gauge_changes, gauge_moved_sentence, standing_change
from qc.words import quantity_words


@dataclass(frozen=True, slots=True)
class MovedGauge:
    """A gauge that reads otherwise than before: the change that still stands, and a sentence."""

    gauge: Gauge
    change: GaugeChange
    sentence: str

    @property
    def note(self) -> str:
        """The sentence with the gauge's name, and what it means for the pieces."""
        gauge = self.gauge
        inside = ""
        if gauge.check_tolerance is not None and abs(self.change.now) <= gauge.check_tolerance:
            limit = quantity_words(gauge.check_tolerance, gauge.unit)
            inside = f" Inside ±{limit}, so no piece is held for it: check it again."
        return f"{gauge.id}: {self.sentence}{inside}"


def gauge_courses(workshop: Workshop) -> dict[str, tuple[GaugeChange, ...]]:
    """Return what the checks of each gauge went through since it was last calibrated."""
    return gauge_changes(workshop.plan.gauges, master_checks(workshop), workshop.today)


def moved_gauges(
    workshop: Workshop, checks: Mapping[str, Sequence[MasterCheck]] | None = None
) -> tuple[MovedGauge, ...]:
    """Return the gauges that read otherwise than before, in plan order; `checks` for who has them."""
    checks = master_checks(workshop) if checks is None else checks
    changes = gauge_changes(workshop.plan.gauges, checks, workshop.today)
    found = ((gauge, standing_change(changes.get(gauge.id, ()))) for gauge in workshop.plan.gauges)
    return tuple(
        MovedGauge(gauge, change, gauge_moved_sentence(gauge, change, workshop.today))
        for gauge, change in found
        if change is not None
    )

"""Gauges that moved, from the checks of a store: named with what it means for the pieces."""

from datetime import date, timedelta
from types import SimpleNamespace

import polars as pl
import pytest

from qc.jobs.pieces import gauge_courses, moved_gauges
from qc.plan import Gauge
from qc.watch import MasterCheck, gauge_moved_steps, worst_of_days

FIRST = date(2026, 2, 2)
QUIET = [0.0, 0.001, 0.0, -0.001, 0.0, 0.001, -0.001, 0.0, 0.001, 0.0] * 3


def workshop(values, tolerance=0.004, until=None, ring=()):
    """Return what is asked of a workshop whose bore gauge was checked daily."""
    days = [FIRST + timedelta(days=at) for at in range(len(values))]
    on = ["zero" if ring else ""] * len(values) + ["Ring 14.05"] * len(ring)
    days, values = days + days[: len(ring)], [*values, *ring]
    rows = {
        "id": range(len(on)),
        "subject": ["BG-7"] * len(on),
        "day": days,
        "value": values,
        "batch": on,
        "code": [""] * len(on),
    }
    today = until or max(days)
    kept = pl.DataFrame(rows, schema_overrides={"value": pl.Float64})
    store = SimpleNamespace(events=lambda kind, subjects, until: kept.filter(pl.col("day") <= until))
    gauge = Gauge(
        id="BG-7",
        name="Bore gauge",
        gauge_class="bore-gauge",
        resolution=0.001,
        unit="mm",
        check_tolerance=tolerance,
    )
    return SimpleNamespace(store=store, plan=SimpleNamespace(gauges=(gauge,)), today=today)


def test_a_gauge_that_moved_inside_its_tolerance_is_told_and_holds_nothing():
    (moved,) = moved_gauges(workshop([*QUIET, 0.003, 0.004, 0.003, 0.003]))
    assert moved.change.since == FIRST + timedelta(days=30)
    assert moved.note == (
        "BG-7: Its checks read +3.2 µm off its master since 4 Mar, +0.1 µm before. "
        "Inside ±4.0 µm, so no piece is held for it: check it again."
    )


@pytest.mark.parametrize("tolerance", [None, 0.002], ids=["none", "outside"])
def test_outside_or_without_tolerance_nothing_is_said_of_holding(tolerance):
    (moved,) = moved_gauges(workshop([*QUIET, 0.003, 0.004, 0.003, 0.003], tolerance))
    assert "held" not in moved.note


def test_a_quiet_gauge_and_one_without_figures_are_not_named():
    assert moved_gauges(workshop(QUIET)) == ()
    assert gauge_courses(workshop([None, None])) == {}


def test_checks_after_the_day_are_not_looked_at():
    later = [*QUIET, 0.003, 0.004, 0.003, 0.003]
    assert moved_gauges(workshop(later, until=FIRST + timedelta(days=29))) == ()


ENDS = [
    pytest.param(0.003, 0.003, "zero", "Wipe its faces", id="zeroing mends it"),
    pytest.param(0.0, 0.003, "ring", "Zeroing does not mend it", id="worn or opened: it is sent away"),
    pytest.param(0.003, 0.008, "both", "Wipe and zero it first", id="both"),
]


@pytest.mark.parametrize(("zero", "ring", "moved", "step"), ENDS)
def test_zero_and_ring_tell_what_to_do(zero, ring, moved, step):
    """Every check at zero and on the ring on the same day: which of the two moved is told."""
    last = [0.0, 0.001, 0.0, 0.0]
    (found,) = moved_gauges(
        workshop([*QUIET, *(zero + x for x in last)], ring=[*QUIET, *(ring + x for x in last)])
    )
    assert found.change.moved == moved
    assert gauge_moved_steps("BG-7", found.change)[1].startswith(step)
    if moved == "ring":
        assert "on ring 14.05 read +3.2 µm off its master since 4 Mar" in found.sentence
        assert found.sentence.endswith("Its zero did not move.")


def test_one_line_alone_is_asked_for_the_other():
    (found,) = moved_gauges(workshop([*QUIET, 0.003, 0.004, 0.003, 0.003]))
    assert found.change.moved == ""
    assert "at zero and on its ring" in gauge_moved_steps("BG-7", found.change)[1]


def test_a_good_zero_does_not_make_good_what_the_ring_says():
    day = FIRST
    ring, zero = MasterCheck(day, -0.006, "Ring 14.05"), MasterCheck(day, 0.0, "zero")
    assert worst_of_days([ring, zero]) == [ring]
    # the same master again on that day: zeroed between the two
    assert worst_of_days([ring, MasterCheck(day, 0.001, "ring 14.05")])[0].value == 0.001

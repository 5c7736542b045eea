"""Gauges that moved, from the checks of a store: named with what it means for the pieces."""

from datetime import date, timedelta
from types import SimpleNamespace

import polars as pl
import pytest

from qc.jobs.pieces import gauge_courses, moved_gauges
from qc.plan import Gauge

FIRST = date(2026, 2, 2)
QUIET = [0.0, 0.001, 0.0, -0.001, 0.0, 0.001, -0.001, 0.0, 0.001, 0.0] * 3


def workshop(values, tolerance=0.004, until=None):
    """Return what is asked of a workshop whose bore gauge was checked daily."""
    days = [FIRST + timedelta(days=at) for at in range(len(values))]
    rows = {"id": range(len(values)), "subject": ["BG-7"] * len(values), "day": days, "value": values}
    today = until or days[-1]
    kept = pl.DataFrame(rows, schema_overrides={"value": pl.Float64})
    store = SimpleNamespace(events=lambda kind, until: kept.filter(pl.col("day") <= until))
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

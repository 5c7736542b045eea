"""Checks of a gauge as a series: what moved is told, what stays is not, at the rate that is said."""

from datetime import date, timedelta

import numpy as np
import pytest

from qc.plan import Gauge
from qc.watch import (
    CHECK_RATE,
    GaugeChange,
    MasterCheck,
    gauge_changes,
    gauge_moved_sentence,
    gauge_moved_steps,
    standing_change,
)

FIRST = date(2026, 1, 5)
TODAY = date(2026, 12, 1)


def gauge(**given):
    kept = {
        "id": "BG-7",
        "name": "Bore gauge",
        "gauge_class": "bore-gauge",
        "resolution": 0.001,
        "unit": "mm",
    }
    return Gauge(**kept | {"check_tolerance": 0.004} | given)


def checks(values):
    return [MasterCheck(FIRST + timedelta(days=at), float(value)) for at, value in enumerate(values)]


def read(rng, count, level=0.0, sd=0.0008):
    """Checks as they are typed: in whole steps."""
    return np.round(rng.normal(level, sd, count), 3)


def changes(values, **given):
    return gauge_changes([gauge(**given)], {"BG-7": checks(values)}, TODAY)["BG-7"]


def test_a_gauge_that_reads_high_is_told_inside_its_tolerance(rng):
    values = np.r_[read(rng, 60), read(rng, 12, 0.002)]
    assert np.abs(values).max() <= 0.004
    change = standing_change(changes(values))
    assert change.kind in {"shift", "trend"} and change.stands
    assert abs((change.since - FIRST).days - 60) <= 3
    assert change.now == pytest.approx(values[-12:].mean(), abs=0.0008)


def test_a_gauge_that_came_back_to_its_master_is_history(rng):
    found = changes(np.r_[read(rng, 40), read(rng, 10, 0.003), read(rng, 40)])
    assert found and standing_change(found) is None


def test_a_calibration_begins_anew(rng):
    values = np.r_[read(rng, 40, 0.003), read(rng, 30)]
    assert changes(values)
    assert not changes(values, calibrated=[FIRST + timedelta(days=40)])
    # one that is still to come sets nothing anew
    assert changes(values, calibrated=[TODAY + timedelta(days=30)]) == changes(values)


def test_a_move_of_less_than_half_a_step_is_no_reason_to_look():
    fine = np.random.default_rng(4)
    values = np.r_[fine.normal(0.0, 0.0001, 60), fine.normal(0.0004, 0.0001, 20)]
    found = changes(values)
    assert not any(change.stands for change in found)


def test_the_newest_check_alone_is_told_and_forgotten_after_a_good_one(rng):
    values = np.r_[read(rng, 60), [0.007]]
    assert standing_change(changes(values)).kind == "single"
    assert standing_change(changes(np.r_[values, read(rng, 3)])) is None


@pytest.mark.slow
def test_false_words_come_at_the_rate_that_the_page_gives(rng):
    # checks that scatter by a step; with much less, a step decides and the rate is a few times as high
    kept = {f"BG-{at}": checks(read(rng, 200, sd=0.001)) for at in range(200)}
    found = gauge_changes([gauge(id=name) for name in kept], kept, TODAY)
    false = sum(len(own) for own in found.values())
    # 20 are expected of 40,000 checks; 4 sds of a count either way
    assert 40_000 * CHECK_RATE - 18 <= false <= 40_000 * CHECK_RATE + 18


def test_what_is_said_names_both_levels_and_the_day():
    change = GaugeChange("shift", date(2026, 3, 12), date(2026, 3, 14), 0.00004, -0.0021, True)
    assert gauge_moved_sentence(gauge(), change, date(2026, 3, 20)) == (
        "Its checks read −2.1 µm off its master since 12 Mar, 0 before."
    )
    creep = GaugeChange("trend", date(2026, 3, 2), date(2026, 3, 14), 0.0, 0.003, True)
    assert "creep since 2 Mar: from 0 to +3.0 µm" in gauge_moved_sentence(gauge(), creep, date(2026, 3, 20))
    assert all(step.endswith(".") for step in gauge_moved_steps("BG-7"))


def test_a_gauge_without_checks_has_no_course():
    assert gauge_changes([gauge()], {}, TODAY) == {}

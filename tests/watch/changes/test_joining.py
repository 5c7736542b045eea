"""What was raised step by step, or twice, is one change under the signal that was raised first."""

import numpy as np
import pytest

from qc.plan import Characteristic
from qc.watch.changes import FoundChange, LevelCourse
from qc.watch.changes.joining import all_measured_anew
from qc.watch.changes.judged import JudgedSeries

RATE = 1e-3
FIGURE = Characteristic(id="x", name="X", unit="um", shape="normal")


def found(point, start, kind="shift", side="above", size=2.0):
    return FoundChange(kind, side, point, start, start, start, size, 1.0, 3.0, 2.0)


def told(points, values):
    return [s for s in LevelCourse(FIGURE, points(values)).changes(RATE).signals if s.kind != "single"]


@pytest.mark.parametrize("slope", [0.15, -0.15])
def test_a_long_climb_is_one_trend_under_the_signal_raised_first(points, rng, slope):
    values = rng.standard_normal(90)
    first = told(points, np.concatenate([values[:50], values[50:70] + slope * np.arange(1, 21)]))
    values[50:] += slope * np.arange(1, 41)
    (climb,) = told(points, values)
    assert (climb.kind, climb.ended) == ("trend", None)
    assert climb.point == first[0].point, "its signal stays the one that was raised first"
    assert climb.size == pytest.approx(40 * slope, abs=1.6)


def test_steps_that_stand_apart_stay_two(points, rng):
    values = rng.standard_normal(90)
    values[40:] += 5.0
    values[65:] += 5.0
    assert [s.kind for s in told(points, values)] == ["shift", "shift"]


def test_a_climb_takes_in_the_steps_that_belong_to_it_and_leaves_a_later_one(rng):
    values = np.concatenate(
        [
            rng.standard_normal(30),
            0.4 * np.arange(1, 31) + rng.standard_normal(30),
            32 + rng.standard_normal(30),
        ]
    )
    raised = [found(37, 34), found(47, 43), found(63, 61)]
    assert [(s.kind, s.point) for s in all_measured_anew(raised, JudgedSeries(values, "normal"))] == [
        ("trend", 37),
        ("shift", 63),
    ]


def test_a_change_of_the_spread_raised_twice_is_told_once(rng):
    values = np.concatenate([rng.standard_normal(40), 4 * rng.standard_normal(40)])
    twice = [found(46, 41, "spread", "both"), found(52, 42, "spread", "both")]
    assert [s.point for s in all_measured_anew(twice, JudgedSeries(values, "normal"))] == [46]


def test_changes_that_lead_opposite_ways_are_two(rng):
    values = np.concatenate(
        [rng.standard_normal(40), 6 + rng.standard_normal(12), -6 + rng.standard_normal(20)]
    )
    raised = [found(43, 41), found(55, 53, side="below", size=-12.0)]
    assert len(all_measured_anew(raised, JudgedSeries(values, "normal"))) == 2


def test_ranks_join_nothing(rng):
    values = np.concatenate([rng.standard_normal(30), 0.4 * np.arange(1, 31) + rng.standard_normal(30)])
    raised = [found(37, 34), found(47, 43)]
    assert len(all_measured_anew(raised, JudgedSeries(values, "any"))) == 2

"""The course of a figure that wears, beside that of the same figures about a level."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from qc.plan import Characteristic, DatedLimits
from qc.watch import Span
from qc.watch.changes import LevelCourse, WornCourse, course_of

PLAIN = Characteristic(id="od", name="OD", unit="mm")
WORN = PLAIN.model_copy(update={"wears_with": "die"})
TODAY = date(2026, 9, 1)
RATE = 0.002


@pytest.fixture
def drawn(points):
    """Thirty tubes on die D-1, then thirty on D-2: either climbs by 0.4 of its scatter a tube."""
    step = np.tile(np.arange(30), 2)
    values = 10.0 + 0.04 * step + 0.1 * np.random.default_rng(41).standard_normal(60)
    return points(values, tool=["D-1"] * 30 + ["D-2"] * 30, tool_count=[int(8 * n) for n in step])


def test_the_plan_says_which_course_a_series_runs(drawn):
    assert type(course_of(PLAIN, drawn)) is LevelCourse
    assert type(course_of(WORN, drawn)) is WornCourse


def test_wear_is_no_change_about_the_line_and_one_about_a_level(drawn):
    assert course_of(WORN, drawn).changes(RATE).signals == ()
    assert course_of(PLAIN, drawn).changes(RATE).signals != ()


def test_a_worn_series_is_cut_where_the_tool_was_fitted_and_each_part_has_a_line(drawn):
    first, second = course_of(WORN, drawn).stretches(())
    assert (first.first, first.last, second.first, second.last) == (1, 30, 31, 60)
    for part in (first, second):
        assert part.line_to - part.line_from == pytest.approx(0.04 * 29, abs=0.2)
    (whole,) = course_of(PLAIN, drawn).stretches(())
    assert whole.line_from is None


def test_limits_are_those_at_the_count_the_tool_has_come_to(drawn):
    worn, level = course_of(WORN, drawn), course_of(PLAIN, drawn)
    low, high = worn.limits(worn.present(()), RATE)
    assert (low + high) / 2 == pytest.approx(10.0 + 0.04 * 29, abs=0.1)
    flat = level.limits(level.present(()), RATE)
    assert flat[1] - flat[0] > 2 * (high - low)


def test_a_frozen_state_holds_for_its_own_fitting(drawn):
    serials = [p.serial for p in drawn]
    earlier = course_of(WORN, drawn, Span(serials[4], serials[19]))
    assert earlier.baseline == (5, 20) and earlier.frozen is None and "earlier fitting" in earlier.note()
    own = course_of(WORN, drawn, Span(serials[10], serials[49]))
    assert own.baseline == own.frozen == (31, 50) and "line through them" in own.note()
    level = course_of(PLAIN, drawn, Span(serials[4], serials[19]))
    assert level.frozen == (5, 20) and level.note() == ""


def test_only_wear_has_a_forecast_and_a_tool_to_suspect(small_plan, drawn):
    limits = DatedLimits(upper=12.0)
    told = course_of(WORN, drawn).forecast((), limits, small_plan)
    assert told.tool == "D-2" and told.change_by_count > 232
    assert course_of(PLAIN, drawn).forecast((), limits, small_plan) is None


def test_without_counts_it_is_judged_about_its_level(drawn):
    bare = tuple(replace(p, tool="", tool_count=None) for p in drawn)
    worn, level = course_of(WORN, bare), course_of(PLAIN, bare)
    raised = {s.point for s in worn.changes(RATE).signals}
    assert {s.point for s in level.changes(RATE).signals} <= raised
    assert worn.limits(worn.present(()), RATE) == level.limits(level.present(()), RATE)
    assert worn.note() == "" and worn.forecast((), DatedLimits(upper=12.0), None) is None


def test_a_new_tool_without_counts_is_measured_by_all_pieces_and_not_accused_of_a_line(small_plan, points):
    values = 10.0 + 0.1 * np.random.default_rng(7).standard_normal(90)
    values[40:] += 0.5
    bare = points(values, tool=["D-1"] * 40 + ["D-2"] * 50)
    worn, level = course_of(WORN, bare), course_of(PLAIN, bare)
    (found,), (same,) = worn.changes(RATE).signals, level.changes(RATE).signals
    assert (found.start, found.size_low, found.size_high) == (same.start, same.size_low, same.size_high)
    # Welch's interval of 40 against 50 pieces with a spread of 0.1: about 4 standard errors of 0.021 wide
    assert 0.06 < found.size_high - found.size_low < 0.12
    assert worn.own_suspect(found, small_plan) is None

"""Recursive residuals against an outside library, and what leaves one line."""

import numpy as np
import pytest
import statsmodels.api as sm

from qc.stats import StatisticsError, detect_wear, recursive_residuals
from qc.stats.wear.line import judge_line, named, step_of

COUNT = np.cumsum(np.random.default_rng(31).integers(1, 4, 60)).astype(float)
WORN = 12.0 + 0.003 * COUNT + np.random.default_rng(32).normal(0, 0.01, 60)
RATES = np.full(60, 0.001)


def test_agree_with_the_recursive_least_squares_of_a_general_library():
    model = sm.RecursiveLS(WORN, sm.add_constant(COUNT)).fit()
    theirs = model.resid_recursive[2:]
    assert recursive_residuals(COUNT, WORN) == pytest.approx(theirs, rel=1e-4, abs=1e-8)


def test_agree_with_refitting_the_line_each_time():
    ours = recursive_residuals(COUNT, WORN)
    for t in (2, 5, 30, 59):
        design = np.stack([np.ones(t), COUNT[:t]], axis=1)
        fitted = np.linalg.lstsq(design, WORN[:t], rcond=None)[0]
        new = np.array([1.0, COUNT[t]])
        scale = 1 + new @ np.linalg.inv(design.T @ design) @ new
        assert ours[t - 2] == pytest.approx((WORN[t] - new @ fitted) / scale**0.5, rel=1e-7)


def test_a_straight_line_far_from_the_origin_leaves_nothing():
    residuals = recursive_residuals(1e6 + COUNT, 1e4 + 0.5 * COUNT)
    assert np.abs(residuals).max() < 1e-6


def test_squares_add_up_to_the_residual_sum_of_squares():
    line = np.polyfit(COUNT, WORN, 1, full=True)
    assert (recursive_residuals(COUNT, WORN) ** 2).sum() == pytest.approx(line[1][0], rel=1e-8)


@pytest.mark.parametrize(
    "count, expected",
    [([], 0), ([3], 0), ([3, 3, 3], 0), ([1, 2], 0), ([1, 1, 2], 0), ([1, 1, 2, 3], 1), ([1, 2, 2], 1)],
)
def test_residuals_begin_once_there_is_a_line(count, expected):
    assert recursive_residuals(count, [5.0 + 0.1 * i for i in range(len(count))]).size == expected


def test_different_lengths_are_refused():
    with pytest.raises(StatisticsError, match="2 counts for 1 values"):
        recursive_residuals([1, 2], [1.0])


def test_a_line_that_holds_is_judged_to_its_end():
    line = judge_line(COUNT, WORN, RATES, None)
    assert line.signals == [] and line.left is None
    assert line.residuals[2:] == pytest.approx(recursive_residuals(COUNT, WORN))
    assert not line.residuals[:2].any()


def test_a_line_that_is_left_is_judged_no_further():
    value = WORN + np.where(np.arange(60) >= 35, 0.06, 0.0)
    line = judge_line(COUNT, value, RATES, None)
    assert line.signals[-1].start in (35, 36, 37)
    assert line.left == (line.signals[-1].confirmed or line.signals[-1].point)


def test_points_are_named_as_in_the_series_they_come_from():
    value = WORN + np.where(np.arange(60) >= 35, 0.06, 0.0)
    signal = detect_wear(COUNT, value)[0].detection.signals[0]
    moved = named(signal, range(100, 160))
    assert (moved.point, moved.start) == (signal.point + 100, signal.start + 100)
    assert moved.start_set == (signal.start_set[0] + 100, signal.start_set[1] + 100)


@pytest.mark.parametrize(
    "values, step",
    [([1.0, 1.1, 1.2, 1.2], 0.1), ([1.0, 1.1, 1.2], 0.1), ([1.0, 1.15, 1.45], None), ([1.0, 1.0], None)],
)
def test_a_step_shows_where_a_reading_or_a_gap_recurs(values, step):
    found = step_of(np.array(values))
    assert found == (None if step is None else pytest.approx(step))

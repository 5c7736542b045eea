"""Wear: recursive residuals against an outside library, and what is found beside the line."""

import numpy as np
import pytest
import statsmodels.api as sm

from qc.stats import StatisticsError, detect_wear, recursive_residuals

RANDOM = np.random.default_rng(31)
COUNT = np.cumsum(RANDOM.integers(1, 4, 60)).astype(float)
WORN = 12.0 + 0.003 * COUNT + RANDOM.normal(0, 0.01, 60)


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


def test_ordinary_wear_is_no_signal():
    found = detect_wear(COUNT, WORN)
    assert len(found) == 1
    assert found[0].detection.signals == ()
    assert (found[0].first, found[0].last) == (1, 60)


def test_a_jump_off_the_line_is_found_and_measured_beside_the_line():
    value = WORN + np.where(np.arange(60) >= 35, 0.06, 0.0)
    signal = detect_wear(COUNT, value)[0].detection.signals[0]
    assert signal.kind == "shift"
    assert abs(signal.start - 36) <= 1
    assert signal.point >= 36
    assert signal.size_interval[0] <= 0.06 <= signal.size_interval[1]


def test_faster_wear_late_in_life_is_found():
    value = WORN + 0.0015 * np.maximum(COUNT - COUNT[34], 0)
    signals = detect_wear(COUNT, value)[0].detection.signals
    assert signals and signals[0].side == "above"
    assert signals[0].point > 35


def test_a_tool_change_starts_a_new_stretch_and_is_no_signal():
    count = np.concatenate([COUNT[:30], COUNT[:30]])
    value = np.concatenate([WORN[:30], WORN[:30] + 0.4])
    tool = ["a"] * 30 + ["b"] * 30
    found = detect_wear(count, value, tool)
    assert [(f.tool, f.first, f.last) for f in found] == [("a", 1, 30), ("b", 31, 60)]
    assert all(f.detection.signals == () for f in found)
    value[50:] += 0.08
    late = detect_wear(count, value, tool)[1].detection.signals[0]
    assert abs(late.start - 51) <= 1


def test_points_count_in_the_whole_series():
    value = WORN + np.where(np.arange(60) >= 35, 0.06, 0.0)
    alone = detect_wear(COUNT, value)[0].detection
    count = np.concatenate([[1.0, 2.0, 3.0], COUNT])
    after = detect_wear(count, np.concatenate([[1.0, 1.1, 1.2], value]), ["x"] * 3 + ["y"] * 60)[1].detection
    assert [s.start + 3 for s in alone.signals] == [s.start for s in after.signals]
    assert [s.point + 3 for s in alone.signals] == [s.point for s in after.signals]
    assert after.stretches[0].first == alone.stretches[0].first + 3
    assert len(alone.scores) == 60


def test_coarse_readings_on_a_slope_keep_quiet():
    signals = 0
    random = np.random.default_rng(32)
    for _ in range(150):
        value = np.round(0.02 * np.arange(60) + random.normal(0, 0.5, 60))
        signals += len(detect_wear(np.arange(60), value, false_alarm_rate=0.002)[0].detection.signals)
    # 150 x 58 points at 0.002 give about 17; three standard errors above that is 30
    assert signals <= 30


def test_plain_values():
    record = detect_wear(COUNT, WORN, ["a"] * 60)[0].to_dict()
    assert record["tool"] == "a" and record["detection"]["n"] == 60


@pytest.mark.parametrize(
    "count, value, tool, words",
    [
        ([1, 2], [1.0], None, "2 counts for 1 values"),
        ([1, float("nan")], [1.0, 2.0], None, "point 2"),
        ([1, 2], [1.0, 2.0], ["a"], "1 tool names for 2 values"),
    ],
)
def test_refusals_name_what_is_wrong(count, value, tool, words):
    with pytest.raises(StatisticsError, match=words):
        detect_wear(count, value, tool)

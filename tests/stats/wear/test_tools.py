"""Wear: what is found beside the line of each tool, and how often where there is nothing."""

import numpy as np
import pytest

from qc.stats import StatisticsError, detect_wear, wear_break

COUNT = np.cumsum(np.random.default_rng(31).integers(1, 4, 60)).astype(float)
WORN = 12.0 + 0.003 * COUNT + np.random.default_rng(32).normal(0, 0.01, 60)
RARE = 1e-5  # no false alarm in the way of what is looked at


def test_ordinary_wear_is_no_signal():
    found = detect_wear(COUNT, WORN, false_alarm_rate=RARE)
    assert len(found) == 1
    assert found[0].detection.signals == ()
    assert (found[0].first, found[0].last) == (1, 60)


@pytest.mark.slow
def test_a_jump_off_the_line_is_found_and_measured_beside_the_line(rng, at_least):
    starts, sizes = [], []
    for _ in range(100):
        value = 12.0 + 0.003 * COUNT + rng.normal(0, 0.01, 60) + np.where(np.arange(60) >= 35, 0.08, 0.0)
        signal = next(s for s in detect_wear(COUNT, value)[0].detection.signals if s.point > 35)
        starts.append(signal.start_set[0] <= 36 <= signal.start_set[1])
        sizes.append(signal.size_interval[0] <= 0.08 <= signal.size_interval[1])
    assert at_least(0.90, starts) and at_least(0.95, sizes)


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


@pytest.mark.slow
def test_coarse_readings_on_a_slope_keep_quiet():
    signals = 0
    random = np.random.default_rng(32)
    for _ in range(150):
        value = np.round(0.02 * np.arange(60) + random.normal(0, 0.5, 60))
        signals += len(detect_wear(np.arange(60), value, false_alarm_rate=0.002)[0].detection.signals)
    # 150 x 58 points at 0.002 give about 17; three standard errors above that is 30
    assert signals <= 30


@pytest.mark.slow
def test_a_bend_is_found_sooner_than_by_the_residuals_alone():
    random = np.random.default_rng(33)
    found = []
    for _ in range(60):
        value = random.normal(0, 1, 70) + 0.2 * np.maximum(np.arange(70) - 39, 0)
        signals = detect_wear(np.arange(70), value, false_alarm_rate=0.0006)[0].detection.signals
        found.append(next((s.point for s in signals if s.point > 40), 71) - 40)
    # on recursive residuals alone the median was 15 (1500 draws), with the bend of the line 13
    assert np.median(found) <= 14


@pytest.mark.slow
def test_a_straight_line_is_left_alone_at_the_rate_asked_for():
    random = np.random.default_rng(34)
    raised = sum(
        len(detect_wear(np.arange(60), random.normal(0, 1, 60), false_alarm_rate=0.01)[0].detection.signals)
        for _ in range(150)
    )
    # 150 x 60 points at 0.01 give 90 signals at 1.0; a standard error is 9.5
    assert 0.5 * 90 <= raised <= 1.2 * 90 + 10


def test_a_signal_is_placed_on_the_readings_as_wear_break_places_it():
    value = WORN + 0.0025 * np.maximum(COUNT - COUNT[34], 0)
    signal = detect_wear(COUNT, value)[0].detection.signals[0]
    alone = wear_break(COUNT[: signal.point], value[: signal.point])
    assert (signal.start, signal.start_set, signal.size) == (alone.start, alone.start_set, alone.size)
    assert signal.kind == ("shift" if alone.form == "jump" else "trend")


@pytest.mark.slow
def test_after_a_signal_a_new_line_is_laid_and_keeps_quiet():
    """The first line would be bent by the jump, and everything after it would stand off."""
    more = 0
    for seed in range(60):
        noise = np.random.default_rng(seed).normal(0, 0.01, 60)
        value = 12.0 + 0.003 * COUNT + noise + np.where(np.arange(60) >= 20, 0.08, 0.0)
        more += len(detect_wear(COUNT, value, false_alarm_rate=0.0005)[0].detection.signals) > 1
    # 60 x 60 points at 0.0005 give 1.8 false ones
    assert more <= 6


def test_one_piece_apart_does_not_bend_the_line_of_those_that_follow():
    value = WORN.copy()
    value[20] += 0.3
    signals = detect_wear(COUNT, value, false_alarm_rate=0.0005)[0].detection.signals
    assert [(s.kind, s.point) for s in signals] == [("single", 21)]


def test_a_first_piece_that_seemed_alone_belongs_to_the_change_that_follows(rng):
    value = 12.0 + 0.003 * COUNT + rng.normal(0, 0.01, 60) + np.where(np.arange(60) >= 35, 0.2, 0.0)
    signals = detect_wear(COUNT, value, false_alarm_rate=RARE)[0].detection.signals
    assert [(s.kind, s.point, s.start) for s in signals] == [("shift", 36, 36)]
    assert signals[0].confirmed == 37


def test_evidence_is_given_for_each_piece():
    detection = detect_wear(COUNT, WORN)[0].detection
    judged = [(s, t) for s, t in zip(detection.scores, detection.thresholds, strict=True) if s is not None]
    assert len(judged) > 50
    assert all(score <= threshold for score, threshold in judged)


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

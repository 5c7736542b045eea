"""Pieces held against a line that was settled before."""

import numpy as np
import pytest
import statsmodels.api as sm

from qc.stats import StatisticsError, detect_settled_line
from qc.stats.wear.bends import bend_threshold
from qc.stats.wear.settled_line import level_threshold

SETTLED = 30
RARE = 1e-5  # no false alarm in the way of what is looked at

COUNT = np.cumsum(np.random.default_rng(83).integers(1, 3, 60)).astype(float)
WORN = 14.9 + 0.0001 * COUNT + np.random.default_rng(84).normal(0, 0.0025, 60)


def test_the_line_goes_on_and_nothing_is_said():
    assert detect_settled_line(COUNT, WORN, SETTLED, false_alarm_rate=RARE) == ()


def test_one_piece_is_judged_by_the_prediction_interval_of_a_general_library():
    value = WORN[: SETTLED + 1].copy()
    value[-1] += 0.02
    (signal,) = detect_settled_line(COUNT[: SETTLED + 1], value, SETTLED)
    fit = sm.OLS(value[:-1], sm.add_constant(COUNT[:SETTLED])).fit()
    ahead = fit.get_prediction([[1.0, COUNT[SETTLED]]])
    frame = ahead.summary_frame(alpha=0.05)
    assert signal.kind == "single" and signal.point == SETTLED + 1
    assert signal.size == pytest.approx(value[-1] - frame["mean"].iloc[0])
    half = (frame["obs_ci_upper"] - frame["obs_ci_lower"]).iloc[0] / 2
    assert signal.size_interval[1] - signal.size == pytest.approx(half)


@pytest.mark.slow
def test_a_jump_and_a_bend_are_told_from_the_frozen_line(rng, at_least):
    sizes = []
    for _ in range(100):
        straight = 14.9 + 0.0001 * COUNT + rng.normal(0, 0.0025, 60)
        jump = straight + 0.03 * (np.arange(60) >= 42)
        signal = detect_settled_line(COUNT, jump, SETTLED, false_alarm_rate=RARE)[0]
        assert abs(signal.start - 43) <= 1 and signal.side == "above"
        if signal.kind == "shift":
            sizes.append(signal.size_interval[0] < 0.03 < signal.size_interval[1])
        bend = straight - 0.004 * np.maximum(COUNT - COUNT[40], 0)
        signal = detect_settled_line(COUNT, bend, SETTLED, false_alarm_rate=RARE)[0]
        assert abs(signal.start - 42) <= 3 and signal.side == "below"
    assert len(sizes) > 90 and at_least(0.95, sizes)


def test_the_line_is_not_learned_from_the_pieces_that_follow():
    """A slow drift begins with the first piece after the frozen ones; no start lies among those."""
    drift = WORN + 0.0008 * np.maximum(COUNT - COUNT[SETTLED - 1], 0)
    signal = detect_settled_line(COUNT, drift, SETTLED, false_alarm_rate=0.0005)[0]
    assert signal.start > SETTLED and signal.start_set[0] > SETTLED


def test_one_piece_apart_is_told_and_left_out():
    value = WORN.copy()
    value[40] += 0.03
    (signal,) = detect_settled_line(COUNT, value, SETTLED, false_alarm_rate=0.0005)
    assert (signal.kind, signal.point) == ("single", 41)


def test_two_in_a_row_are_no_single():
    value = WORN.copy()
    value[40:] += 0.03
    signal = detect_settled_line(COUNT, value, SETTLED, false_alarm_rate=0.0005)[0]
    assert (signal.kind, signal.point, signal.start, signal.confirmed) == ("shift", 41, 41, 42)


def test_scatter_that_widens_is_told():
    random = np.random.default_rng(84)
    told = 0
    for _ in range(20):
        sd = np.where(np.arange(60) < 36, 0.002, 0.006)
        found = detect_settled_line(
            COUNT, 14.9 + sd * random.normal(0, 1, 60), SETTLED, false_alarm_rate=0.005
        )
        told += "spread" in {signal.kind for signal in found}
    assert told >= 3, "others are raised as single pieces first"


def test_once_the_line_is_left_the_rest_is_judged_afresh():
    value = WORN + 0.02 * (np.arange(60) >= 35)
    signals = detect_settled_line(COUNT, value, SETTLED, false_alarm_rate=0.0005)
    assert len(signals) == 1
    value[52:] -= 0.03
    signals = detect_settled_line(COUNT, value, SETTLED, false_alarm_rate=0.0005)
    assert [s.side for s in signals] == ["above", "below"]
    assert abs(signals[1].start - 53) <= 1


@pytest.mark.slow
def test_far_beyond_the_settled_counts_the_doubt_of_the_line_keeps_it_quiet():
    """Few pieces make a line of which nobody knows the slope well; taken as known it would flood."""
    random = np.random.default_rng(82)
    raised = 0
    for _ in range(120):
        value = 0.05 * COUNT + random.normal(0, 1, 60)
        raised += len(detect_settled_line(COUNT, value, 10, false_alarm_rate=0.005))
    # 120 x 50 points at 0.005 give 30; three standard errors above that is 46
    assert raised < 46
    line = np.polyfit(COUNT[:10], value[:10], 1)
    assert abs(np.polyval(line, COUNT[-1]) - 0.05 * COUNT[-1]) > 0.5, "the extrapolated line is off by itself"


def test_thresholds_grow_as_the_rate_falls():
    assert level_threshold(1e-4) > level_threshold(1e-3) > bend_threshold(1e-3)


@pytest.mark.parametrize(
    "count, settled, words", [(COUNT, 3, "make no line"), (np.repeat([1.0, 2.0], 30), 20, "make no line")]
)
def test_too_little_for_a_line_is_refused(count, settled, words):
    with pytest.raises(StatisticsError, match=words):
        detect_settled_line(count, WORN, settled)

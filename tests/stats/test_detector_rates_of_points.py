"""A rate for each point, and a settled state that raises nothing, through every kind of detector."""

import numpy as np
import pytest

from qc.stats import StatisticsError, detect, detect_counts, detect_wear

STRICT, LOOSE = 1e-6, 0.02


def jumped(n=40, at=30, size=2.0, seed=5):
    values = np.random.default_rng(seed).standard_normal(n)
    values[at:] += size
    return values


@pytest.mark.slow
def test_wear_is_judged_at_the_rate_of_each_point(rng):
    counts, late = np.arange(40.0), [0, 0]
    for _ in range(40):
        values = 0.1 * counts + rng.standard_normal(40) + 3.0 * (counts >= 30)
        loose = detect_wear(counts, values, false_alarm_rate=[LOOSE] * 40)
        assert loose == detect_wear(counts, values, false_alarm_rate=LOOSE)
        strict = detect_wear(counts, values, false_alarm_rate=[LOOSE] * 20 + [STRICT] * 20)
        for place, found in enumerate((loose, strict)):
            late[place] += any(s.point > 20 for s in found[0].detection.signals)
    # of 60 other draws 58 were found at the loose rate and 7 at the strict one
    assert late[0] > 34 and late[1] < 12
    with pytest.raises(StatisticsError, match="2 rates for 40 values"):
        detect_wear(counts, values, false_alarm_rate=[0.01, 0.01])


def test_counts_are_judged_at_the_rate_of_each_point():
    counts = [1, 0, 2, 1, 0, 1, 1, 0, 1, 2, 0, 1, 1, 5, 5, 4]
    one = detect_counts(counts, false_alarm_rate=0.01)
    assert detect_counts(counts, false_alarm_rate=[0.01] * 16) == one
    assert one.signals and not detect_counts(counts, false_alarm_rate=[0.01] * 13 + [STRICT] * 3).signals
    with pytest.raises(StatisticsError, match="1 rates for 16 values"):
        detect_counts(counts, false_alarm_rate=[0.01])


@pytest.mark.parametrize("shape", ["normal", "positive", "any"])
def test_a_settled_state_raises_nothing_and_is_what_later_points_are_compared_with(shape):
    values = np.exp(
        0.1 * np.concatenate([jumped(40, 20, 6.0), jumped(20, 0, 6.0, 8), jumped(20, 0, -3.0, 9)])
    )
    free = detect(values, false_alarm_rate=0.004, shape=shape)
    assert free.signals[0].point < 40
    settled = detect(values, false_alarm_rate=0.004, shape=shape, settled=40)
    assert all(s.point > 40 for s in settled.signals)
    assert settled.signals, "the fall after piece 60 leaves the settled state"
    assert settled.scores[:40] == (None,) * 40


def test_settled_counts():
    counts = [9, 8, 9, 0, 1, 0, 1, 0, 1, 0] + [0, 1, 0, 1] + [9, 9, 9, 8]
    assert any(s.point <= 10 for s in detect_counts(counts, false_alarm_rate=0.004).signals)
    found = detect_counts(counts, false_alarm_rate=0.02, settled=10)
    assert [s for s in found.signals if s.point <= 10] == []


def test_a_settled_state_does_not_change_what_comes_after_a_steady_start():
    values = jumped()
    free = detect(values, false_alarm_rate=0.004)
    assert detect(values, false_alarm_rate=0.004, settled=20).signals == free.signals

"""The step of the gauge seen in the readings, and when `positive` falls back on ranks."""

import numpy as np
import pytest

from qc.stats import detect

RARE = 1e-5  # no false alarm in the way of what is looked at


@pytest.mark.parametrize(
    "values, step",
    [
        ([1.0, 2.3, 3.1, 4.7], None),
        ([1.0, 2.0, 4.5, 9.0], None),
        ([1.0, 1.0, 2.0, 4.5], 1.0),
        ([1.0, 1.5, 2.0, 7.0], 0.5),
        ([0.1, 0.2, 0.3, 0.1 + 0.2], 0.1),
        ([5.0, 5.0, 5.0, 5.0], None),
    ],
    ids=[
        "all gaps differ",
        "no gap recurs",
        "a reading recurs",
        "a gap recurs",
        "rounding is no step",
        "constant",
    ],
)
def test_step_seen_in_the_readings(values, step):
    found = detect(values).resolution
    assert found is None if step is None else found == pytest.approx(step)


def test_a_given_step_is_kept():
    assert detect([1.0, 1.0, 1.5], resolution=0.25).resolution == 0.25


def test_the_step_is_remembered_after_a_signal(rng):
    values = [*np.round(rng.normal(0, 1, 30), 1), *np.round(rng.normal(9, 1, 4), 1)]
    found = detect(values, false_alarm_rate=RARE)
    assert found.signals[0].kind == "shift"
    assert found.resolution == pytest.approx(0.1)


def test_without_the_step_a_coarse_gauge_would_cry_wolf():
    # what the floor is for: a handful of equal readings, then one a single step away
    values = [7.0, 7.0, 7.0, 7.0, 7.5]
    assert detect(values).signals == ()
    assert detect(values, resolution=1e-6).signals != (), (
        "told of a fine gauge, the same readings are a signal"
    )


def test_ties_do_not_matter_to_the_score_when_the_step_is_fine(rng):
    values = rng.normal(0, 1, 40)
    fine, rounded = detect(values).scores, detect(np.round(values, 4)).scores
    assert rounded[10:] == pytest.approx(fine[10:], abs=0.01)


def test_positive_is_normal_on_logarithms(rng):
    values = np.exp(rng.normal(2, 0.3, 50))
    assert detect(values, shape="positive").scores[5:] == pytest.approx(
        detect(np.log(values)).scores[5:], abs=1e-9
    )


def test_positive_does_not_mind_the_unit(rng):
    values = np.round(np.exp(rng.normal(3, 0.4, 60)), 0) + 1
    one, other = detect(values, shape="positive"), detect(values * 25.4, shape="positive")
    assert other.scores[5:] == pytest.approx(one.scores[5:], abs=1e-6)
    assert other.judged_by_ranks == one.judged_by_ranks


def test_a_zero_turns_positive_to_ranks_while_it_is_in_the_stretch(rng):
    values = np.exp(rng.normal(2, 0.3, 40))
    values[20] = 0.0
    found = detect(values, shape="positive", false_alarm_rate=RARE)
    assert found.judged_by_ranks == 20
    by_ranks = detect(values, shape="any", false_alarm_rate=RARE)
    assert found.scores[25:] == pytest.approx(by_ranks.scores[25:], abs=1e-12)
    assert found.thresholds[25:] == by_ranks.thresholds[25:]


def test_a_level_under_three_steps_turns_positive_to_ranks():
    values = np.tile([1.0, 2.0, 3.0, 2.0], 8)
    assert detect(values, shape="positive", resolution=1.0).judged_by_ranks == len(values) - 3
    assert detect(values * 4, shape="positive", resolution=1.0).judged_by_ranks == 0

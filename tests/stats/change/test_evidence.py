"""Start sets and sizes: coverage by simulation, and figures that stay finite."""

import json
import math

import numpy as np
import pytest
from scipy import stats

from qc.stats import detect, detect_many
from qc.stats.change.evidence import likeliest, weigh
from qc.stats.change.scan import LEVEL, SPREAD, TREND

RARE = 1e-5  # no false alarm in the way of what is looked at


def test_size_of_a_step_is_the_pooled_t_interval_when_the_start_is_clear(rng):
    values = np.concatenate([rng.normal(0, 0.01, 12), rng.normal(5, 0.01, 8)])
    found = weigh(values, values, LEVEL, 12, 0.0, "normal")
    assert found.split_set == (12, 12)
    theirs = stats.ttest_ind(values[12:], values[:12]).confidence_interval(0.95)
    assert found.size_interval == pytest.approx((theirs.low, theirs.high), rel=1e-9)
    assert found.size == pytest.approx(values[12:].mean() - values[:12].mean(), rel=1e-12)


def test_size_of_a_climb_is_its_height_at_the_last_piece(rng):
    values = np.concatenate([np.zeros(20), 0.5 * np.arange(1, 13)]) + rng.normal(0, 1e-3, 32)
    found = weigh(values, values, TREND, 20, 0.0, "normal")
    assert found.size == pytest.approx(6.0, abs=0.01)
    assert found.split_set[0] <= 20 <= found.split_set[1]


def test_size_of_a_spread_comes_with_the_interval_of_the_f_ratio(rng):
    values = np.concatenate([rng.normal(0, 1, 30), rng.normal(0, 3, 30)])
    found = weigh(values, values, SPREAD, 30, 0.0, "normal")
    before, after = values[:30].std(ddof=1), values[30:].std(ddof=1)
    low = before * (math.sqrt((after / before) ** 2 / stats.f.ppf(0.975, 29, 29)) - 1)
    assert found.size == pytest.approx(after - before, rel=1e-12)
    assert found.size_interval[0] == pytest.approx(low, rel=1e-9)
    assert found.size_sigma == pytest.approx(after / before - 1, rel=1e-12)


@pytest.mark.parametrize(
    "before, after, promised",
    # two fifths lower, the old level, which is taken as known, costs two in a hundred
    [pytest.param(1.0, 1.5, 0.95, id="rise"), pytest.param(1.5, 1.0, 0.93, id="fall")],
)
@pytest.mark.slow
def test_positive_sizes_are_in_the_unit_of_the_values(before, after, promised, rng):
    logarithms = rng.normal(0, 0.05, (3000, 50)) + np.repeat([before, after], [30, 20])
    truth = math.exp(after) - math.exp(before)
    held = []
    for found in detect_many(list(np.exp(logarithms)), shape="positive", false_alarm_rate=RARE):
        low, high = next(s for s in found.signals if s.point > 30).size_interval
        assert low * high > 0
        held.append(low <= truth <= high)
    # 3000 draws have a standard error of 0.004 to 0.005
    assert np.mean(held) == pytest.approx(promised, abs=3 * math.sqrt(promised * (1 - promised) / 3000))


def test_likeliest_holds_the_share_with_the_fewest():
    assert likeliest(np.log([0.5, 0.05, 0.3, 0.15]), 0.9).tolist() == [0, 2, 3]
    assert likeliest(np.log([1.0, 1e-9]), 0.9).tolist() == [0]
    assert likeliest(np.array([-1e6, -1e6 + 1]), 0.5).tolist() == [1]


@pytest.mark.parametrize("shape", ["normal", "any"])
def test_no_scatter_gives_finite_figures_that_json_can_hold(shape):
    found = detect([1.0] * 30 + [2.0] * 30, shape=shape)
    assert found.signals
    json.dumps(found.to_dict(), allow_nan=False)
    widened = detect([1.0] * 30 + [0.0, 3.0, -2.0, 4.0, 1.5, -3.0, 5.0, -4.0] * 3, shape=shape)
    json.dumps(widened.to_dict(), allow_nan=False)


@pytest.mark.slow
@pytest.mark.parametrize("size, after", [(2.0, 20), (1.5, 50)])
def test_start_sets_and_size_intervals_hold_the_truth_as_often_as_they_say(size, after, rng, at_least):
    values = rng.normal(0, 1, (2000, after + 50))
    values[:, after:] += size
    found = [one.signals[0] for one in detect_many(list(values)) if one.signals]
    signals = [signal for signal in found if signal.point > after]
    starts = [signal.start_set[0] <= after + 1 <= signal.start_set[1] for signal in signals]
    sizes = [signal.size_interval[0] <= size <= signal.size_interval[1] for signal in signals]
    assert at_least(0.90, starts) and at_least(0.95, sizes)


def test_a_single_that_lasts_is_measured_on_all_its_pieces(rng):
    values = np.concatenate([rng.normal(0, 1, 40), [9.0, 11.0]])
    signal = detect(values, false_alarm_rate=RARE).signals[0]
    assert signal.kind == "shift" and signal.confirmed == 42
    assert signal.size == pytest.approx(10.0 - values[:40].mean(), rel=1e-9)
    assert signal.size_interval[0] < signal.size < signal.size_interval[1]

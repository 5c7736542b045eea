"""One change of the mean: published data, an independent search and edge cases."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from qc.stats import StatisticsError, mean_change, mean_change_from_target

PUBLISHED = Path(__file__).parents[2] / "published"
NILE = json.loads((PUBLISHED / "changepoint_nile.json").read_text())
TARGET = json.loads((PUBLISHED / "changepoint_target.json").read_text())


def test_nile_flow_changed_after_1898():
    # Cobb 1978: the last year before the change is 1898
    found = mean_change(NILE["volume"])
    assert NILE["years"][0] + found.last_before - 1 == NILE["published"]["last_year_before"]
    expected = NILE["recomputed"]
    assert found.mean_before == pytest.approx(expected["mean_before"], rel=1e-9)
    assert found.mean_after == pytest.approx(expected["mean_after"], rel=1e-9)
    assert abs(found.statistic) == pytest.approx(expected["max_abs_t"], rel=1e-9)
    assert found.sd**2 * 98 == pytest.approx(expected["ss_within"], rel=1e-9)
    assert found.statistic < 0
    low, high = found.start_set
    assert low <= 29 <= high
    assert high - low < 12


def test_agrees_with_a_plain_search_over_all_splits():
    random = np.random.default_rng(5)
    for _ in range(30):
        series = random.normal(0, 1, 25) + np.where(np.arange(25) < random.integers(2, 23), 0, 1.5)
        t = [abs(stats.ttest_ind(series[k:], series[:k]).statistic) for k in range(2, 24)]
        found = mean_change(series)
        if 2 <= found.last_before <= 23:
            assert found.last_before == int(np.argmax(t)) + 2
            assert abs(found.statistic) == pytest.approx(max(t), rel=1e-9)


def test_origin_and_scale_move_only_the_means():
    random = np.random.default_rng(6)
    series = np.concatenate([random.normal(0, 1, 20), random.normal(2, 1, 20)])
    once, moved = mean_change(series), mean_change(1e4 - 3 * series)
    assert (moved.start, moved.start_set) == (once.start, once.start_set)
    assert moved.mean_after == pytest.approx(1e4 - 3 * once.mean_after, rel=1e-12)
    assert moved.statistic == pytest.approx(-once.statistic, rel=1e-8)


def test_set_of_starts_holds_the_truth_nine_times_in_ten():
    random = np.random.default_rng(7)
    held = 0
    for _ in range(600):
        after = int(random.integers(10, 40))
        series = random.normal(0, 1, 50) + np.where(np.arange(50) < after, 0.0, 1.5)
        low, high = mean_change(series).start_set
        held += low <= after + 1 <= high
    # the standard error at 0.9 is 0.012; the set is a run without gaps, so it holds a little more
    assert 0.87 <= held / 600 <= 0.98


@pytest.mark.parametrize("delta", [0.5, 1.5, 3.0])
def test_known_target_estimate_agrees_with_independent_simulation(delta):
    figures = TARGET["figures"][f"change-point MLE tau=100 delta={delta} mean tau_hat"]
    random = np.random.default_rng(8)
    starts = []
    while len(starts) < 2500:
        before = random.normal(0, 1, 100)
        # a false signal before the change is passed over: the chart is known to have been in order till then
        before = np.where(np.abs(before) > 3, random.normal(0, 0.9, 100), before)
        after = random.normal(delta, 1, 3000)
        last = int(np.flatnonzero(np.abs(after) > 3)[0])
        series = np.concatenate([before, after[: last + 1]])
        starts.append(mean_change_from_target(series, 0.0, sigma=1.0).last_before)
    off = np.abs(np.array(starts) - 100)
    for within, name in ((0, "P_exact"), (2, "P_within2"), (10, "P_within10")):
        share = float((off <= within).mean())
        assert share == pytest.approx(figures[name], abs=4 * np.sqrt(0.25 / 2500)), name


def test_known_target_may_have_changed_before_the_first_reading():
    found = mean_change_from_target([3.0, 3.1, 2.9], 0.0, sigma=1.0)
    assert (found.last_before, found.start) == (0, 1)
    assert found.statistic == pytest.approx(3.0 * 3**0.5)
    assert found.start_set[0] == 1
    assert mean_change_from_target([3.0, 3.1, 2.9], 0.0).start_set is None


def test_plain_values_for_json():
    record = mean_change([1.0, 1.1, 5.0, 5.1]).to_dict()
    assert json.loads(json.dumps(record)) == record


@pytest.mark.parametrize(
    "call, words",
    [
        (lambda: mean_change([1.0, 2.0]), "at least three"),
        (lambda: mean_change([2.0, 2.0, 2.0]), "equal"),
        (lambda: mean_change([2.0, float("nan"), 2.0]), "point 2"),
        (lambda: mean_change_from_target([], 0.0), "no values"),
        (lambda: mean_change_from_target([1.0], float("inf")), "target"),
        (lambda: mean_change_from_target([1.0], 0.0, sigma=0.0), "sigma"),
    ],
)
def test_refusals_name_what_is_wrong(call, words):
    with pytest.raises(StatisticsError, match=words):
        call()

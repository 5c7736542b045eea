"""Times between rare faults: rates of the limits by closed form and by simulation."""

import math

import numpy as np
import polars as pl
import pytest
from scipy import stats

from qc.stats.charts.rare import time_between, time_between_table
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers.baseline import Baseline
from qc.stats.numbers.limits import THREE_SIGMA_RATE, LimitRule
from qc.stats.numbers.setting import Setting

HALF = THREE_SIGMA_RATE / 2


def test_exponential_limits():
    chart = time_between([12.0, 30.0, 18.0], Setting(center=20.0))
    assert chart.lower == pytest.approx(stats.expon.ppf(HALF, scale=20))
    assert chart.upper == pytest.approx(stats.expon.isf(HALF, scale=20))
    assert chart.sigma == chart.center == 20.0


def test_geometric_limits():
    chart = time_between([40, 60, 50], units=True)
    share = 1 / 51  # of pieces with a fault, where 50 good ones lie between two
    assert chart.lower == stats.geom.ppf(HALF, share) - 1
    assert chart.upper == stats.geom.isf(HALF, share) - 1
    assert chart.sigma == pytest.approx(math.sqrt(50 * 51))


def test_prediction_limits_hold_their_rate():
    rng, count = np.random.default_rng(5), 6
    rule = LimitRule("prediction")
    times = rng.exponential(10, size=(60_000, count + 1))
    chart = time_between(times[0, :count], Setting(limits=rule))
    low, high = chart.lower / chart.center, chart.upper / chart.center
    ratio = times[:, count] / times[:, :count].mean(axis=1)
    outside = np.mean((ratio < low) | (ratio > high))
    assert abs(outside - THREE_SIGMA_RATE) < 4 * math.sqrt(THREE_SIGMA_RATE / len(ratio))


def test_scale():
    one, ten = time_between([1.0, 2.0, 3.0]), time_between([10.0, 20.0, 30.0])
    assert ten.upper == pytest.approx(10 * one.upper) and ten.lower == pytest.approx(10 * one.lower)


def test_baseline_and_series():
    chart = time_between([10.0, 20.0, 1000.0], Setting(baseline=Baseline(1, 2)))
    assert chart.center == 15.0
    frame = pl.DataFrame({"series": ["a", "a", "b"], "value": [10.0, 20.0, 0.0]})
    table = time_between_table(frame)
    assert list(table.charts()) == ["a"]
    assert "time above 0" in table.levels["reason"][1]


@pytest.mark.parametrize(
    "times, units, words",
    [
        ([1.0, -2.0], False, "cannot be negative"),
        ([0.0, 0.0], False, "mean time between faults is zero"),
        ([1.5, 2.0], True, "whole numbers"),
        ([], False, "at least 1"),
    ],
)
def test_bad_times(times, units, words):
    with pytest.raises(StatisticsError, match=words):
        time_between(times, units=units)


@pytest.mark.parametrize("setting", [Setting(limits=LimitRule("guaranteed")), Setting(sigma=2.0)])
def test_options_it_does_not_take(setting):
    with pytest.raises(StatisticsUsageError):
        time_between([1.0, 2.0], setting)

"""Runs test and autocorrelation against the handbook, certified values, statsmodels and simulation."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.sandbox.stats.runs import runstest_1samp
from statsmodels.tsa.stattools import acf

from qc.stats.errors import StatisticsError
from qc.stats.samples.dependence import (
    false_alarm_rate,
    lag_1_autocorrelation,
    moving_range_inflation,
    pooled_autocorrelation,
    runs_test,
)

CHECKS = json.loads((Path(__file__).parents[2] / "published/capability_checks.json").read_text("utf-8"))
LEW = np.array(CHECKS["B16"]["data"])  # NIST data file LEW, beam deflection


def ar1(rng, lag_1, rows, length):
    """Stationary first-order autoregressive series with unit variance."""
    out = np.empty((rows, length))
    out[:, 0] = rng.standard_normal(rows)
    for i in range(1, length):
        out[:, i] = lag_1 * out[:, i - 1] + math.sqrt(1 - lag_1**2) * rng.standard_normal(rows)
    return out


def test_runs_test_on_the_beam():
    """B16: NIST 1.3.5.13 prints Z 2.6938, p 0.007065."""
    found = runs_test(LEW)
    assert found.statistic == pytest.approx(CHECKS["B16"]["recomputed"]["Z"], abs=1e-9)
    assert found.statistic == pytest.approx(CHECKS["B16"]["published"]["Z"], abs=6e-5)
    assert found.p_value == pytest.approx(CHECKS["B16"]["published"]["p"], abs=6e-7)


@pytest.mark.parametrize("n", [6, 25, 101])
def test_runs_test_agrees_with_statsmodels(n):
    sample = np.random.default_rng(n).standard_normal(n)
    z, p_value = runstest_1samp(sample, cutoff="median", correction=False)
    found = runs_test(sample)
    assert (found.statistic, found.p_value) == pytest.approx((z, p_value))


def test_lag_1_is_certified():
    """B17: NIST StRD Lew, certified 15 digits (from memory)."""
    found = lag_1_autocorrelation(LEW)
    assert found.lag_1 == pytest.approx(CHECKS["B17"]["published"]["r1"], rel=1e-11)
    assert found.clear and found.n == 200
    assert found.bound == pytest.approx(1.96 / math.sqrt(200))
    assert found.lag_1 == pytest.approx(acf(LEW, nlags=1)[1], rel=1e-12)
    assert set(found.to_dict()) == {"lag_1", "bound", "clear", "n"}


def test_pooling_finds_what_one_short_series_cannot():
    rng = np.random.default_rng(21)
    for lag_1 in (0.0, 0.3):
        found = pooled_autocorrelation(list(ar1(rng, lag_1, 400, 20)))
        # the correction leaves about 4 lag_1 / n
        assert found.lag_1 == pytest.approx(lag_1, abs=4 / math.sqrt(8000) + 4 * lag_1 / 20)
        assert found.clear == (lag_1 > 0)
    alone = [lag_1_autocorrelation(row).clear for row in ar1(rng, 0.3, 300, 20)]
    assert np.mean(alone) < 0.5


def test_pooling_leaves_constant_series_out():
    varied = np.array([1.0, 3.0, 2.0, 5.0, 4.0])
    assert pooled_autocorrelation([varied, np.ones(5)]) == pooled_autocorrelation([varied])


def test_moving_range_limits_under_dependence_by_simulation():
    """The moving-range sigma is short by the stated factor, and the rate outside is the stated one."""
    rng = np.random.default_rng(2)
    series = ar1(rng, 0.4, 400, 1000)
    sigma = np.mean(np.abs(np.diff(series, axis=1))) / 1.1283791670955126
    assert 1 / sigma == pytest.approx(moving_range_inflation(0.4), rel=5e-3)
    rate = np.mean(np.abs(series) > 3 * sigma)
    assert rate == pytest.approx(false_alarm_rate(0.4), rel=0.05)
    assert false_alarm_rate(0.0) == pytest.approx(0.0026997960632602)


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.integers(-1000, 1000), min_size=4, max_size=40).filter(lambda x: len(set(x)) > 2),
    st.integers(-99, 99), st.sampled_from([0.25, 16.0]),
)  # fmt: skip
def test_shift_scale_and_reversal_change_nothing(numbers, shift, scale):
    moved = [scale * x + shift for x in numbers]
    here = lag_1_autocorrelation(numbers).lag_1
    assert lag_1_autocorrelation(moved).lag_1 == pytest.approx(here, abs=1e-9)
    assert lag_1_autocorrelation(numbers[::-1]).lag_1 == pytest.approx(here, abs=1e-9)
    assert -1.0 <= here <= 1.0
    if min(numbers) < np.median(numbers):
        assert runs_test(moved) == runs_test(numbers)


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: runs_test([1.0]), "runs test: value"),
        (lambda: runs_test([2.0, 2.0, 2.0]), "no reading lies below"),
        (lambda: runs_test([1.0, 2.0]), "2 readings are too few"),
        (lambda: lag_1_autocorrelation([1.0, 2.0]), "autocorrelation: value"),
        (lambda: lag_1_autocorrelation([1.0] * 5), "all readings are equal"),
        (lambda: pooled_autocorrelation([]), "no series given"),
        (lambda: pooled_autocorrelation([np.ones(5)]), "no series varies"),
        (lambda: pooled_autocorrelation([np.ones(2)]), "series 1"),
        (lambda: moving_range_inflation(1.0), "lag-1 coefficient is 1.0"),
        (lambda: false_alarm_rate(0.2, 0.0), "limit factor is 0.0"),
    ],
)
def test_bad_questions_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()

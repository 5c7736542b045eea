"""Normality and lag-1 correlation of many series against the same, written out for one."""

import math

import numpy as np
import pytest
from scipy import special, stats

from qc.stats.errors import StatisticsError
from qc.stats.samples.columns import anderson_darling_many, lag_1_many
from qc.stats.samples.dependence import lag_1_autocorrelation
from qc.stats.samples.distribution import anderson_darling


def ragged(rng, count, least, most):
    """Series of many lengths, levels and spreads, skewed ones among them."""
    series = []
    for row in range(count):
        z = rng.standard_normal(rng.integers(least, most))
        series.append(np.exp(z) if row % 5 == 0 else rng.normal(0, 1e4) + 10 ** rng.uniform(-2, 2) * z)
    return series


def plain_anderson_darling(values):
    """Statistic and p-value by a plain loop over the sorted readings (D'Agostino and Stephens 1986)."""
    n = values.size
    z = sorted(((values - values.mean()) / values.std(ddof=1)).tolist())
    total = 0.0
    for i in range(n):
        total += (2 * i + 1) * (special.log_ndtr(z[i]) + special.log_ndtr(-z[n - 1 - i]))
    a = (-n - total / n) * (1 + 0.75 / n + 2.25 / n**2)
    if a >= 0.6:
        return a, math.exp(1.2937 - 5.709 * a + 0.0186 * a * a)
    if a >= 0.34:
        return a, math.exp(0.9177 - 4.279 * a - 1.38 * a * a)
    if a >= 0.2:
        return a, 1 - math.exp(-8.318 + 42.796 * a - 59.938 * a * a)
    return a, 1 - math.exp(-13.436 + 101.14 * a - 223.73 * a * a)


@pytest.mark.parametrize("least, most", [(8, 90), (40, 41)])
def test_many_series_get_what_a_plain_loop_gives_one(least, most):
    series = ragged(np.random.default_rng(4), 120, least, most)
    sizes = np.array([one.size for one in series])
    statistic, p_value = anderson_darling_many(np.concatenate(series), sizes)
    lags = lag_1_many(np.concatenate(series), sizes)
    for row, one in enumerate(series):
        expected = plain_anderson_darling(one)
        assert (statistic[row], p_value[row]) == pytest.approx(expected, rel=1e-8, abs=1e-9)
        single = anderson_darling(one)
        assert (single.statistic, single.p_value) == pytest.approx((statistic[row], p_value[row]), rel=1e-9)
        assert lags[row] == pytest.approx(lag_1_autocorrelation(one).lag_1, rel=1e-9, abs=1e-10)


def test_statistic_agrees_with_scipy():
    values = np.random.default_rng(6).gamma(4.0, 1.0, 50)
    statistic, _ = anderson_darling_many(values, np.array([50]))
    plain = statistic[0] / (1 + 0.75 / 50 + 2.25 / 2500)
    z = (values - values.mean()) / values.std(ddof=1)
    # scipy's goodness of fit with the distribution known is the same sum
    expected = stats.goodness_of_fit(
        stats.norm, z, known_params={"loc": 0.0, "scale": 1.0}, statistic="ad", n_mc_samples=1, rng=1
    )
    assert plain == pytest.approx(expected.statistic, rel=1e-10)


def test_no_series_is_no_answer_and_no_error():
    statistic, p_value = anderson_darling_many(np.zeros(0), np.zeros(0, dtype=np.intp))
    assert statistic.size == p_value.size == lag_1_many(np.zeros(0), np.zeros(0, dtype=np.intp)).size == 0


@pytest.mark.parametrize(
    "values, sizes, said",
    [
        (np.arange(20.0), [8, 8], "20 readings given for series of 16"),
        (np.arange(15.0), [8, 7], "a series has 7 readings"),
        (np.r_[np.arange(8.0), np.ones(8)], [8, 8], "all readings of a series are equal"),
    ],
)
def test_bad_questions_are_named(values, sizes, said):
    with pytest.raises(StatisticsError, match=said):
        anderson_darling_many(values, np.array(sizes))

"""Exact limits of counts against the quantiles of scipy."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from qc.stats.charts.count_limits import binomial_limits, poisson_limits

HALF = stats.norm.sf(3)


@settings(max_examples=100, deadline=None)
@given(st.floats(0.001, 5000))
def test_poisson(mean):
    low, high = poisson_limits([mean])
    assert low[0] == stats.poisson.ppf(HALF, mean)
    assert high[0] == stats.poisson.ppf(1 - HALF, mean)


@settings(max_examples=100, deadline=None)
@given(st.integers(1, 2000), st.floats(0.0005, 0.9995))
def test_binomial(size, share):
    low, high = binomial_limits([size], [share])
    assert low[0] == stats.binom.ppf(HALF, size, share)
    assert high[0] == stats.binom.ppf(1 - HALF, size, share)


def test_edges():
    low, high = poisson_limits([0.0])
    assert (low.tolist(), high.tolist()) == ([0.0], [0.0])
    low, high = binomial_limits([10, 10], [0.0, 1.0])
    assert (low.tolist(), high.tolist()) == ([0.0, 10.0], [0.0, 10.0])


def test_another_rate():
    low, high = poisson_limits(np.array([9.0]), rate=0.2)
    assert (low[0], high[0]) == (stats.poisson.ppf(0.1, 9), stats.poisson.ppf(0.9, 9))

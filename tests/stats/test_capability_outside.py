"""Fraction outside the limits and its interval, against closed forms and simulation."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from qc.stats.capability_outside import fraction_outside, fraction_outside_interval
from qc.stats.errors import StatisticsError


def test_handbook_example():
    """NIST 6.1.6: mean 16, sd 2, limits 8 and 20; 22,781.8 in a million by the normal curve."""
    assert fraction_outside(16, 2, lower=8, upper=20) * 1e6 == pytest.approx(22781.80319, abs=1e-4)


@pytest.mark.parametrize("mean, sd, n", [(16, 2, 30), (14, 2, 30), (14, 6, 25), (9, 0.6, 40)])
def test_two_sided_interval_agrees_with_pivotal_simulation(mean, sd, n):
    rng = np.random.default_rng(3)
    draws = 400_000
    sigma = sd * np.sqrt((n - 1) / rng.chisquare(n - 1, draws))
    mu = mean + sigma / math.sqrt(n) * rng.standard_normal(draws)
    outside = special.ndtr((8 - mu) / sigma) + special.ndtr((mu - 20) / sigma)
    found = fraction_outside_interval(mean, sd, n, lower=8, upper=20)
    for value, level in zip(found, (0.025, 0.975), strict=True):
        assert np.mean(outside <= value) == pytest.approx(level, abs=4 * math.sqrt(0.025 * 0.975 / draws))


def test_one_sided_interval_is_the_noncentral_t():
    low, high = fraction_outside_interval(16, 2, 30, lower=None, upper=20)
    root = math.sqrt(30)
    for value, level in ((high, 0.975), (low, 0.025)):
        assert stats.nct.cdf(root * 2.0, 29, root * -special.ndtri(value)) == pytest.approx(level, abs=1e-9)
    far = fraction_outside_interval(16, 2, 30, lower=-1000, upper=20)
    assert far == pytest.approx((low, high), rel=1e-8)
    mirrored = fraction_outside_interval(-16, 2, 30, lower=-20, upper=None)
    assert mirrored == pytest.approx((low, high), rel=1e-12)


def test_interval_covers_in_simulation():
    """Two limits, 25 pieces, 2,000 samples: 95 % within 3 standard errors (0.0146)."""
    rng = np.random.default_rng(8)
    truth = fraction_outside(0.3, 1.0, lower=-2.2, upper=2.2)
    hits = 0
    for _ in range(2000):
        sample = 0.3 + rng.standard_normal(25)
        low, high = fraction_outside_interval(
            float(sample.mean()), float(sample.std(ddof=1)), 25, lower=-2.2, upper=2.2
        )
        hits += low <= truth <= high
    assert hits / 2000 == pytest.approx(0.95, abs=0.0146)


@settings(max_examples=40, deadline=None)
@given(st.floats(-30, 30), st.floats(0.01, 20), st.integers(3, 200))
def test_interval_is_ordered_holds_the_estimate_and_shifts(mean, sd, n):
    low, high = fraction_outside_interval(mean, sd, n, lower=-10, upper=10, confidence=0.99)
    assert 0.0 <= low <= high <= 1.0
    shifted = fraction_outside_interval(2 * mean + 5, 2 * sd, n, lower=-15, upper=25, confidence=0.99)
    assert shifted == pytest.approx((low, high), rel=1e-6, abs=1e-13)


def test_extremes_stay_finite():
    assert fraction_outside_interval(14, 0.001, 30, lower=8, upper=20) == (0.0, 0.0)
    low, high = fraction_outside_interval(1e6, 1.0, 30, lower=8, upper=20)
    assert low > 1 - 1e-9 and high == 1.0


@pytest.mark.parametrize(
    "arguments, said",
    [
        (dict(lower=None, upper=None), "no limit given"),
        (dict(lower=3, upper=3), "lower limit 3 is not below"),
        (dict(lower=1, upper=3, sd=0.0), "standard deviation is 0.0"),
        (dict(lower=1, upper=3, n=1), "1 pieces given"),
        (dict(lower=1, upper=3, confidence=1.0), "confidence is 1.0"),
    ],
)
def test_bad_questions_are_named(arguments, said):
    given = dict(mean=2.0, sd=1.0, n=20) | arguments
    with pytest.raises(StatisticsError, match=said):
        fraction_outside_interval(**given)

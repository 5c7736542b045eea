"""Fraction outside the limits and its interval, against closed forms and simulation."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, special, stats

from qc.stats.capable.outside import fraction_outside, fraction_outside_interval, fraction_outside_intervals
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
    samples = 0.3 + rng.standard_normal((2000, 25))
    low, high = fraction_outside_intervals(
        samples.mean(axis=1), samples.std(axis=1, ddof=1), np.full(2000, 25), lower=-2.2, upper=2.2
    )
    assert np.mean((low <= truth) & (truth <= high)) == pytest.approx(0.95, abs=0.0146)


def plain_chance(fraction, mean, sd, n, lower, upper):
    """Pivotal chance of at most this fraction: an integral over the true sd, the reach by bisection."""
    df, middle, half = n - 1, (upper + lower) / 2.0, (upper - lower) / 2.0

    def held(sigma):
        """Chance that the mean lies where at most the fraction is outside, given sigma."""
        a = half / sigma
        if 2.0 * special.ndtr(-a) >= fraction:
            return 0.0
        reach = optimize.brentq(
            lambda r: special.ndtr(r - a) + special.ndtr(-r - a) - fraction, 0.0, a + 40.0, xtol=1e-13
        )
        root = math.sqrt(n) / sigma
        return special.ndtr(root * (reach * sigma + middle - mean)) - special.ndtr(
            root * (-reach * sigma + middle - mean)
        )

    def part(w):
        """Density of the root of chi-square over df, times the chance held."""
        return 2.0 * df * w * stats.chi2.pdf(df * w * w, df) * held(sd / w)

    start = -special.ndtri(fraction / 2.0) * sd / half  # from here on a sigma can hold the fraction at all
    ends = [start, *np.sqrt(stats.chi2.ppf([1e-13, 0.05, 0.5, 0.95, 1 - 1e-13], df) / df)]
    cuts = sorted({end for end in ends if end >= start})
    return sum(
        integrate.quad(part, a, b, epsabs=1e-12, epsrel=1e-11, limit=200)[0]
        for a, b in zip(cuts, cuts[1:], strict=False)
    )


def test_many_samples_at_once_solve_the_same_integral():
    """Second route: the chance at each end, by plain adaptive quadrature, is that of the interval."""
    mean = np.array([10.0, 10.4, 9.1, 10.05, 7.0, 10.0])
    sd = np.array([0.25, 0.4, 1.5, 0.2, 0.5, 3.0])
    n = np.array([20, 45, 30, 300, 25, 60])
    low, high = fraction_outside_intervals(mean, sd, n, lower=9.0, upper=11.2)
    for ends, level in ((low, 0.025), (high, 0.975)):
        for row, fraction in enumerate(ends.tolist()):
            if 1e-12 < fraction < 1 - 1e-9:
                chance = plain_chance(fraction, mean[row], sd[row], int(n[row]), 9.0, 11.2)
                assert chance == pytest.approx(level, abs=1e-8)


@pytest.mark.parametrize("limits", [(9.0, 11.2), (None, 11.2), (9.0, None)])
def test_many_samples_at_once_are_each_its_own(limits):
    """1,300 samples, more than one batch: hopeless, perfect and usual ones, each as if it were alone."""
    rng = np.random.default_rng(12)
    mean, sd, n = rng.normal(10.0, 1.0, 1300), 10 ** rng.uniform(-2.0, 0.7, 1300), rng.integers(3, 300, 1300)
    low, high = fraction_outside_intervals(mean, sd, n, lower=limits[0], upper=limits[1])
    assert np.all((low >= 0) & (low <= high) & (high <= 1))
    for row in range(0, 1300, 13):
        alone = fraction_outside_interval(
            float(mean[row]), float(sd[row]), int(n[row]), lower=limits[0], upper=limits[1]
        )
        assert (low[row], high[row]) == pytest.approx(alone, rel=1e-9, abs=1e-14)


def test_degrees_of_freedom_of_their_own():
    plain = fraction_outside_intervals([16.0], [2.0], [30], lower=8.0, upper=20.0)
    wider = fraction_outside_intervals([16.0], [2.0], [30], lower=8.0, upper=20.0, df=[9.0])
    assert wider[0] < plain[0] < plain[1] < wider[1]
    assert fraction_outside_interval(16.0, 2.0, 30, lower=8.0, upper=20.0, df=9.0) == (wider[0], wider[1])


def test_samples_must_be_equally_many():
    with pytest.raises(StatisticsError, match="equally many"):
        fraction_outside_intervals([1.0, 2.0], [1.0, 1.0, 1.0], [20, 20], lower=0.0, upper=3.0)
    with pytest.raises(StatisticsError, match="2 dimensions"):
        fraction_outside_intervals([[1.0]], [[1.0]], [[20]], lower=0.0, upper=3.0)


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

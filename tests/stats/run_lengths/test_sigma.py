"""Distributions of an estimated sigma: moments of the matched chi, and how near it comes."""

import math

import numpy as np
import pytest
from scipy import stats

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.run_lengths.ranges import RangeEstimate, moving_range_variation
from qc.stats.run_lengths.sigma import SigmaEstimate, sigma_distribution, sigma_estimate


def test_chi_against_scipy():
    found, w = SigmaEstimate(7.0, 1.2), np.array([0.2, 1.0, 2.5])
    outside = stats.chi(7, scale=1.2 / math.sqrt(7))
    assert found.log_density(w) == pytest.approx(outside.logpdf(w), rel=1e-12)
    assert found.beyond(w) == pytest.approx(outside.sf(w), rel=1e-12)
    assert found.tail == pytest.approx(7 / 1.44)


def test_variation_of_the_mean_moving_range_by_simulation():
    rng = np.random.default_rng(1)
    ranges = np.abs(np.diff(rng.standard_normal((60_000, 12)), axis=1)).mean(axis=1)
    estimate = sigma_estimate(12, estimator="moving-range")
    chi = estimate.scale * np.sqrt(rng.chisquare(estimate.df, 60_000) / estimate.df)
    assert chi.mean() == pytest.approx(1.0, abs=0.004)
    assert chi.var() == pytest.approx((ranges / 1.1283791670955126).var(), rel=0.03)


@pytest.mark.parametrize("points", [2, 30, 5_000, 10**7, 10**12])
def test_matched_chi_has_the_variation_of_the_ranges(points):
    estimate = sigma_estimate(points, estimator="moving-range")
    df = estimate.df
    if df < 1e6:
        mean = math.exp(math.lgamma((df + 1) / 2) - math.lgamma(df / 2)) * math.sqrt(2 / df)
        assert estimate.scale * mean == pytest.approx(1.0, rel=1e-9)
        assert estimate.scale**2 - 1 == pytest.approx(moving_range_variation(points), rel=1e-6)
    else:
        assert 0.5 / df == pytest.approx(moving_range_variation(points), rel=1e-5)


def test_which_distribution_is_given():
    assert isinstance(sigma_distribution(30), SigmaEstimate)
    assert isinstance(sigma_distribution(30, estimator="moving-range"), RangeEstimate)
    assert isinstance(sigma_distribution(9, n=5, estimator="range"), RangeEstimate)
    assert isinstance(sigma_distribution(50_000, estimator="moving-range"), SigmaEstimate)


def test_matched_chi_comes_near_with_many_points():
    """Why ranges of more than 20,000 points may be taken as a chi: the difference falls with the points."""
    at = np.linspace(-3, 3, 25)

    def gap(points):
        w = 1 + at * math.sqrt(moving_range_variation(points))
        exact = sigma_distribution(points, estimator="moving-range").beyond(w)
        return np.abs(exact - sigma_estimate(points, estimator="moving-range").beyond(w)).max()

    few, more = gap(40), gap(1_200)
    assert more < few / 4
    assert more * math.sqrt(1_200 / 20_000) < 3e-4


@pytest.mark.parametrize(
    "call, error, said",
    [
        (lambda: sigma_estimate(1), StatisticsError, "1 points given"),
        (lambda: sigma_estimate(9, estimator="guess"), StatisticsUsageError, "'guess' is not known"),
        (lambda: sigma_distribution(9, n=2, estimator="moving-range"), StatisticsUsageError, "go with"),
        (lambda: sigma_distribution(9, n=101, estimator="range"), StatisticsUsageError, "go with"),
    ],
)
def test_bad_questions_are_named(call, error, said):
    with pytest.raises(error, match=said):
        call()

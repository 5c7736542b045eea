"""The exact distribution of mean ranges: closed forms, a plain integral, its own moments and simulation."""

import math

import numpy as np
import pytest
from scipy import integrate, special

from qc.stats.numbers.constants import d2, d3
from qc.stats.run_lengths.ranges import RangeEstimate, moving_range_variation, range_estimate

pytestmark = pytest.mark.xdist_group(
    "ranges"
)  # an estimate takes a second to make and is made once a process

AT = np.array([0.01, 0.1, 0.3, 0.7, 1.0, 1.6, 3.0, 6.0, 9.0, 17.0])


@pytest.mark.parametrize("estimate", [range_estimate(2), RangeEstimate(1, 2)], ids=["moving", "range"])
def test_two_readings_have_a_closed_form(estimate):
    """One range of two: |N(0, 2)| over d2, to ten digits out to 17 sigma (e^-90)."""
    s = AT * d2(2)
    density = -s * s / 4 - 0.5 * math.log(math.pi) + math.log(d2(2))
    assert estimate.log_density(AT) == pytest.approx(density, abs=1e-9)
    assert estimate.beyond(AT) == pytest.approx(2 * special.ndtr(-s / math.sqrt(2)), rel=1e-9)


@pytest.mark.parametrize("w", [0.05, 0.4, 1.0, 2.5, 7.0])
def test_three_points_by_a_plain_integral(w):
    """Two moving ranges: |a| + |b| of a normal pair with correlation -1/2."""
    unit = 2 * d2(2)
    s = w * unit

    def pair(a, b):
        return math.exp(-(a * a + a * b + b * b) / 3) / (2 * math.pi * math.sqrt(3))

    density, _ = integrate.quad(lambda a: 2 * (pair(a, s - a) + pair(a, a - s)), 0, s, epsabs=0, epsrel=1e-12)
    found = range_estimate(3).log_density(np.array([w]))[0]
    assert found == pytest.approx(math.log(density * unit), abs=1e-9)


@pytest.mark.parametrize("points, n", [(4, 1), (12, 1), (50, 1), (150, 1), (1, 5), (6, 3), (25, 5), (3, 100)])
def test_mass_mean_and_spread(points, n):
    estimate = range_estimate(points, n)
    spread = math.sqrt(moving_range_variation(points) if n == 1 else (d3(n) / d2(n)) ** 2 / points)
    nodes, weights = np.polynomial.legendre.leggauss(300)
    low, high = max(0.0, 1 - 12 * spread), 1 + 15 * spread
    w, weights = low + (high - low) * (nodes + 1) / 2, weights * (high - low) / 2
    mass = weights * np.exp(estimate.log_density(w))
    assert mass.sum() == pytest.approx(1.0, abs=1e-9)
    assert mass @ w == pytest.approx(1.0, abs=1e-9)
    assert mass @ (w - 1) ** 2 == pytest.approx(spread**2, rel=1e-8)
    assert estimate.beyond(np.array([1e-9]))[0] == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("points, n", [(4, 1), (12, 1), (50, 1), (1, 5), (25, 5)])
def test_density_joins_its_course_at_infinity(points, n):
    """The last panel ends where only the patterns of greatest variance are left."""
    found = range_estimate(points, n).log_density(np.array([16.0 - 1e-9, 16.0 + 1e-9]))
    assert found[0] == pytest.approx(found[1], abs=1e-4 * points)
    assert found[0] - found[1] < 1e-6 * abs(found[0])


def test_chances_by_simulation():
    rng = np.random.default_rng(3)
    draws, points = 100_000, 12
    ranges = np.abs(np.diff(rng.standard_normal((draws, points)), axis=1)).mean(axis=1) / d2(2)
    at = np.array([0.6, 0.8, 1.0, 1.3, 1.6])
    chance = range_estimate(points).beyond(at)
    for limit, expected in zip(at, chance, strict=True):
        error = math.sqrt(expected * (1 - expected) / draws)
        assert np.mean(ranges > limit) == pytest.approx(expected, abs=4 * error)


def test_range_and_mean_are_independent():
    """Basu's theorem, on which the double integral rests: no correlation with the mean or its square."""
    rng = np.random.default_rng(4)
    x = rng.standard_normal((50_000, 6))
    ranges = np.abs(np.diff(x, axis=1)).sum(axis=1)
    for function in (lambda m: m, lambda m: m * m):
        found = np.corrcoef(ranges, function(x.mean(axis=1)))[0, 1]
        assert abs(found) < 4 / math.sqrt(50_000)

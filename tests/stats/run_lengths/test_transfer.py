"""Moment generating functions of ranges against closed forms, moments and a plain double sum."""

import math

import numpy as np
import pytest
from scipy import special

from qc.stats.numbers.constants import d2, d3
from qc.stats.run_lengths.ranges import moving_range_variation
from qc.stats.run_lengths.transfer import moving_range_log_mgf, range_log_mgf


def mean(found):
    scale, mantissa = found
    return mantissa * np.exp(scale)


@pytest.mark.parametrize("zeta", [0.7, -3.0, 2.5, 0.3 + 4j, -5.0 + 30j, -40.0 + 200j])
@pytest.mark.parametrize("function", [moving_range_log_mgf, range_log_mgf])
def test_two_points_have_a_closed_form(function, zeta):
    """|N(0, 2)|: exp(zeta^2) erfc(-zeta), the Faddeeva function of -i zeta."""
    assert mean(function(np.array([zeta]), 2))[0] == pytest.approx(special.wofz(-1j * zeta), rel=1e-12)


@pytest.mark.parametrize("points", [3, 4, 9])
@pytest.mark.parametrize("zeta", [0.4, -1.5, 0.2 + 1.0j])
def test_walk_agrees_with_a_plain_sum(points, zeta):
    """Trapezium on a coarse grid, twice, the kink's error of second order taken out."""

    def plain(step):
        x = np.arange(-10.0, 10.0 + step / 2, step)
        phi = np.exp(-x * x / 2) / math.sqrt(2 * math.pi) * step
        kernel, value = np.exp(zeta * np.abs(x[:, None] - x)), np.ones(x.size)
        for _ in range(points - 1):
            value = kernel @ (phi * value)
        return phi @ value

    coarse, fine = plain(0.02), plain(0.01)
    assert mean(moving_range_log_mgf(np.array([zeta]), points))[0] == pytest.approx(
        (4 * fine - coarse) / 3, rel=2e-7
    )


@pytest.mark.parametrize("points", [5, 40, 700])
def test_slopes_at_zero_are_the_moments_of_the_moving_ranges(points):
    step = 1e-3 / math.sqrt(points)
    log = np.log(mean(moving_range_log_mgf(np.array([-step, 0.0, step]), points)))
    total = (points - 1) * d2(2)
    assert log[1] == pytest.approx(0.0, abs=1e-12)
    assert (log[2] - log[0]) / (2 * step) == pytest.approx(total, rel=1e-6)
    variance = (log[2] - 2 * log[1] + log[0]) / step**2
    assert variance == pytest.approx(moving_range_variation(points) * total**2, rel=1e-4)


@pytest.mark.parametrize("n", [2, 5, 25, 100])
def test_slopes_at_zero_are_the_moments_of_the_range(n):
    log = np.log(mean(range_log_mgf(np.array([-1e-3, 0.0, 1e-3]), n)))
    assert log[1] == pytest.approx(0.0, abs=1e-13)
    assert (log[2] - log[0]) / 2e-3 == pytest.approx(d2(n), rel=1e-6)
    assert math.sqrt((log[2] - 2 * log[1] + log[0]) / 1e-6) == pytest.approx(d3(n), rel=1e-5)


def test_the_settled_walk_is_a_power():
    """Beyond a few dozen steps each multiplies by the same number; the long way round gives the same."""
    zeta = np.array([0.05 + 0.02j])
    logs = [np.log(mean(moving_range_log_mgf(zeta, points)))[0] for points in (300, 301, 302)]
    assert logs[2] - logs[1] == pytest.approx(logs[1] - logs[0], abs=1e-12)

"""Tolerance and prediction factors against printed values, the definition and simulation."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, stats

from qc.stats.errors import StatisticsError
from qc.stats.numbers.radii import covering_radii, error_held, half_widths, sd_beyond, sd_density
from qc.stats.numbers.tolerance import (
    guaranteed_factor,
    howe_factor,
    natrella_factor,
    prediction_factor,
    tolerance_confidence,
    tolerance_factor,
)

PUBLISHED = Path(__file__).parents[2] / "published"
FACTORS = json.loads((PUBLISHED / "capability_tolerance_factors.json").read_text("utf-8"))
LIMITS = json.loads((PUBLISHED / "runlength_shewhart.json").read_text("utf-8"))["C9"]["recomputed"]
GRID = FACTORS["B13"]["recomputed"]["rows"]
NIST = FACTORS["B11"]["published"]  # NIST/SEMATECH e-Handbook 7.2.6.3: N 43, content .90, confidence .99


@pytest.mark.parametrize("n, content, confidence, k1, k2, howe", GRID)
def test_factors_agree_with_the_definition_grid(n, content, confidence, k1, k2, howe):
    assert tolerance_factor(n, content, confidence, sides=1) == pytest.approx(k1, abs=1e-9)
    assert tolerance_factor(n, content, confidence) == pytest.approx(k2, abs=1e-9)
    assert howe_factor(n, content, confidence) == pytest.approx(howe, abs=1e-9)


def test_factors_agree_with_the_nist_page():
    assert tolerance_factor(43, 0.90, 0.99, sides=1) == pytest.approx(NIST["k1_noncentral_t"], abs=2e-6)
    assert howe_factor(43, 0.90, 0.99) == pytest.approx(NIST["k2_Howe"], abs=2e-6)
    assert natrella_factor(43, 0.90, 0.99) == pytest.approx(NIST["k1_Natrella"], abs=2e-6)
    # erratum: a script beside the page prints 2.210167 as the exact factor, but asks another question
    assert tolerance_factor(43, 0.90, 0.99) == pytest.approx(2.22282517379, abs=1e-9)


def test_weight_of_guenther_brings_howe_nearer_to_the_exact_factor():
    exact = tolerance_factor(43, 0.90, 0.99)
    assert (
        abs(howe_factor(43, 0.90, 0.99, corrected=True) - exact)
        < abs(howe_factor(43, 0.90, 0.99) - exact) / 2
    )
    # erratum: the 0.9972 printed beside the page has the upper quantile, with n in place of n - 1
    n, quantile = 40, stats.chi2.ppf(0.95, 40)
    assert math.sqrt(1 + (n - 3 - quantile) / (2 * (n + 1) ** 2)) == pytest.approx(
        NIST["guenther_w_N40_a95"], abs=5e-5
    )


@pytest.mark.parametrize("chart, n, m, arl, confidence, factor, factor_c4", LIMITS["rows"])
def test_limits_adjusted_for_estimation_are_tolerance_factors(
    chart, n, m, arl, confidence, factor, factor_c4
):
    """C9: the factor for which the true run length is at least `arl` with `confidence` (values computed)."""
    df = m - 1 if n == 1 else m * (n - 1)
    assert guaranteed_factor(m, 1 / arl, confidence, df=df) == pytest.approx(factor, abs=1e-6)


TRADE = [  # content 0.9973; prediction, and 90 % sure, in sd; computed independently (T085 to T091)
    pytest.param(prediction_factor, (5, 0.9973), 7.2519, id="prediction from 5"),
    pytest.param(prediction_factor, (10, 0.9973), 4.294, id="prediction from 10"),
    pytest.param(prediction_factor, (20, 0.9973), 3.5323, id="prediction from 20"),
    pytest.param(prediction_factor, (30, 0.9973), 3.3346, id="prediction from 30"),
    pytest.param(guaranteed_factor, (10, 0.0027), 4.597, id="guaranteed from 10"),
    pytest.param(guaranteed_factor, (20, 0.0027), 3.922, id="guaranteed from 20"),
    pytest.param(guaranteed_factor, (30, 0.0027), 3.694, id="guaranteed from 30"),
    pytest.param(howe_factor, (20, 0.9973, 0.90), 3.9256, id="Howe from 20 (T092)"),
]


@pytest.mark.parametrize("factor, arguments, expected", TRADE)
def test_trade_values(factor, arguments, expected):
    assert factor(*arguments) == pytest.approx(expected, abs=5e-4)


@pytest.mark.parametrize(
    "n, content, confidence", [(2, 0.9973, 0.9), (3, 0.5, 0.5), (7, 0.99, 0.99), (60, 0.95, 0.95)]
)
def test_two_sided_factor_solves_the_double_integral(n, content, confidence):
    """Second route: adaptive integration over the mean, the radius as a noncentral chi-square quantile."""
    k = tolerance_factor(n, content, confidence)

    def held(z):
        radius = math.sqrt(stats.ncx2.ppf(content, 1, z * z)) if z else stats.norm.ppf((1 + content) / 2)
        return (
            stats.chi2.sf((n - 1) * (radius / k) ** 2, n - 1)
            * stats.norm.pdf(z * math.sqrt(n))
            * math.sqrt(n)
        )

    total, _ = integrate.quad(held, 0, 8.5 / math.sqrt(n), epsabs=1e-11, epsrel=1e-11, limit=200)
    assert 2 * total == pytest.approx(confidence, abs=1e-7)


def test_factors_keep_their_promise_in_simulation():
    rng = np.random.default_rng(11)
    draws, n = 200_000, 8
    mean, sd = rng.standard_normal(draws) / math.sqrt(n), np.sqrt(rng.chisquare(n - 1, draws) / (n - 1))
    error = 4 * math.sqrt(0.9 * 0.1 / draws)
    k = tolerance_factor(n, 0.95, 0.9)
    content = stats.norm.cdf(mean + k * sd) - stats.norm.cdf(mean - k * sd)
    assert np.mean(content >= 0.95) == pytest.approx(0.9, abs=error)
    k = tolerance_factor(n, 0.95, 0.9, sides=1)
    assert np.mean(stats.norm.cdf(mean + k * sd) >= 0.95) == pytest.approx(0.9, abs=error)
    k = prediction_factor(n, 0.9)
    assert np.mean(np.abs(rng.standard_normal(draws) - mean) <= k * sd) == pytest.approx(0.9, abs=error)
    k = prediction_factor(n, 0.9, sides=1, future=4)
    assert np.mean(rng.standard_normal(draws) / 2 - mean <= k * sd) == pytest.approx(0.9, abs=error)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(2, 400),
    st.floats(0.05, 0.99999),
    st.floats(0.05, 0.999),
    st.sampled_from([None, 1.5, 12.0, 900.0]),
)
def test_confidence_inverts_the_factor(n, content, confidence, df):
    k = tolerance_factor(n, content, confidence, df=df)
    assert tolerance_confidence(n, k, content, df=df) == pytest.approx(confidence, abs=1e-10)


@settings(max_examples=60, deadline=None)
@given(st.integers(2, 300), st.floats(0.3, 0.999), st.floats(0.6, 0.99), st.sampled_from([1, 2]))
def test_more_readings_less_factor(n, content, confidence, sides):
    if sides == 1 and content < 0.5:
        content = 1 - content
    here = tolerance_factor(n, content, confidence, sides=sides)
    assert tolerance_factor(n + 1, content, confidence, sides=sides) < here
    assert tolerance_factor(n, content, confidence + 0.005, sides=sides) > here
    assert tolerance_factor(n, content + 0.0005, confidence, sides=sides) > here


def test_factor_goes_to_the_normal_quantile():
    assert tolerance_factor(1e7, 0.9973, 0.5) == pytest.approx(stats.norm.ppf(0.99865), abs=1e-5)
    assert tolerance_factor(1e7, 0.95, 0.5, sides=1) == pytest.approx(stats.norm.ppf(0.95), abs=1e-5)
    assert prediction_factor(1e9, 0.95) == pytest.approx(1.959964, abs=1e-6)


@pytest.mark.parametrize("content, confidence", [(0.9973, 0.9), (0.95, 0.5), (0.9, 0.99)])
def test_factor_goes_on_to_the_normal_quantile_however_many_readings(content, confidence):
    """It used to drift from about 1e13 readings on; now its distance from the limit is the known one."""
    z, wanted = stats.norm.ppf(confidence), stats.norm.ppf([(1 + content) / 2, content])
    for n in (1e8, 1e10, 1e13, 1e16, 1e20, 1e30):
        two = tolerance_factor(n, content, confidence)
        assert two - wanted[0] == pytest.approx(wanted[0] * z / math.sqrt(2 * n), abs=12 / n + 1e-13)
        one = tolerance_factor(n, content, confidence, sides=1)
        expected = z * math.sqrt((1 + wanted[1] ** 2 / 2) / n)
        assert one - wanted[1] == pytest.approx(expected, abs=12 / n + 1e-13)
        if n < 1e20:
            found = tolerance_confidence(n, two, content)
            assert found == pytest.approx(confidence, abs=1e-9 + 2e-15 * math.sqrt(n))


@pytest.mark.parametrize("df", [1e4, 1e6, 1e9, 1e13, 1e23, 1e40, math.inf])
@pytest.mark.parametrize("n", [3, 20, 400])
def test_sharp_sd_beside_a_mean_that_errs(n, df):
    """Few means, a sigma long known: integrate over the sd instead, by the error the mean may have."""
    k = tolerance_factor(n, 0.9973, 0.9, df=df)

    def held(width):
        """Chance that the mean errs by no more than this half-width allows."""
        if width <= stats.norm.ppf(0.99865):
            return 0.0
        error = optimize.brentq(
            lambda z: stats.norm.cdf(width - z) - stats.norm.cdf(-width - z) - 0.9973, 0, width
        )
        return 2 * stats.norm.cdf(error * math.sqrt(n)) - 1

    if df > 1e15:
        assert held(k) == pytest.approx(0.9, abs=1e-9)
    else:
        spread = 1 / math.sqrt(2 * df)
        low, high = max(1 - 9 * spread, stats.norm.ppf(0.99865) / k), 1 + 9 * spread
        nodes, weights = np.polynomial.legendre.leggauss(80)
        t, weights = (nodes + 1) / 2, weights / 2  # ratio = low + (high - low) t^2: held() starts like a root
        ratio, scale = low + (high - low) * t * t, 2 * (high - low) * t
        if df < 1e9:
            density = stats.chi2.pdf(df * ratio**2, df) * 2 * df * ratio
        else:
            density = stats.norm.pdf(ratio, 1 - 0.25 / df, spread)
        total = weights @ (scale * density * [held(k * r) for r in ratio])
        assert total == pytest.approx(0.9, abs=1e-7)
    assert tolerance_confidence(n, k, 0.9973, df=df) == pytest.approx(0.9, abs=1e-9)


def test_half_widths_and_errors_invert_each_other():
    z = np.array([0.0, 1e-6, 0.3, 2.0])
    radius = half_widths(z, 0.99)
    assert stats.norm.cdf(radius - z) - stats.norm.cdf(-radius - z) == pytest.approx(np.full(4, 0.99))
    assert [error_held(1.0, 0.99, r) for r in radius[2:]] == pytest.approx(z[2:], abs=1e-9)
    nodes, weight = covering_radii(9.0, 0.99)
    assert weight.sum() == pytest.approx(1.0, abs=1e-12) and nodes.min() >= stats.norm.ppf(0.995)


def test_an_sd_that_counts_as_normal():
    ratio = np.array([0.9999, 1.0, 1.00005])
    assert sd_beyond(ratio, 1.01e8) == pytest.approx(stats.chi2.sf(1.01e8 * ratio**2, 1.01e8), abs=1e-4)
    slope = -(sd_beyond(ratio + 1e-7, 2e8) - sd_beyond(ratio - 1e-7, 2e8)) / 2e-7
    assert sd_density(ratio, 2e8) == pytest.approx(slope, rel=1e-3, abs=1e-3)
    assert sd_density(ratio, 50.0) == pytest.approx(stats.chi(50, scale=50**-0.5).pdf(ratio), rel=1e-10)


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: tolerance_factor(1, 0.9, 0.9), "1 readings given, at least 2"),
        (lambda: tolerance_factor(math.nan, 0.9, 0.9), "at least 2"),
        (lambda: tolerance_factor(5, 1.0, 0.9), "content is 1.0"),
        (lambda: tolerance_factor(5, 0.9, 0.0), "confidence is 0.0"),
        (lambda: tolerance_factor(5, 0.9, 0.9, sides=3), "sides is 3"),
        (lambda: tolerance_factor(5, 0.9, 0.9, df=0), "degrees of freedom 0"),
        (lambda: guaranteed_factor(5, 1.5), "false-alarm rate is 1.5"),
        (lambda: prediction_factor(5, math.nan), "coverage is nan"),
        (lambda: prediction_factor(5, 0.9, sides=0), "sides is 0"),
        (lambda: prediction_factor(5, 0.9, future=0), "0 further readings"),
        (lambda: tolerance_confidence(5, -1.0, 0.9), "factor k is -1.0"),
        (lambda: natrella_factor(3, 0.9, 0.99), "too few for this approximation"),
    ],
)
def test_bad_questions_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()

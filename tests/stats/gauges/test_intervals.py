"""Intervals of variance components: shared values, exact cases, coverage."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from qc.stats.errors import StatisticsError
from qc.stats.gauges.anova import crossed_design, one_person_design
from qc.stats.gauges.intervals import component_intervals, share_interval, sum_interval, variance_interval

PUBLISHED = json.loads((Path(__file__).parents[2] / "published/gauge_studies.json").read_text("utf-8"))
Y = np.array(PUBLISHED["E2"]["data"]["rows"])


def test_thermal_impedance_intervals():
    """E7: exact for repeatability, modified large sample for the gauge (method from memory)."""
    found = component_intervals(crossed_design(Y))
    expected = PUBLISHED["E7"]["recomputed"]
    assert found["repeatability"] == pytest.approx(expected["repeatability_var_CI"], rel=1e-9)
    assert found["gauge"] == pytest.approx(expected["grr_var_CI_MLS"], rel=1e-9)
    assert set(found) == {"repeatability", "person_part", "person", "part", "gauge", "total"}
    for low, high in found.values():
        assert 0.0 <= low < high


def test_variance_interval_by_chi_square():
    low, high = variance_interval(2.0, 7, 0.9)
    assert stats.chi2.sf(7 * 2.0 / low, 7) == pytest.approx(0.05)
    assert stats.chi2.cdf(7 * 2.0 / high, 7) == pytest.approx(0.05)


def test_difference_becomes_exact_when_one_side_is_known():
    """With an error that is practically known the bound is the exact chi-square one, shifted."""
    huge = 10_000_000
    low, high = sum_interval({"a": 1.0, "b": -1.0}, {"a": (5.0, 6), "b": (1.0, huge)})
    exact = variance_interval(5.0, 6)
    assert (low, high) == pytest.approx((exact[0] - 1.0, exact[1] - 1.0), rel=2e-3)


def test_lower_end_of_a_difference_is_zero_exactly_where_the_f_test_stands():
    """The bound of Ting and others crosses 0 when F equals its critical value."""
    f = float(stats.f.ppf(0.975, 4, 10))
    low, _ = sum_interval({"a": 0.5, "b": -0.5}, {"a": (f * 1.0001, 4), "b": (1.0, 10)})
    assert low == pytest.approx(0.0, abs=1e-3)
    low, _ = sum_interval({"a": 0.5, "b": -0.5}, {"a": (f * 1.2, 4), "b": (1.0, 10)})
    assert low > 0.01


@pytest.mark.parametrize(
    "weights", [{"a": 0.3, "b": 0.5, "c": 0.2}, {"a": 0.5, "b": -0.3}, {"a": 0.4, "b": 0.4, "c": -0.3}]
)
def test_sums_cover_in_simulation(weights):
    """Nominal 90 %: 3,000 draws, not under 0.885 and not over 0.96 (the method is a little wide)."""
    rng = np.random.default_rng(44)
    true, df = {"a": 8.0, "b": 3.0, "c": 1.0}, {"a": 4, "b": 9, "c": 20}
    target = sum(weight * true[s] for s, weight in weights.items())
    hits = 0
    for _ in range(3000):
        squares = {s: (true[s] * rng.chisquare(df[s]) / df[s], df[s]) for s in weights}
        low, high = sum_interval(weights, squares, 0.9)
        hits += low <= target <= high
    assert 0.885 <= hits / 3000 <= 0.96


def test_share_covers_in_simulation():
    """Gauge sd over total sd, one person, 8 parts twice: 95 % within 4 standard errors of 600 draws."""
    rng = np.random.default_rng(10)
    true = math.sqrt(0.2**2 / (1.0 + 0.2**2))
    hits = 0
    for i in range(600):
        y = rng.standard_normal((8, 1)) + 0.2 * rng.standard_normal((8, 2))
        low, high = share_interval(one_person_design(y), seed=i)
        hits += low <= true <= high
    assert hits / 600 == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / 600))


def test_share_does_not_feel_the_unit():
    assert share_interval(crossed_design(1000 * Y)) == pytest.approx(
        share_interval(crossed_design(Y)), rel=1e-9
    )


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: variance_interval(1.0, 0), "degrees of freedom is 0"),
        (lambda: variance_interval(1.0, 4, 1.0), "confidence is 1.0"),
        (lambda: sum_interval({"a": 0.0}, {"a": (1.0, 3)}), "no mean square"),
        (lambda: component_intervals(crossed_design(Y), 0.0), "confidence is 0.0"),
        (lambda: share_interval(crossed_design(Y), 2.0), "confidence is 2.0"),
    ],
)
def test_bad_questions_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()

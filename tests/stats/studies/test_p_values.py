"""P-values of the checks against exact cases, scipy, statsmodels and simulation."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.multitest import multipletests

from qc.stats.change.finished import mean_change, mean_change_from_target
from qc.stats.errors import StatisticsError
from qc.stats.samples.distribution import grubbs
from qc.stats.studies.p_values import (
    corrected_p_values,
    grubbs_p_value,
    lag_1_interval,
    mean_change_p_value,
    target_change_p_value,
)

PUBLISHED = Path(__file__).parents[2] / "published"
CHECKS = json.loads((PUBLISHED / "capability_checks.json").read_text("utf-8"))


def largest_changes(rng, rows, n):
    """Largest two-sample t, and largest change from 0 with known and unknown spread, of normal series."""
    x = rng.standard_normal((rows, n))
    k = np.arange(1, n)
    between = (n * np.cumsum(x, axis=1)[:, :-1] - k * x.sum(axis=1, keepdims=True)) ** 2 / (n * k * (n - k))
    share = between.max(axis=1) / ((x - x.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
    late = (np.cumsum(x[:, ::-1], axis=1) ** 2 / np.arange(1, n + 1)).max(axis=1)
    return np.sqrt((n - 2) * share / (1 - share)), np.sqrt(late), (x**2).sum(axis=1)


def test_grubbs_at_the_printed_critical_value():
    """B19, NIST 1.3.5.17.1: 2.032 is the one-sided 5 % point for 8 readings."""
    assert grubbs_p_value(CHECKS["B19"]["recomputed"]["crit"], 8, both_sides=False) == pytest.approx(0.05)
    printed = grubbs_p_value(CHECKS["B19"]["published"]["crit_one_sided_05"], 8, both_sides=False)
    assert printed == pytest.approx(0.05, abs=2e-4)


@pytest.mark.parametrize("n", [3, 8, 20, 120])
@pytest.mark.parametrize("side", ["both", "above"])
def test_grubbs_is_the_level_of_its_critical_value(n, side):
    for alpha in (0.1, 0.01, 1e-4):
        critical = grubbs(np.arange(n), side=side, alpha=alpha).critical
        assert grubbs_p_value(critical, n, both_sides=side == "both") == pytest.approx(alpha, rel=1e-6)


def test_grubbs_by_simulation():
    x = np.random.default_rng(31).standard_normal((40_000, 10))
    far = np.abs(x - x.mean(axis=1, keepdims=True)).max(axis=1) / x.std(axis=1, ddof=1)
    for level in (2.1, 2.4):
        share = np.mean(far > level)
        assert grubbs_p_value(level, 10) == pytest.approx(share, abs=4 * math.sqrt(share / 40_000))
    assert grubbs_p_value(9 / math.sqrt(10), 10) < 1e-50 and grubbs_p_value(2.9, 10) == 0.0
    assert grubbs_p_value(0.1, 10) == 1.0


def test_three_readings_are_exact():
    """Two splits are a circle: arcs within reach of two axes 60 degrees apart, added up by hand."""
    for t in (1.0, 2.0, 5.0, 25.452, 300.0):
        reach = math.acos(math.sqrt(t * t / (1 + t * t)))
        arcs = (
            2 * (2 * reach) * 2
            - 2 * max(0.0, 2 * reach - math.pi / 3)
            - 2 * max(0.0, 2 * reach - 2 * math.pi / 3)
        )
        assert mean_change_p_value(t, 3) == pytest.approx(min(1.0, arcs / (2 * math.pi)), rel=1e-9)


@pytest.mark.parametrize(
    "n, usual, rare", [(4, 1.05, 1.05), (10, 1.16, 1.11), (30, 1.42, 1.28), (120, 1.93, 1.73)]
)
def test_largest_t_by_simulation(n, usual, rare, rng):
    """Never below the true chance, and above it by no more than 300,000 other draws showed at 5 and 0.5 %."""
    rows = 30_000
    largest, known, squares = largest_changes(rng, rows, n)
    for share, most in ((0.05, usual), (0.005, rare)):
        for values, p_value in (
            (largest, lambda v: mean_change_p_value(v, n)),
            (known, lambda v: target_change_p_value(v, n)),
            (known / np.sqrt(squares), lambda v: target_change_p_value(v, n, 1.0)),
        ):
            bound = p_value(float(np.quantile(values, 1 - share)))
            error = 4 * math.sqrt(share / rows)
            assert share - error < bound < (share + error) * most


def test_one_reading_from_a_known_level_is_a_z_test():
    assert target_change_p_value(2.0, 1) == pytest.approx(2 * stats.norm.sf(2.0), rel=1e-9)


def test_two_readings_from_a_known_level_by_a_double_integral():
    """The last alone, or both together: axes 45 degrees apart in the plane of two normal readings."""
    c = 2.2
    normal = stats.multivariate_normal([0, 0], [[1, math.sqrt(0.5)], [math.sqrt(0.5), 1]])
    inside = normal.cdf([c, c]) - 2 * normal.cdf([c, -c]) + normal.cdf([-c, -c])
    assert target_change_p_value(c, 2) == pytest.approx(1 - inside, abs=1e-6)


def test_the_nile_is_beyond_doubt_and_a_signed_statistic_is_the_same():
    nile = json.loads((PUBLISHED / "changepoint_nile.json").read_text("utf-8"))
    found = mean_change(nile["volume"])
    assert abs(found.statistic) == pytest.approx(nile["recomputed"]["max_abs_t"])
    assert mean_change_p_value(found.statistic, 100) == mean_change_p_value(-found.statistic, 100) < 1e-9
    # Bonferroni's bound over the 99 splits is never smaller
    t = stats.t.sf(abs(found.statistic), 98)
    assert t < mean_change_p_value(found.statistic, 100) < 2 * 99 * t


def test_bounds_lie_between_one_split_and_bonferroni():
    for n in (5, 40, 400):
        for t in (2.5, 4.0, 6.0):
            one = 2 * stats.t.sf(t, n - 2)
            assert one < mean_change_p_value(t, n) <= min(1.0, (n - 1) * one) * (1 + 1e-9)


def test_extremes_stay_chances():
    assert mean_change_p_value(0.0, 10) == 1.0 and mean_change_p_value(math.inf, 10) == 0.0
    assert target_change_p_value(0.0, 10) == pytest.approx(1.0) and target_change_p_value(1e200, 10) == 0.0
    assert target_change_p_value(2.0, 5, 4.0) == 0.0  # the whole sum of squares in one change


@settings(max_examples=60, deadline=None)
@given(st.integers(3, 300), st.floats(0.0, 40.0), st.floats(0.0, 5.0))
def test_a_larger_statistic_is_never_less_clear(n, t, more):
    assert 0.0 <= mean_change_p_value(t + more, n) <= mean_change_p_value(t, n) + 1e-12
    assert 0.0 <= target_change_p_value(t + more, n) <= target_change_p_value(t, n) + 1e-12


def test_statistic_of_the_change_fits_its_p_value():
    """The p-value belongs to what `mean_change_from_target` gives, with and without a known spread."""
    x = np.random.default_rng(3).normal(0.4, 1.0, 25)
    plain = mean_change_from_target(x, 0.0)
    largest = max(abs(x[k:].sum()) / math.sqrt(25 - k) for k in range(25))
    assert abs(plain.statistic) == pytest.approx(largest)
    assert mean_change_from_target(x, 0.0, sigma=2.0).statistic == pytest.approx(plain.statistic / 2.0)


@pytest.mark.parametrize("n, rho, least, most", [
    (20, 0.0, 0.955, 0.98), (20, 0.6, 0.92, 0.95), (50, 0.3, 0.94, 0.965), (120, 0.6, 0.935, 0.955),
    (500, -0.4, 0.94, 0.96),
])  # fmt: skip
def test_interval_of_likeness_holds_the_truth(n, rho, least, most):
    """Coverage of 4,000 first-order autoregressive series; the standard error is 0.0035."""
    rng = np.random.default_rng(n)
    x = np.empty((4000, n))
    x[:, 0] = rng.standard_normal(4000)
    for i in range(1, n):
        x[:, i] = rho * x[:, i - 1] + math.sqrt(1 - rho**2) * rng.standard_normal(4000)
    away = x - x.mean(axis=1, keepdims=True)
    seen = (away[:, 1:] * away[:, :-1]).sum(axis=1) / (away**2).sum(axis=1)
    held = [low <= rho <= high for low, high in (lag_1_interval(float(r), n) for r in seen)]
    assert least - 0.011 < np.mean(held) < most + 0.011


def test_interval_of_likeness_solves_its_equation():
    for lag_1 in (-0.5, 0.0, 0.4):
        for rho in lag_1_interval(lag_1, 60):
            expected, sd = rho - (1 + 4 * rho) / 60, math.sqrt((1 - rho**2) / 60)
            assert abs(lag_1 - expected) / sd == pytest.approx(1.959964, rel=1e-6)
    assert lag_1_interval(0.95, 20)[1] == 1.0 and lag_1_interval(-0.95, 20)[0] == -1.0


def test_correction_agrees_with_statsmodels():
    rng = np.random.default_rng(8)
    for count in (1, 2, 9, 30):
        p_values = rng.random(count) ** 3
        expected = multipletests(p_values, method="holm")[1]
        assert corrected_p_values(p_values) == pytest.approx(expected, rel=1e-12)
    assert corrected_p_values([]) == []


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: grubbs_p_value(1.0, 2), "2 readings, at least 3"),
        (lambda: grubbs_p_value(-1.0, 9), "the statistic is -1.0"),
        (lambda: mean_change_p_value(1.0, 2), "2 readings, at least 3"),
        (lambda: mean_change_p_value(math.nan, 9), "the statistic is nan"),
        (lambda: target_change_p_value(1.0, 0), "0 readings, at least 1"),
        (lambda: target_change_p_value(1.0, 1, 2.0), "1 readings, at least 2"),
        (lambda: target_change_p_value(1.0, 9, 0.0), "sum of squares is 0.0"),
        (lambda: lag_1_interval(0.2, 9), "at least 10 are needed"),
        (lambda: lag_1_interval(1.2, 19), "must lie between -1 and 1"),
        (lambda: corrected_p_values([0.5, 1.5]), "must lie between 0 and 1"),
    ],
)
def test_bad_questions_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()

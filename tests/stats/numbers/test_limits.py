"""Limit factors against printed values, the tolerance table and simulation of what they promise."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers.limits import THREE_SIGMA_RATE, LimitRule

PUBLISHED = Path(__file__).parents[2] / "published"
C9 = json.loads((PUBLISHED / "runlength_shewhart.json").read_text("utf-8"))["C9"]["recomputed"]["rows"]
WORKED = json.loads((PUBLISHED / "charts_worked.json").read_text("utf-8"))
B10 = json.loads((PUBLISHED / "charts_check_standard.json").read_text("utf-8"))["B10"]


def test_textbook_is_three_sigma():
    assert LimitRule().factor() == pytest.approx(3.0, abs=1e-12)
    assert LimitRule().factor(5, 4) == pytest.approx(3.0, abs=1e-12)
    assert pytest.approx(2 * stats.norm.sf(3)) == THREE_SIGMA_RATE


def test_prediction_factor_of_five_pieces():
    expected = WORKED["T085"]["expected"] if "T085" in WORKED else 7.2519
    assert LimitRule("prediction").factor(5, 4) == pytest.approx(float(expected), abs=2e-3)


@pytest.mark.parametrize("chart, n, m, arl, confidence, on_sp, on_unbiased", C9)
def test_guaranteed_factors(chart, n, m, arl, confidence, on_sp, on_unbiased):
    df = m - 1 if chart == "individuals_S" else m * (n - 1)
    rule = LimitRule("guaranteed", confidence, 1 / arl)
    assert rule.factor(m, df) == pytest.approx(on_sp, abs=1e-5)


def test_trade_table_of_multipliers():
    """Multipliers of s for a two-sided 0.27 % rule, computed (trade notes 6.2)."""
    table = {5: (7.25, 6.24), 10: (4.29, 4.60), 20: (3.53, 3.92), 30: (3.33, 3.69), 100: (3.09, 3.32)}
    for n, (prediction, guaranteed) in table.items():
        assert LimitRule("prediction").factor(n, n - 1) == pytest.approx(prediction, abs=6e-3)
        assert LimitRule("guaranteed").factor(n, n - 1) == pytest.approx(guaranteed, abs=6e-3)


def test_guaranteed_limits_keep_their_promise():
    rng, n, rule = np.random.default_rng(11), 12, LimitRule("guaranteed", 0.9)
    sample = rng.normal(size=(20_000, n))
    mean, reach = sample.mean(axis=1), rule.factor(n, n - 1) * sample.std(axis=1, ddof=1)
    rate = stats.norm.cdf(mean - reach) + stats.norm.sf(mean + reach)
    kept = np.mean(rate <= THREE_SIGMA_RATE)
    assert abs(kept - 0.9) < 4 * math.sqrt(0.09 / len(rate))


def test_prediction_limits_hold_the_rate_on_average():
    rng, n = np.random.default_rng(12), 8
    rule = LimitRule("prediction", rate=0.05)
    sample = rng.normal(size=(40_000, n + 1))
    mean, sd = sample[:, :n].mean(axis=1), sample[:, :n].std(axis=1, ddof=1)
    outside = np.mean(np.abs(sample[:, n] - mean) > rule.factor(n, n - 1) * sd)
    assert abs(outside - 0.05) < 4 * math.sqrt(0.05 * 0.95 / len(sample))


@pytest.mark.parametrize("method", ["prediction", "guaranteed"])
def test_what_is_known_needs_no_allowance(method):
    rule = LimitRule(method)
    both = rule.factor(20, 19)
    center_known, sigma_known = rule.factor(math.inf, 19), rule.factor(20, math.inf)
    assert 3.0 < center_known < both and 3.0 < sigma_known < both
    assert rule.factor() == pytest.approx(3.0, abs=1e-12)
    # the closed forms join the general ones
    assert rule.factor(1e9, 19) == pytest.approx(center_known, rel=1e-6)
    assert rule.factor(20, 2000) == pytest.approx(sigma_known, rel=0.02)


def test_guaranteed_factor_for_a_known_sigma():
    """Only the mean is uncertain: the rate is at its promise when the mean errs by the 90 % quantile."""
    factor, error = LimitRule("guaranteed", 0.9).factor(20, math.inf), stats.norm.ppf(0.95) / math.sqrt(20)
    rate = stats.norm.sf(factor - error) + stats.norm.sf(factor + error)
    assert rate == pytest.approx(THREE_SIGMA_RATE, rel=1e-9)


def test_factor_falls_to_three_with_more_points():
    for method in ("prediction", "guaranteed"):
        found = [LimitRule(method).factor(n, n - 1) for n in (3, 5, 10, 30, 100, 1000)]
        assert all(a > b > 3 for a, b in zip(found, found[1:], strict=False))


def test_linear_calibration_control_limits():
    """NIST 2.3.7.1: control values on three standards; half width t* s / slope; signals 10, 11, 12."""
    given, data = B10["inputs"], B10["data"]["rows"]
    values = np.array([(y - given["intercept"]) / given["slope"] - x for _, _, x, y in data])
    assert values.std(ddof=1) == pytest.approx(B10["published"]["sd_of_control_values"], abs=5e-7)
    rate = 1 - (1 - given["alpha"]) ** (1 / given["m"])
    reach = (
        LimitRule("prediction", rate=rate).factor(math.inf, given["df"]) * given["resid_sd"] / given["slope"]
    )
    assert reach == pytest.approx(B10["recomputed"]["half_width"], abs=1e-6)
    assert [int(i) + 1 for i in np.flatnonzero(np.abs(values) > reach)] == B10["recomputed"]["signals"]


@pytest.mark.parametrize(
    "text, method, confidence",
    [
        ("textbook", "textbook", 0.9),
        ("prediction", "prediction", 0.9),
        ("guaranteed", "guaranteed", 0.9),
        ("guaranteed:0.95", "guaranteed", 0.95),
        ("guaranteed:80", "guaranteed", 0.8),
    ],
)
def test_reading_the_word(text, method, confidence):
    rule = LimitRule.parse(text)
    assert (rule.method, rule.confidence) == (method, confidence)


@pytest.mark.parametrize(
    "text", ["", "wide", "textbook:0.9", "guaranteed:0", "guaranteed:x", "guaranteed:2", "guaranteed:150"]
)
def test_words_that_are_not_known(text):
    with pytest.raises(StatisticsUsageError):
        LimitRule.parse(text)


@pytest.mark.parametrize("points, df", [(0, 4), (5, 0)])
def test_too_few_points(points, df):
    with pytest.raises(StatisticsError, match="at least two points"):
        LimitRule("guaranteed").factor(points, df)

"""A mean and an sd with intervals and tests: the handbook's examples, scipy, and coverage by simulation."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from qc.stats import StatisticsError, mean_and_sd

PUBLISHED = Path(__file__).parents[2] / "published"
GEARS = json.loads((PUBLISHED / "capability_checks.json").read_text("utf-8"))["B14"]["data"]["rows"]


def with_moments(mean, sd, count):
    """Readings with exactly this mean and sd."""
    scores = stats.norm.ppf((np.arange(count) + 0.5) / count)
    return mean + sd * (scores - scores.mean()) / scores.std(ddof=1)


def test_the_handbooks_mean_of_a_heat_flow():
    """NIST/SEMATECH e-Handbook 1.3.5.2, data ZARR13 by mean, sd and count (figures from memory)."""
    found = mean_and_sd(with_moments(9.261460, 0.022789, 195), expected_mean=5.0)
    assert found.mean_interval == pytest.approx((9.258242, 9.264679), abs=2e-6)
    assert found.mean_test.statistic == pytest.approx(2611.284, rel=1e-4)


def test_the_handbooks_sd_of_gears():
    """NIST/SEMATECH e-Handbook 1.3.5.8, data GEAR: 100 diameters against an sd of 0.1."""
    found = mean_and_sd(np.ravel(GEARS), expected_sd=0.1)
    assert found.sd == pytest.approx(0.6278908e-2, rel=1e-6)
    assert found.sd_test.statistic == pytest.approx(0.3903044, rel=2e-6)
    assert found.sd_test.p_value < 1e-12


@settings(deadline=None, max_examples=25)
@given(st.integers(2, 40), st.floats(0.5, 0.999), st.integers(0, 10**6))
def test_readings_alone_agree_with_scipy(count, confidence, seed):
    values = np.random.default_rng(seed).normal(5.0, 2.0, count)
    found = mean_and_sd(values, expected_mean=4.0, expected_sd=1.5, confidence=confidence)
    t = stats.ttest_1samp(values, 4.0)
    assert found.mean_test.p_value == pytest.approx(t.pvalue, rel=1e-6)
    assert found.mean_interval == pytest.approx(tuple(t.confidence_interval(confidence)))
    tails = stats.chi2.ppf([0.5 + confidence / 2, 0.5 - confidence / 2], count - 1)
    assert found.sd_interval == pytest.approx(np.sqrt((count - 1) * values.var(ddof=1) / tails))
    below = stats.chi2.cdf((count - 1) * values.var(ddof=1) / 2.25, count - 1)
    assert found.sd_test.p_value == pytest.approx(2 * min(below, 1 - below), rel=1e-6, abs=1e-12)
    assert found.counts_as == pytest.approx(count) and found.lots is None


def test_equal_lots_give_the_one_way_components():
    rng = np.random.default_rng(3)
    values = rng.normal(0, 1, (8, 5)) + rng.normal(0, 2, (8, 1))
    found = mean_and_sd(values.ravel(), np.repeat(np.arange(8), 5))
    means, within = values.mean(axis=1), values.var(axis=1, ddof=1).mean()
    assert found.mean_interval == pytest.approx(stats.ttest_1samp(means, 0.0).confidence_interval(0.95))
    assert found.sd**2 == pytest.approx(means.var(ddof=1) - within / 5 + within)
    # neighbours of a lot say less than so many readings of their own
    assert 7 < found.counts_as < 14


def test_intervals_cover_where_lots_are_of_uneven_size():
    """1,500 samples of 9 lots of 1 to 6 pieces, half of the variance between: 95 of 100, within 4 errors.

    Without the lots the interval of the mean covers fewer than 80 of 100: the check that tells them apart.
    """
    rng = np.random.default_rng(11)
    lots = np.repeat(np.arange(9), [1, 2, 3, 4, 5, 6, 6, 4, 3])
    held = {"mean": 0, "sd": 0, "alone": 0}
    for _ in range(1500):
        values = rng.normal(0, 1, 9)[lots] + rng.normal(0, 1, lots.size)
        found, alone = mean_and_sd(values, lots), mean_and_sd(values)
        held["mean"] += found.mean_interval[0] < 0.0 < found.mean_interval[1]
        held["sd"] += found.sd_interval[0] < np.sqrt(2.0) < found.sd_interval[1]
        held["alone"] += alone.mean_interval[0] < 0.0 < alone.mean_interval[1]
    error = 4 * np.sqrt(0.95 * 0.05 / 1500)
    assert held["mean"] / 1500 == pytest.approx(0.95, abs=error)
    # Satterthwaite is approximate: a point more of room
    assert held["sd"] / 1500 == pytest.approx(0.95, abs=error + 0.01)
    assert held["alone"] / 1500 < 0.80


def test_lots_that_are_alike_leave_the_spread_within():
    values = [1.0, 3.0, 1.1, 3.0, 1.0, 3.1]
    found = mean_and_sd(values, list("aabbcc"))
    assert found.sd == pytest.approx(np.sqrt(np.mean([np.var(values[i : i + 2], ddof=1) for i in (0, 2, 4)])))
    assert found.sd_df == 3


def test_pieces_that_are_lots_of_one_are_readings_alone():
    values = np.random.default_rng(5).normal(size=12)
    found, alone = mean_and_sd(values, range(12)), mean_and_sd(values)
    assert found.mean_interval == pytest.approx(alone.mean_interval)
    assert found.sd_interval == pytest.approx(alone.sd_interval)


def test_neighbours_that_hang_together_are_told():
    walk = np.cumsum(np.random.default_rng(2).normal(size=60))
    assert "neighbours hang together" in mean_and_sd(walk).warnings[0]
    assert mean_and_sd(walk, np.repeat(np.arange(6), 10)).warnings == ()
    assert mean_and_sd([1.0, 2.0] * 10).warnings == ()


@pytest.mark.parametrize(
    "values, lots, options, said",
    [
        ([1.0], None, {}, "at least 2"),
        ([2.0, 2.0], None, {}, "all readings are equal"),
        ([1.0, np.nan], None, {}, "finite"),
        ([1.0, 2.0], ["a", "a"], {}, "all readings are of one lot"),
        ([1.0, 2.0], ["a"], {}, "2 readings and 1 lots"),
        ([1.0, 2.0, 2.0, 1.0], list("aabb"), {}, "all lots have the same mean"),
        ([1.0, 2.0], None, {"expected_sd": 0.0}, "expected sd"),
        ([1.0, 2.0], None, {"confidence": 1.0}, "confidence"),
    ],
    ids="one equal nan one-lot lengths same-means no-sd sure".split(),
)
def test_refusals_name_what_is_wrong(values, lots, options, said):
    with pytest.raises(StatisticsError, match=said):
        mean_and_sd(values, lots, **options)

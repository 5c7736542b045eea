"""Capability by percentiles: definition, fits, bootstrap intervals."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from qc.stats.capable.fitted import Percentiles, percentile_figures
from qc.stats.capable.gate import LEAST_OBSERVED
from qc.stats.capable.result import Limits
from qc.stats.capable.shape import shape_figures
from qc.stats.errors import StatisticsError, StatisticsUsageError

D9 = json.loads((Path(__file__).parents[2] / "published/capability_indices.json").read_text("utf-8"))["D9"][
    "recomputed"
]
CASES = {  # ISO 22514 percentile method on known distributions (definition from memory, values computed)
    "lognormal mu=0 sigma=.4, LSL .2 USL 4": (stats.lognorm(0.4), Limits(0.2, 4.0)),
    "Weibull shape 1.5 scale 10, USL 40": (stats.weibull_min(1.5, scale=10), Limits(None, 40.0)),
    "half-normal sigma=.01 (flatness), USL .04": (stats.halfnorm(scale=0.01), Limits(None, 0.04)),
}


@pytest.mark.parametrize("name", CASES)
def test_percentile_method_agrees_with_exact_quantiles(name):
    distribution, limits = CASES[name]
    low, middle, high = distribution.ppf([0.00135, 0.5, 0.99865])
    expected = D9[name]
    assert [low, middle, high] == pytest.approx([expected[k] for k in ("X00135", "X50", "X99865")], rel=1e-8)
    pp, ppk = percentile_figures(Percentiles(low, middle, high), limits)
    assert float(ppk) == pytest.approx(expected["Ppk"], rel=1e-8)
    assert (pp is None) == ("Pp" not in expected)
    if pp is not None:
        assert float(pp) == pytest.approx(expected["Pp"], rel=1e-8)


@pytest.mark.parametrize(
    "shape, name",
    [
        ("positive", "lognormal mu=0 sigma=.4, LSL .2 USL 4"),
        ("weibull", "Weibull shape 1.5 scale 10, USL 40"),
        ("half-normal", "half-normal sigma=.01 (flatness), USL .04"),
    ],
)
def test_fitted_figures_find_the_truth_in_a_large_sample(shape, name):
    distribution, limits = CASES[name]
    sample = distribution.ppf((np.arange(1500) + 0.5) / 1500)
    found = shape_figures(sample, limits, shape)
    assert found.ppk == pytest.approx(D9[name]["Ppk"], rel=5e-3)
    assert found.outside == pytest.approx(D9[name]["true_fraction_out"], rel=5e-2)
    assert (
        found.ppk_interval[0] < found.ppk_bounds[0] < found.ppk < found.ppk_bounds[1] < found.ppk_interval[1]
    )


def test_weibull_fit_agrees_with_scipy():
    sample = stats.weibull_min(2.3, scale=5.0).rvs(60, random_state=np.random.default_rng(2))
    shape, _, scale = stats.weibull_min.fit(sample, floc=0)
    expected = stats.weibull_min(shape, scale=scale)
    limits = Limits(None, 12.0)
    low, middle, high = expected.ppf([0.00135, 0.5, 0.99865])
    _, ppk = percentile_figures(Percentiles(low, middle, high), limits)
    found = shape_figures(sample, limits, "weibull")
    assert found.ppk == pytest.approx(float(ppk), rel=2e-4)
    assert found.outside == pytest.approx(expected.sf(12.0), rel=2e-3)


@pytest.mark.parametrize(
    "shape, name",
    [
        ("positive", "lognormal mu=0 sigma=.4, LSL .2 USL 4"),
        ("weibull", "Weibull shape 1.5 scale 10, USL 40"),
        ("half-normal", "half-normal sigma=.01 (flatness), USL .04"),
    ],
)
def test_intervals_cover_at_twenty_pieces(shape, name):
    """95 % intervals of Ppk over 300 samples of 20: within 3 standard errors (0.038) of 0.95."""
    distribution, limits = CASES[name]
    rng = np.random.default_rng(17)
    hits = 0
    for _ in range(300):
        found = shape_figures(distribution.rvs(20, random_state=rng), limits, shape, seed=1)
        hits += found.ppk_interval[0] <= D9[name]["Ppk"] <= found.ppk_interval[1]
    assert hits / 300 == pytest.approx(0.95, abs=0.038)


def test_observed_percentiles():
    sample = np.random.default_rng(4).gamma(3.0, 2.0, 1500)
    found = shape_figures(sample, Limits(0.01, 30.0), "any", seed=3)
    low, middle, high = np.quantile(sample, [0.00135, 0.5, 0.99865])
    expected = min((30 - middle) / (high - middle), (middle - 0.01) / (middle - low))
    assert found.ppk == pytest.approx(expected, rel=1e-12)
    assert found.ppk_interval[0] < found.ppk < found.ppk_interval[1]
    assert found.pp_interval[0] < found.pp < found.pp_interval[1]
    count = int(np.sum((sample < 0.01) | (sample > 30)))
    exact = stats.binomtest(count, 1500).proportion_ci(0.95)
    assert found.outside_interval == pytest.approx((exact.low, exact.high), abs=1e-12)


def test_scale_and_seed_change_nothing():
    sample = np.random.default_rng(6).lognormal(0.0, 0.3, 40)
    here = shape_figures(sample, Limits(0.2, 4.0), "positive", seed=5)
    there = shape_figures(1000 * sample, Limits(200.0, 4000.0), "positive", seed=5)
    assert there.ppk_interval == pytest.approx(here.ppk_interval, rel=1e-9)
    assert shape_figures(sample, Limits(0.2, 4.0), "positive", seed=5) == here
    other = shape_figures(sample, Limits(0.2, 4.0), "positive", seed=6)
    assert other.ppk_interval == pytest.approx(here.ppk_interval, rel=0.05)


def test_limit_at_or_below_zero_is_never_crossed_by_positive_readings():
    sample = np.random.default_rng(6).lognormal(0.0, 0.3, 40)
    assert shape_figures(sample, Limits(-1.0, 4.0), "positive").outside == pytest.approx(
        shape_figures(sample, Limits(None, 4.0), "positive").outside
    )
    assert shape_figures(sample, Limits(None, -1.0), "weibull").outside == 1.0


@pytest.mark.parametrize(
    "sample, shape, error, said",
    [
        ([1.0, 0.0, 2.0], "positive", StatisticsError, "above 0"),
        ([1.0, -0.1, 2.0], "half-normal", StatisticsError, "not below 0"),
        ([1.0, 2.0, 3.0], "normal", StatisticsUsageError, "normal readings need none"),
        ([1.0, 1.0, 1.0], "weibull", StatisticsError, "all readings are equal"),
        ([1.0, 2.0, 3.0], "any", StatisticsError, f"{LEAST_OBSERVED} are needed"),
        ([1.0, 2.0, 3.0], "gamma", StatisticsUsageError, "'gamma' is not known"),
    ],
)
def test_bad_questions_are_named(sample, shape, error, said):
    with pytest.raises(error, match=said):
        shape_figures(np.array(sample), Limits(None, 5.0), shape)


def test_percentiles_must_rise():
    with pytest.raises(StatisticsError, match="must rise"):
        percentile_figures(Percentiles(np.array(1.0), np.array(1.0), np.array(2.0)), Limits(0.0, 3.0))
    assert math.isfinite(float(percentile_figures(Percentiles(1.0, 1.5, 2.0), Limits(0.0, 3.0))[1]))

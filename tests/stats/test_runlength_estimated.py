"""Run lengths under estimated limits against an independent quadrature, tolerance factors and simulation."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import special

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.runlength import shewhart_run_length
from qc.stats.runlength_estimated import estimated_limits, sigma_estimate
from qc.stats.tolerance import guaranteed_factor

PUBLISHED = Path(__file__).parents[1] / "published"
C8 = json.loads((PUBLISHED / "runlength_shewhart.json").read_text("utf-8"))["C8"]["recomputed"]["rows"]
C10 = json.loads((PUBLISHED / "runlength_memory.json").read_text("utf-8"))["C10"]["recomputed"]


@pytest.mark.parametrize("n, m, estimator, factor, shift, average, between, total, rate", C8)
def test_averages_agree_with_an_independent_quadrature(
    n, m, estimator, factor, shift, average, between, total, rate
):
    unbiased = "c4" in estimator
    found = estimated_limits(
        int(m), n=int(n), factor=factor, shift=shift, estimator="sd-unbiased" if unbiased else "sd"
    )
    assert found.average_run_length == pytest.approx(average, rel=2e-5)
    assert found.signal_rate == pytest.approx(rate, abs=6e-7)
    df = int(m) - 1 if n == 1 else int(m) * (int(n) - 1)
    if df == 20:
        # the shared values of the spread miss the far tail that carries it here: ours agree with a plain
        # trapezoid over ten times the range (602,080 for n 3, m 10, shift 0), theirs are smaller
        assert found.sd_between_baselines > between
        return
    heavy = df <= 40
    assert found.sd_between_baselines == pytest.approx(between, rel=0.05 if heavy else 1e-4)
    assert found.sd_run_length == pytest.approx(total, rel=0.05 if heavy else 1e-4)


def test_far_tail_by_a_plain_trapezoid():
    """Second route for a baseline whose spread lives in its far tail: n 3, m 10, 20 degrees of freedom."""
    w, z = np.linspace(1e-3, 9.0, 1501)[:, None], np.linspace(-9.0, 9.0, 901)
    density = np.log(2) + 10 * np.log(10) - special.gammaln(10) + 19 * np.log(w) - 10 * w * w - z * z / 2
    off = z / math.sqrt(10)
    signal = special.ndtr(-3 * w - off) + special.ndtr(-3 * w + off)
    cell = (w[1, 0] - w[0, 0]) * (z[1] - z[0]) / math.sqrt(2 * math.pi)
    average, square = (float(np.exp(density - k * np.log(signal)).sum() * cell) for k in (1, 2))
    found = estimated_limits(10, n=3)
    assert found.average_run_length == pytest.approx(average, rel=1e-6)
    assert found.sd_between_baselines == pytest.approx(math.sqrt(square - average**2), rel=1e-5)


def test_promise_of_the_guaranteed_factor():
    """C9 the other way round: with that factor the stated share of baselines keeps the run length."""
    factor = guaranteed_factor(25, 1 / 370.4, 0.9, df=100)
    found = estimated_limits(25, n=5, factor=factor)
    assert found.chance_under(370.4) == pytest.approx(0.1, abs=1e-10)
    simulated = C10["P(CARL>=370.4) with adjusted L xbar n=5 m=25 target .90"]
    assert 1 - found.chance_under(370.4) == pytest.approx(simulated["estimate"], abs=3 * simulated["se"])


def test_ten_points_are_a_lottery():
    """T104: limits from the moving ranges of ten points run under 100 with chance 0.387 (simulated)."""
    found = estimated_limits(10, estimator="moving-range")
    assert found.chance_under(100) == pytest.approx(0.387, abs=0.015)
    assert math.isinf(found.average_run_length) and found.to_dict()["average_run_length"] is None


@pytest.mark.parametrize("m", [20, 30, 100])
def test_range_limits_agree_with_the_shared_simulation(m):
    simulated = C10[f"xbar n=5 Rbar/d2 m={m} AARL"]
    found = estimated_limits(m, n=5, estimator="range")
    assert found.average_run_length == pytest.approx(simulated["estimate"], abs=3 * simulated["se"] + 0.3)
    assert found.chance_under(370.4) == pytest.approx(simulated["P_CARL_below_370"], abs=0.004)
    quantiles = [found.run_length_quantile(q) for q in (0.05, 0.1, 0.25, 0.5, 0.75, 0.9)]
    assert quantiles == pytest.approx(simulated["quantiles_5_10_25_50_75_90"], rel=0.008)


@pytest.mark.parametrize("m, share, tolerance", [(25, 0.010, 0.055), (50, 0.007, 0.03), (200, 0.005, 0.01)])
def test_moving_range_limits_agree_with_the_shared_simulation(m, share, tolerance):
    """The matched chi is an approximation: chances to 0.01, quantiles to 5 % from 25 points."""
    simulated = C10[f"individuals MRbar/1.128 m={m} AARL (heavy tail)"]
    found = estimated_limits(m, estimator="moving-range")
    assert found.chance_under(370.4) == pytest.approx(simulated["P_CARL_below_370"], abs=share)
    quantiles = [found.run_length_quantile(q) for q in (0.05, 0.1, 0.25, 0.5, 0.75, 0.9)]
    assert quantiles == pytest.approx(simulated["quantiles_5_10_25_50_75_90"], rel=tolerance)


def test_quantile_inverts_the_chance():
    found = estimated_limits(30)
    for share in (0.01, 0.5, 0.99):
        assert found.chance_under(found.run_length_quantile(share)) == pytest.approx(share, abs=1e-9)


def test_large_baseline_is_as_good_as_known():
    found, known = estimated_limits(200_000, n=5, shift=1.0), shewhart_run_length(3.0, 1.0)
    assert found.average_run_length == pytest.approx(known.mean, rel=1e-4)
    assert found.sd_run_length == pytest.approx(known.sd, rel=1e-3)


def test_variation_of_the_mean_moving_range_by_simulation():
    rng = np.random.default_rng(1)
    ranges = np.abs(np.diff(rng.standard_normal((60_000, 12)), axis=1)).mean(axis=1)
    estimate = sigma_estimate(12, estimator="moving-range")
    chi = estimate.scale * np.sqrt(rng.chisquare(estimate.df, 60_000) / estimate.df)
    assert chi.mean() == pytest.approx(1.0, abs=0.004)
    assert chi.var() == pytest.approx((ranges / 1.1283791670955126).var(), rel=0.03)


@pytest.mark.parametrize(
    "call, error, said",
    [
        (lambda: estimated_limits(1), StatisticsError, "1 points of 1"),
        (lambda: estimated_limits(9, factor=0.0), StatisticsError, "factor 0.0"),
        (lambda: estimated_limits(9, shift=math.nan), StatisticsError, "shift nan"),
        (lambda: estimated_limits(9, estimator="guess"), StatisticsUsageError, "'guess' is not known"),
        (
            lambda: estimated_limits(9, n=2, estimator="moving-range"),
            StatisticsUsageError,
            "does not go with",
        ),
        (lambda: estimated_limits(9, estimator="range"), StatisticsUsageError, "does not go with"),
        (lambda: sigma_estimate(1), StatisticsError, "1 points given"),
        (lambda: estimated_limits(30).chance_under(1.0), StatisticsError, "run length is 1.0"),
        (lambda: estimated_limits(30).run_length_quantile(0.0), StatisticsError, "quantile 0.0"),
    ],
)
def test_bad_questions_are_named(call, error, said):
    with pytest.raises(error, match=said):
        call()

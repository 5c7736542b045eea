"""Run lengths under estimated limits against an independent quadrature, tolerance factors and simulation."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, special

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers.constants import d2
from qc.stats.numbers.radii import covering_radii
from qc.stats.numbers.tolerance import guaranteed_factor
from qc.stats.run_lengths.chain import shewhart_run_length
from qc.stats.run_lengths.estimated import estimated_limits, guaranteed_run_length_factor

PUBLISHED = Path(__file__).parents[2] / "published"
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
    assert found.chance_under(100) == pytest.approx(0.387, abs=0.004)
    assert math.isinf(found.average_run_length) and found.to_dict()["average_run_length"] is None


SHARES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9)


def agree(found, simulated, draws):
    """Every simulated quantile and chance within 3 standard errors of a chance from so many baselines."""
    chances = zip(simulated["quantiles_5_10_25_50_75_90"], SHARES, strict=True)
    for run_length, share in [*chances, (370.4, simulated["P_CARL_below_370"])]:
        error = math.sqrt(share * (1 - share) / draws)
        assert found.chance_under(run_length) == pytest.approx(share, abs=3 * error)


@pytest.mark.parametrize("m", [20, 30, 100])
def test_range_limits_agree_with_the_shared_simulation(m):
    simulated = C10[f"xbar n=5 Rbar/d2 m={m} AARL"]
    found = estimated_limits(m, n=5, estimator="range")
    assert found.average_run_length == pytest.approx(simulated["estimate"], abs=3 * simulated["se"])
    agree(found, simulated, 100_000)


@pytest.mark.parametrize("m", [25, 50, 200])
def test_moving_range_limits_agree_with_the_shared_simulation(m):
    simulated = C10[f"individuals MRbar/1.128 m={m} AARL (heavy tail)"]
    found = estimated_limits(m, estimator="moving-range")
    agree(found, simulated, 200_000)
    if m == 25:  # the mean over baselines does not exist: the simulated one is whatever the draws gave
        assert math.isinf(found.average_run_length)
    else:
        assert found.average_run_length == pytest.approx(simulated["estimate"], abs=3 * simulated["se"])


def test_shifted_moving_range_limits_by_simulation():
    rng = np.random.default_rng(8)
    m, shift, draws = 15, 1.5, 60_000
    x = rng.standard_normal((draws, m))
    reach = 3.0 * np.abs(np.diff(x, axis=1)).mean(axis=1) / d2(2)
    off = x.mean(axis=1) - shift
    rate = special.ndtr(-reach - off) + special.ndtr(-reach + off)
    found = estimated_limits(m, shift=shift, estimator="moving-range")
    assert found.signal_rate == pytest.approx(rate.mean(), abs=4 * rate.std() / math.sqrt(draws))


def test_average_by_conditioning_the_simulation():
    """AARL at 60 points: sigma's tail tamed by weighting each draw's sigma with a wider one's density."""
    rng, m, draws = np.random.default_rng(9), 60, 200_000
    x = rng.standard_normal((draws, m)) * 1.25  # all sigmas 1.25 times as large, weighed back below
    weight = np.exp(-0.5 * (x * x).sum(axis=1) * (1 - 1 / 1.25**2)) * 1.25**m
    reach = 3.0 * np.abs(np.diff(x, axis=1)).mean(axis=1) / d2(2)
    off = x.mean(axis=1)
    length = weight / (special.ndtr(-reach - off) + special.ndtr(-reach + off))
    error = length.std() / math.sqrt(draws)
    found = estimated_limits(m, estimator="moving-range").average_run_length
    assert error < 0.05 * found
    assert found == pytest.approx(length.mean(), abs=4 * error)


@pytest.mark.parametrize(
    "points, estimator, mean, spread",
    [
        (10, "sd", False, False),
        (11, "sd", True, False),
        (19, "sd", True, False),
        (20, "sd", True, True),
        (28, "moving-range", False, False),
        (29, "moving-range", True, False),
        (57, "moving-range", True, False),
        (58, "moving-range", True, True),
    ],
)
def test_from_how_many_points_the_averages_exist(points, estimator, mean, spread):
    found = estimated_limits(points, estimator=estimator)
    assert math.isfinite(found.average_run_length) is mean
    assert math.isfinite(found.sd_between_baselines) is spread


def test_two_points_have_a_closed_form():
    """Sigma is |N(0, 2)| over d2: the chances by a plain integral."""
    found = estimated_limits(2, estimator="moving-range")
    z = np.linspace(0, 9, 1_001)
    for run_length in (3.0, 50.0, 1e4):
        radius, weight = covering_radii(2, 1 - 1 / run_length)
        kept = weight @ (2 * special.ndtr(-radius / 3.0 * d2(2) / math.sqrt(2)))
        assert found.chance_under(run_length) == pytest.approx(1 - kept, abs=1e-9)
    w = np.linspace(0, 9, 1_001)[:, None]
    off = z / math.sqrt(2)
    rate = special.ndtr(-3 * w - off) + special.ndtr(-3 * w + off)
    density = (
        np.exp(-((w * d2(2)) ** 2) / 4 - z * z / 2) * d2(2) / math.sqrt(math.pi) / math.sqrt(math.pi / 2)
    )
    plain = integrate.simpson(integrate.simpson(rate * density, x=z, axis=1), x=w[:, 0])
    assert found.signal_rate == pytest.approx(plain, rel=1e-7)


@pytest.mark.parametrize("estimator, n", [("sd", 1), ("sd-unbiased", 4), ("moving-range", 1), ("range", 5)])
def test_guaranteed_factor_keeps_its_promise(estimator, n):
    factor = guaranteed_run_length_factor(30, 500.0, 0.95, n=n, estimator=estimator)
    found = estimated_limits(30, n=n, factor=factor, estimator=estimator)
    assert found.chance_under(500.0) == pytest.approx(0.05, abs=1e-10)
    if estimator == "sd":
        assert factor == pytest.approx(guaranteed_factor(30, 1 / 500, 0.95), abs=1e-9)


def test_quantile_inverts_the_chance():
    found = estimated_limits(30)
    for share in (0.01, 0.5, 0.99):
        assert found.chance_under(found.run_length_quantile(share)) == pytest.approx(share, abs=1e-9)


def test_large_baseline_is_as_good_as_known():
    found, known = estimated_limits(200_000, n=5, shift=1.0), shewhart_run_length(3.0, 1.0)
    assert found.average_run_length == pytest.approx(known.mean, rel=1e-4)
    assert found.sd_run_length == pytest.approx(known.sd, rel=1e-3)


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
        (lambda: guaranteed_run_length_factor(1, 370.0), StatisticsError, "1 points given"),
        (lambda: guaranteed_run_length_factor(9, 1.0), StatisticsError, "run length is 1.0"),
        (lambda: guaranteed_run_length_factor(9, 100.0, 1.0), StatisticsError, "confidence is 1.0"),
        (lambda: estimated_limits(30).chance_under(1.0), StatisticsError, "run length is 1.0"),
        (lambda: estimated_limits(30).run_length_quantile(0.0), StatisticsError, "quantile 0.0"),
    ],
)
def test_bad_questions_are_named(call, error, said):
    with pytest.raises(error, match=said):
        call()

"""Bias and linearity: certified regression, scipy, coverage, verdicts."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from qc.stats.errors import StatisticsError
from qc.stats.gauges.references import fit_line, gauge_bias, linearity

NORRIS = json.loads((Path(__file__).parents[2] / "published/charts_norris.json").read_text("utf-8"))["F1"]


def test_line_is_certified():
    """NIST StRD Norris."""
    found, certified = fit_line(NORRIS["data"]["x"], NORRIS["data"]["y"]), NORRIS["published"]
    assert found.intercept == pytest.approx(certified["b0"], rel=1e-9)
    assert found.slope == pytest.approx(certified["b1"], rel=1e-12)
    assert found.intercept_error == pytest.approx(certified["se_b0"], rel=1e-9)
    assert found.slope_error == pytest.approx(certified["se_b1"], rel=1e-9)
    assert found.r_squared == pytest.approx(certified["R2"], rel=1e-11)
    assert found.residual_sd**2 * found.df == pytest.approx(certified["SSE"], rel=1e-9)
    assert found.f == pytest.approx(certified["F"], rel=1e-9)
    assert found.df == certified["df"]


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 9999), st.floats(-5, 5), st.floats(0.1, 100))
def test_line_agrees_with_scipy_and_moves_with_the_data(seed, shift, scale):
    rng = np.random.default_rng(seed)
    x, y = rng.random(12), rng.random(12)
    found, theirs = fit_line(x, y), stats.linregress(x, y)
    assert (found.slope, found.slope_error) == pytest.approx((theirs.slope, theirs.stderr))
    assert found.intercept_error == pytest.approx(theirs.intercept_stderr)
    moved = fit_line(scale * x, y + shift)
    assert moved.slope == pytest.approx(found.slope / scale)
    assert moved.intercept == pytest.approx(found.intercept + shift)


def test_bias_agrees_with_students_test():
    readings = np.random.default_rng(1).normal(10.02, 0.05, 15)
    found = gauge_bias(readings, 10.0, confidence=0.9)
    theirs = stats.ttest_1samp(readings, 10.0).confidence_interval(0.9)
    assert found.interval == pytest.approx((theirs.low - 10, theirs.high - 10))
    assert found.clear == (theirs.low > 10 or theirs.high < 10)
    assert gauge_bias([10.1], 10.0).interval is None


def study(rng, slope, zero, sd=0.01):
    references = np.repeat([5.0, 10.0, 15.0, 20.0], 6)
    return references + zero + slope * (references - 12.5) + sd * rng.standard_normal(24), references.tolist()


def test_verdicts():
    rng = np.random.default_rng(2)
    assert "Neither" in linearity(*study(np.random.default_rng(1), 0.0, 0.0)).verdict
    zero = linearity(*study(rng, 0.0, 0.05))
    assert zero.zero_off and not zero.scale_off and "Re-zero" in zero.verdict and "+0.0" in zero.verdict
    scale = linearity(*study(rng, 0.01, 0.0))
    assert scale.scale_off and "scale is off" in scale.verdict
    plain = scale.to_dict()
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    assert [b["reference"] for b in plain["references"]] == [5.0, 10.0, 15.0, 20.0]


def test_good_gauges_are_blamed_at_the_stated_rate():
    rng = np.random.default_rng(3)
    found = [linearity(*study(rng, 0.0, 0.0)) for _ in range(1500)]
    error = 4 * math.sqrt(0.05 * 0.95 / 1500)
    assert np.mean([f.scale_off for f in found]) == pytest.approx(0.05, abs=error)
    assert np.mean([f.zero_off for f in found]) == pytest.approx(0.05, abs=error)


def test_points_on_a_line_are_no_crash():
    found = fit_line([1.0, 2.0, 3.0], [2.0, 2.0, 2.0])
    assert found.slope == 0.0 and found.r_squared == 1.0


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: gauge_bias([], 1.0), "value"),
        (lambda: gauge_bias([1.0], math.nan), "reference is nan"),
        (lambda: gauge_bias([1.0], 1.0, confidence=0.0), "confidence is 0.0"),
        (lambda: fit_line([1, 2, 3], [1, 2, 3, 4]), "3 x and 4 y"),
        (lambda: fit_line([1, 1, 1], [1, 2, 3]), "all x are equal"),
        (lambda: linearity([1, 2, 3, 4], [1, 2, 3]), "3 x and 4 y"),
        (lambda: linearity([1, 2, 3], [1, 2, 3], confidence=1.0), "confidence is 1.0"),
    ],
)
def test_bad_questions_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()

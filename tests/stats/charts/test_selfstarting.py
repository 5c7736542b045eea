"""Q statistics and the self-starting CUSUM against printed values, a plain loop and simulation."""

import json
import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from qc.stats.charts.memory import CusumDesign
from qc.stats.charts.selfstarting import q_statistics, self_starting, self_starting_table
from qc.stats.errors import StatisticsError
from qc.stats.numbers.setting import Setting

PUBLISHED = Path(__file__).parents[2] / "published"
FLOW = json.loads((PUBLISHED / "charts_selfstarting.json").read_text("utf-8"))["C12"]
WORKED = json.loads((PUBLISHED / "charts_worked.json").read_text("utf-8"))
EIGHT = [152.0, 148, 155, 150, 158, 147, 151, 170]


def plain_q(values, center=None, sigma=None):
    """Quesenberry's four cases, straight from their formulas."""
    out = []
    for i, x in enumerate(values):
        r, before = i + 1, values[:i]
        if center is not None and sigma is not None:
            out.append((x - center) / sigma)
        elif sigma is not None:
            out.append(math.sqrt((r - 1) / r) * (x - np.mean(before)) / sigma if r > 1 else math.nan)
        elif center is not None:
            if r < 2:
                out.append(math.nan)
                continue
            spread = math.sqrt(np.mean((np.array(before) - center) ** 2))
            out.append(stats.norm.ppf(stats.t.cdf((x - center) / spread, r - 1)))
        elif r < 3:
            out.append(math.nan)
        else:
            t = math.sqrt((r - 1) / r) * (x - np.mean(before)) / np.std(before, ddof=1)
            out.append(stats.norm.ppf(stats.t.cdf(t, r - 2)))
    return np.array(out)


def test_flow_rate():
    exact = FLOW["recomputed"]
    chart = self_starting(FLOW["data"])
    expected = [math.nan if q is None else q for q in exact["Q"]]
    np.testing.assert_allclose(chart.values, expected, atol=1e-8)
    np.testing.assert_allclose(chart.companion.values["high"], exact["cusum_plus"], atol=1e-8)
    np.testing.assert_allclose(chart.companion.values["low"], exact["cusum_minus"], atol=1e-8)


def test_worked_example():
    q = q_statistics(EIGHT)
    assert q[2] == pytest.approx(float(WORKED["T093"]["expected"]), abs=2e-3)
    assert q[7] == pytest.approx(float(WORKED["T094"]["expected"]), abs=2e-3)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 10**6),
    st.integers(1, 40),
    st.sampled_from([(None, None), (None, 2.0), (5.0, None), (5.0, 2.0)]),
)
def test_all_four_cases_against_the_formulas(seed, n, known):
    values = np.random.default_rng(seed).normal(5, 2, size=n)
    center, sigma = known
    if n >= 3 or known == (5.0, 2.0):
        found = q_statistics(values, center=center, sigma=sigma)
        np.testing.assert_allclose(found, plain_q(values.tolist(), center, sigma), rtol=1e-7, atol=1e-9)


def test_scores_are_standard_normal_and_independent():
    rng = np.random.default_rng(6)
    count, length = 4000, 25
    frame = pl.DataFrame(
        {"series": np.repeat(np.arange(count), length), "value": rng.normal(80, 7, size=count * length)}
    )
    q = self_starting_table(frame).points["value"].to_numpy().reshape(count, length)[:, 2:]
    error = 1 / math.sqrt(count)
    assert np.all(np.abs(q.mean(axis=0)) < 4.5 * error)
    assert np.all(np.abs(q.var(axis=0) - 1) < 4.5 * math.sqrt(2) * error)
    neighbours = (q[:, 1:] * q[:, :-1]).mean(axis=0)
    assert np.all(np.abs(neighbours) < 4.5 * error)


def test_far_points_keep_their_score():
    values = [*np.random.default_rng(7).normal(size=200), 1e6, 0.0]
    q = q_statistics(values)
    assert 36 < q[200] < 38 and math.isfinite(q[200])
    assert q_statistics([-x for x in values])[200] == pytest.approx(-q[200])


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.01, 1000), st.floats(-1e5, 1e5))
def test_shift_and_scale_change_nothing(seed, scale, shift):
    values = np.random.default_rng(seed).normal(size=20)
    np.testing.assert_allclose(
        q_statistics(values * scale + shift), q_statistics(values), rtol=1e-4, atol=1e-4
    )


def test_equal_readings_give_no_score_and_no_warning():
    q = q_statistics([5.0, 5.0, 5.0, 6.0, 5.0])
    assert np.isnan(q[:4]).all() and math.isfinite(q[4])
    with pytest.raises(StatisticsError, match="that differ are needed"):
        self_starting([5.0, 5.0, 5.0])
    floored = self_starting([5.0, 5.0, 5.1, 5.0], Setting(resolution=0.1))
    assert np.isfinite(floored.values[2:]).all()


def test_cusum_says_since_when():
    rng = np.random.default_rng(9)
    values = [*rng.normal(size=30), *rng.normal(2.0, 1, size=15)]
    chart = self_starting(values, design=CusumDesign(0.5, 5.0))
    (sentence,) = chart.warnings
    start = int(sentence.split("since about point ")[1].split(" ")[0])
    assert abs(start - 31) <= 3


def test_too_few():
    with pytest.raises(StatisticsError, match="at least 3"):
        self_starting([1.0, 2.0])

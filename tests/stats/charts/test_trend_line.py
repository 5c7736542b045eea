"""Trend charts against certified regression, statsmodels, simulation and a grid search for the crossing."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from qc.stats.charts.trend_line import fit_trend, line_crossing, trend
from qc.stats.errors import StatisticsError
from qc.stats.numbers.baseline import Baseline
from qc.stats.numbers.limits import LimitRule
from qc.stats.numbers.setting import Setting

NORRIS = json.loads((Path(__file__).parents[2] / "published" / "charts_norris.json").read_text("utf-8"))["F1"]
DRAWS = np.arange(1.0, 41.0) * 10
BORE = 14.60 + 2e-5 * DRAWS + np.random.default_rng(1).normal(0, 2e-4, size=40)


def test_certified_line():
    line, certified = fit_trend(NORRIS["data"]["x"], NORRIS["data"]["y"]), NORRIS["published"]
    for found, name in (
        (line.slope, "b1"),
        (line.intercept, "b0"),
        (line.slope_se, "se_b1"),
        (line.intercept_se, "se_b0"),
        (line.sd**2 * line.df, "SSE"),
    ):
        assert found == pytest.approx(certified[name], rel=1e-9), name
    assert line.df == certified["df"]


def test_against_statsmodels():
    fit = sm.OLS(BORE, sm.add_constant(DRAWS)).fit()
    chart = trend(BORE, DRAWS)
    assert chart.extras["slope"] == pytest.approx(fit.params[1], rel=1e-9)
    assert chart.extras["slope_interval"] == pytest.approx(fit.conf_int()[1].tolist(), rel=1e-8)
    np.testing.assert_allclose(chart.values, fit.resid, atol=1e-12)
    assert chart.sigma == pytest.approx(math.sqrt(fit.mse_resid))
    assert chart.upper == pytest.approx(3 * math.sqrt(fit.mse_resid)) and chart.lower == -chart.upper


def test_crossing_interval_by_grid():
    """The interval holds exactly those counts at which the limit lies inside the band of the line."""
    line, limit = fit_trend(DRAWS, BORE), 14.612
    crossing = line_crossing(line, limit, 0.95)
    grid = np.linspace(500, 700, 200_001)
    quantile = stats.t.ppf(0.975, line.df)
    band = quantile * line.sd * np.sqrt(1 / line.n + (grid - line.mean_x) ** 2 / line.square_x)
    held = grid[np.abs(line.at(grid) - limit) <= band]
    assert crossing.interval == pytest.approx((held[0], held[-1]), abs=2e-3)
    assert line.at(np.array([crossing.count]))[0] == pytest.approx(limit, abs=1e-12)


def test_crossing_interval_keeps_its_confidence():
    rng, kept, count = np.random.default_rng(2), 0, 600
    x = np.arange(12.0)
    for _ in range(count):
        line = fit_trend(x, 5 + 0.5 * x + rng.normal(0, 0.6, size=12))
        low, high = line_crossing(line, 15.0, 0.9).interval
        kept += low <= 20.0 <= high
    assert abs(kept / count - 0.9) < 4 * math.sqrt(0.09 / count)


def test_unclear_slope_gives_no_crossing():
    rng = np.random.default_rng(3)
    chart = trend(rng.normal(size=20), np.arange(20.0), upper=5.0, lower=-5.0)
    crossing = chart.extras["crossing"]
    assert crossing["count"] is None and "could be 0" in crossing["reason"]


@pytest.mark.parametrize(
    "lower, upper, limit, words",
    [
        (None, 14.612, 14.612, None),
        (14.5, 14.612, 14.612, None),
        (14.5, None, None, "leads away"),
        (None, None, None, "no limit"),
    ],
)
def test_which_limit_is_forecast(lower, upper, limit, words):
    crossing = trend(BORE, DRAWS, lower=lower, upper=upper).extras["crossing"]
    assert crossing["limit"] == limit
    assert (crossing["reason"] is None) if words is None else words in crossing["reason"]


def test_a_falling_line_heads_for_the_lower_limit():
    crossing = trend(-BORE, DRAWS, lower=-14.612, upper=0.0).extras["crossing"]
    assert crossing["limit"] == -14.612
    rising = trend(BORE, DRAWS, upper=14.612).extras["crossing"]
    assert crossing["count"] == pytest.approx(rising["count"])


def test_prediction_limits_are_those_of_the_next_reading():
    fit = sm.OLS(BORE, sm.add_constant(DRAWS)).fit()
    rule = LimitRule("prediction", rate=0.05)
    chart = trend(BORE, DRAWS, Setting(limits=rule))
    band = fit.get_prediction(sm.add_constant(DRAWS)).conf_int(obs=True, alpha=0.05)
    np.testing.assert_allclose(chart.uppers, (band[:, 1] - band[:, 0]) / 2, rtol=1e-8)


def test_baseline_fits_the_line_to_its_points():
    spoiled = BORE.copy()
    spoiled[30:] += 0.01
    chart = trend(spoiled, DRAWS, Setting(baseline=Baseline(1, 30)))
    assert chart.extras["slope"] == pytest.approx(fit_trend(DRAWS[:30], BORE[:30]).slope)
    assert np.all(chart.values[30:] > chart.upper)


@settings(max_examples=40, deadline=None)
@given(st.floats(-100, 100), st.floats(0.1, 50), st.floats(-1000, 1000), st.floats(0.1, 10))
def test_units_do_not_matter(shift, scale, begin, stretch):
    plain, moved = fit_trend(DRAWS, BORE), fit_trend(DRAWS * stretch + begin, BORE * scale + shift)
    assert moved.slope == pytest.approx(plain.slope * scale / stretch, rel=1e-6)
    assert moved.sd == pytest.approx(plain.sd * scale, rel=1e-6)


@pytest.mark.parametrize(
    "y, x, words",
    [
        ([1.0, 2.0], [1.0, 2.0], "at least 3"),
        ([1.0, 2.0, 3.0], [1.0, 2.0], "one each"),
        ([1.0, 2.0, 3.0], [4.0, 4.0, 4.0], "never changes"),
        ([1.0, 2.0, 3.0], [4.0, math.nan, 4.0], "reading 2 is nan"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], "without any spread"),
    ],
)
def test_bad_input(y, x, words):
    with pytest.raises(StatisticsError, match=words):
        trend(y, x)


def test_a_perfect_line_needs_a_resolution():
    chart = trend([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], Setting(resolution=0.1))
    assert chart.sigma == pytest.approx(0.1 / math.sqrt(12)) and "raised" in chart.warnings[0]


def test_confidence_out_of_range():
    with pytest.raises(StatisticsError, match="confidence"):
        line_crossing(fit_trend(DRAWS, BORE), 15.0, 1.0)

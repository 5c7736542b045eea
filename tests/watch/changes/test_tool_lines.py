from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import linregress, t

from qc.plan import Characteristic, DatedLimits, Tool
from qc.watch.changes.tool_lines import fittings, forecast_wear, in_use, line_ends, line_limits, own_fitting

WORN = Characteristic(id="od", name="OD", unit="mm", wears_with="die")
TODAY = date(2026, 6, 1)


@pytest.fixture
def worn(points):
    """Fifty tubes on die D-2, two a day up to the day before `TODAY`, 8 draws apart; 2e-5 mm a draw."""
    counts = list(range(0, 400, 8))
    values = 14.60 + 2e-5 * np.array(counts) + 1e-4 * np.random.default_rng(1).standard_normal(50)
    days = [TODAY - timedelta(days=50 - n) for n in range(50)]
    return points(values, tool=["D-2"] * 50, tool_count=counts, day=days)


def test_a_falling_count_or_another_tool_is_a_new_fitting(points):
    series = points([0.0] * 6, tool=["D-1", "D-1", "D-1", "D-2", "D-2", ""], tool_count=[0, 8, 2, 4, 8, 9])
    assert fittings(series) == [[0, 1], [2], [3, 4]]


def test_of_a_span_the_last_fitting_counts(points):
    series = points([0.0] * 6, tool=["D-1", "D-1", "D-1", "D-2", "D-2", ""], tool_count=[0, 8, 16, 4, 8, 9])
    assert own_fitting(series, (1, 3)) == (1, 3)
    assert own_fitting(series, (2, 6)) == (4, 5)
    assert own_fitting(series, (6, 6)) is None
    assert not in_use(series, 3) and in_use(series, 4)
    assert not in_use(points([0.0]), 1)


def test_limits_of_the_next_piece_are_the_prediction_interval_of_a_general_library(worn):
    state = worn[:40]
    low, high = line_limits(worn, state, 0.002)
    fit = sm.OLS([p.value for p in state], sm.add_constant([p.tool_count for p in state])).fit()
    ahead = fit.get_prediction([[1.0, worn[-1].tool_count]]).summary_frame(alpha=0.002)
    assert (low, high) == pytest.approx((ahead["obs_ci_lower"].iloc[0], ahead["obs_ci_upper"].iloc[0]))


def test_no_limits_about_a_line_of_few_pieces_or_of_a_removed_tool(worn, points):
    assert line_limits(worn, worn[:7], 0.01) == (None, None)
    fresh = points([14.6] * 2, tool=["D-3"] * 2, tool_count=[0, 4])
    assert line_limits((*worn, *(replace(p, ordinal=51 + n) for n, p in enumerate(fresh))), worn, 0.01) == (
        None,
        None,
    )
    still = points([14.6, 14.7] * 5, tool=["D-3"] * 10, tool_count=[5] * 10)
    assert line_limits(still, still, 0.01) == (None, None)


def test_line_ends_are_least_squares(worn):
    counts = [p.tool_count for p in worn]
    slope, start = np.polyfit(counts, [p.value for p in worn], 1)
    assert line_ends(worn) == pytest.approx((start, start + slope * counts[-1]))
    assert line_ends(worn[:2]) is None


def test_forecast_in_draws_and_days(small_plan, worn):
    forecast = forecast_wear(WORN, worn, DatedLimits(upper=14.612), small_plan)
    assert forecast.slope_per_100 == pytest.approx(0.002, rel=0.05)
    assert forecast.count_now == 392
    assert 560 < forecast.change_by_count < 600
    # 8 draws a day: about 190 draws ahead are 23 days
    assert timedelta(days=18) < forecast.change_by_day - TODAY < timedelta(days=27)
    assert f"change it by draw {forecast.change_by_count}" in forecast.sentence


def test_a_slope_that_is_little_known_is_told_with_its_interval(small_plan, points, worn):
    """Eight tubes: the draws were told as if the pace were known; as scipy's own line has it."""
    assert " (" not in forecast_wear(WORN, worn, DatedLimits(upper=14.612), small_plan).sentence
    counts = np.arange(0, 64, 8)
    values = 14.60 + 4e-5 * counts + 3e-4 * np.random.default_rng(5).standard_normal(8)
    few = points(values, tool=["D-2"] * 8, tool_count=[int(c) for c in counts], day=[TODAY] * 8)
    said = forecast_wear(WORN, few, DatedLimits(upper=14.612), small_plan).sentence
    line = linregress(counts, values)
    half = t.ppf(0.975, 6) * line.stderr
    low, high = (f"{1e5 * one:.1f}" for one in (line.slope - half, line.slope + half))
    assert f"µm ({low} to {high}) in 100 draws; change it by draw " in said


def test_without_a_limit_there_is_nothing_to_change_for(small_plan, worn):
    forecast = forecast_wear(WORN, worn, DatedLimits(), small_plan)
    assert forecast.change_by_count is None and forecast.change_by_day is None
    assert "no change to be planned yet" in forecast.sentence


def test_the_forecast_follows_the_tool_in_use(small_plan, points, worn):
    fresh = points(
        [14.6001, 14.6002, 14.6004, 14.6006],
        tool=["D-3"] * 4,
        tool_count=[0, 8, 16, 24],
        day=[TODAY] * 4,
    )
    assert forecast_wear(WORN, worn + fresh[:3], DatedLimits(upper=14.612), small_plan) is None
    plan = small_plan.model_copy(
        update={"tools": (Tool(id="D-3", name="die", tool_class="die", fitted=date(2026, 5, 30)),)}
    )
    forecast = forecast_wear(WORN, worn + fresh, DatedLimits(upper=14.612), plan)
    assert (forecast.tool, forecast.fitted_day) == ("D-3", date(2026, 5, 30))


def test_once_wear_has_quickened_the_forecast_rests_on_what_came_since(small_plan, points):
    """Twice as steep from the 36th tube on: told since when or not, the whole life's line is not believed."""
    counts = np.arange(0, 400, 8)
    values = 14.60 + 2e-5 * counts + 2e-5 * np.maximum(counts - 280, 0)
    values += 1e-4 * np.random.default_rng(1).standard_normal(50)
    days = [TODAY - timedelta(days=50 - n) for n in range(50)]
    series = points(values, tool=["D-2"] * 50, tool_count=[int(c) for c in counts], day=days)
    whole = forecast_wear(WORN, series, DatedLimits(upper=14.614), small_plan)
    since = forecast_wear(WORN, series, DatedLimits(upper=14.614), small_plan, 36)
    assert since.slope_per_100 == pytest.approx(0.004, rel=0.1)
    slope, start = np.polyfit(counts, values, 1)
    assert since.change_by_count < (14.614 - start) / slope - 20
    assert whole.slope_per_100 == pytest.approx(0.004, rel=0.1)
    few = forecast_wear(WORN, series, DatedLimits(upper=14.614), small_plan, 47)
    assert few == whole


def test_scatter_is_no_wear(small_plan, points):
    """Four tubes that happen to climb a little give no date to change the die by."""
    series = points(
        [14.6002, 14.5998, 14.6003, 14.6004], tool=["D-2"] * 4, tool_count=[0, 8, 16, 24], day=[TODAY] * 4
    )
    forecast = forecast_wear(WORN, series, DatedLimits(upper=14.602), small_plan)
    assert forecast.change_by_count is None and forecast.change_by_day is None
    assert forecast.sentence == "D-2 at draw 24: no clear wear yet."

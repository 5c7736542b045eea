from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.watch.budget import GREATEST_RATE, LEAST_RATE, expected_points, share_budget

TODAY = date(2026, 11, 24)


def test_rate_times_points_is_the_budget():
    budget = share_budget(1.0, [140.0, 60.0, 300.0])
    assert budget.rate * budget.points_per_month == pytest.approx(1.0)
    assert budget.days_between == pytest.approx(365.25 / 12)
    assert budget.series == 3


def test_more_series_are_watched_with_a_smaller_chance_each():
    assert share_budget(1.0, [10.0] * 80).rate == pytest.approx(share_budget(1.0, [10.0] * 20).rate / 4)


@pytest.mark.parametrize(("pace", "rate"), [([1.0], GREATEST_RATE), ([1e7], LEAST_RATE), ([], GREATEST_RATE)])
def test_rate_stays_where_thresholds_are_calibrated(pace, rate):
    assert share_budget(1.0, pace).rate == rate


def test_a_quiet_series_counts_one_point_a_month():
    assert expected_points([], TODAY) == 1.0
    assert expected_points([TODAY - timedelta(days=300)] * 50, TODAY) == 1.0


def test_only_the_last_quarter_counts_and_nothing_later():
    inside = [TODAY - timedelta(days=n) for n in range(0, 92, 2)]
    later = [TODAY + timedelta(days=1)] * 100
    assert expected_points(inside + later, TODAY) == pytest.approx(46 * 365.25 / 12 / 92)


@given(st.floats(0.05, 10), st.lists(st.floats(1, 60), min_size=1, max_size=60))
def test_never_more_than_the_budget(per_month, pace):
    budget = share_budget(per_month, pace)
    assert budget.rate * sum(pace) <= per_month * (1 + 1e-9) or budget.rate == LEAST_RATE


def test_sentence_names_days_and_series():
    said = share_budget(1.0, [10.0] * 25).sentence()
    assert said == "At this setting: about one false signal in 30 days over 25 series."
    assert "in 1 day over" in share_budget(30.0, [2000.0] * 4).sentence()

import math

import numpy as np
import pytest
from scipy import stats

from qc import trade
from qc.trade import TradeError

DRAWS = [0, 50, 100, 150, 200, 250]
OD = [14.6020, 14.6031, 14.6038, 14.6052, 14.6060, 14.6069]


def test_line_agrees_with_scipy():
    line = trade.fit_wear(DRAWS, OD, upper=14.612)
    other = stats.linregress(DRAWS, OD)
    assert line.slope == pytest.approx(other.slope)
    assert line.intercept == pytest.approx(other.intercept)
    half = stats.t.ppf(0.975, 4) * other.stderr
    assert line.slope_interval == pytest.approx((other.slope - half, other.slope + half))


def bound(x, side, n, line, spread, middle):
    t = stats.t.ppf(0.95, n - 2)
    return (
        line.intercept
        + line.slope * x
        + side * t * line.residual_sd * math.sqrt(1 + 1 / n + (x - middle) ** 2 / spread)
    )


@pytest.mark.parametrize(("sign", "limit"), [(1, 14.612), (-1, -14.612)])
def test_change_by_is_the_last_count_inside_by_stepping(sign, limit):
    """Plain loop over whole counts as the reference, both directions of wear."""
    values = [sign * v for v in OD]
    line = trade.fit_wear(DRAWS, values, **({"upper": limit} if sign > 0 else {"lower": limit}))
    spread, middle = np.var(DRAWS) * 6, np.mean(DRAWS)
    count = 250
    while sign * bound(count + 1, sign, 6, line, spread, middle) <= sign * limit:
        count += 1
    assert line.change_by_count == count == 471


def test_crossing_interval_solves_the_inverse_regression():
    line = trade.fit_wear(DRAWS, OD, upper=14.612)
    at, low, high = line.line_crossing
    spread, middle = np.var(DRAWS) * 6, np.mean(DRAWS)
    t = stats.t.ppf(0.975, 4)
    assert low < at < high
    for end in (low, high):
        half = t * line.residual_sd * math.sqrt(1 / 6 + (end - middle) ** 2 / spread)
        assert abs(line.intercept + line.slope * end - 14.612) == pytest.approx(half, rel=1e-9)


def test_prediction_bound_keeps_its_promise():
    """A piece drawn at the change-by count is inside in 95 % of cases (simulated, three standard errors)."""
    rng = np.random.default_rng(11)
    counts = np.arange(0, 200, 20)
    inside = made = 0
    for _ in range(1500):
        line = trade.fit_wear(counts, 10 + 0.02 * counts + rng.normal(0, 0.5, 10), upper=16)
        if line.change_by_count is not None:
            made += 1
            inside += 10 + 0.02 * line.change_by_count + rng.normal(0, 0.5) <= 16
    assert made > 1450
    assert inside / made == pytest.approx(0.95, abs=0.02)


def test_no_clear_slope_gives_no_crossing():
    line = trade.fit_wear([0, 10, 20, 30], [5.0, 5.1, 4.9, 5.02], upper=6)
    assert line.line_crossing is None
    assert "not clear" in " ".join(line.warnings)


def test_heading_away_from_the_only_limit():
    line = trade.fit_wear(DRAWS, OD, lower=14.5)
    assert line.line_crossing is None
    assert line.limit == 14.5


def test_both_limits_take_the_one_ahead():
    assert trade.fit_wear(DRAWS, OD, lower=14.5, upper=14.612).limit == 14.612
    assert trade.fit_wear(DRAWS, OD[::-1], lower=14.5, upper=14.612).limit == 14.5
    assert trade.fit_wear(DRAWS, OD).limit is None


def test_a_change_that_is_due_is_said():
    due = trade.fit_wear(DRAWS, OD, upper=14.6065)
    assert due.change_by_count < 250
    assert "change the tool now" in " ".join(due.warnings)
    never = trade.fit_wear(DRAWS, OD, upper=14.601)
    assert never.change_by_count is None
    assert "now" in " ".join(never.warnings)


def test_late_wear_that_quickens_is_watched_for():
    x = np.arange(0, 300, 20.0)
    rng = np.random.default_rng(1)
    straight = trade.fit_wear(x, 14.6 + 2e-5 * x + rng.normal(0, 1e-4, len(x)))
    quick = trade.fit_wear(x, 14.6 + 2e-5 * x + 2e-7 * x**2 + rng.normal(0, 1e-4, len(x)))
    assert not any("no longer even" in warning for warning in straight.warnings)
    assert any("no longer even" in warning for warning in quick.warnings)


def test_once_the_line_is_clearly_left_the_forecast_rests_on_what_came_since(rng, at_least):
    """Chrome worn through at draw 160: the whole life's line would promise a hundred draws too many."""
    x = np.arange(0, 210, 2.0)
    worn = 14.876 + 8e-5 * x + 6e-4 * np.maximum(x - 160, 0)
    truth = 160 + (14.93 - 14.876 - 8e-5 * 160) / 6.8e-4
    held, inside, slopes = [], [], []
    for _ in range(200):
        line = trade.fit_wear(x, worn + rng.normal(0, 0.0025, len(x)), upper=14.93)
        assert line.n == len(x)
        assert "rests on the" in line.warnings[0] and "pieces since count 1" in line.warnings[0]
        held.append(line.line_crossing[1] < truth < line.line_crossing[2])
        inside.append(208 < line.change_by_count < truth)
        slopes.append(line.slope)
    assert at_least(0.95, held) and at_least(0.95, inside)
    assert np.median(slopes) == pytest.approx(6.8e-4, rel=0.03)


def test_a_straight_line_is_never_cut_short():
    random = np.random.default_rng(3)
    for _ in range(200):
        x = np.arange(0, 120, 4.0)
        y = 14.6 + 2e-5 * x + random.normal(0, 1e-4, len(x))
        line = trade.fit_wear(x, y, upper=14.612)
        assert line.slope == pytest.approx(np.polyfit(x, y, 1)[0])
        assert not any("rests on the" in warning for warning in line.warnings)


def test_far_guesses_are_called_so():
    line = trade.fit_wear(DRAWS, OD, upper=14.7)
    assert any("far beyond" in warning for warning in line.warnings)


@pytest.mark.parametrize(("counts", "values", "words", "index"), [
    ([0, 50, 40], [1, 2, 3], "the count falls from 50 to 40", 2),
    ([0, 50, 100], [1, math.nan, 3], "not a reading", 1),
    ([-5, 50, 100], [1, 2, 3], "not a count", 0),
    ([0, 50], [1, 2], "make no line", None),
    ([5, 5, 5], [1, 2, 3], "make no line", None),
    ([0, 50], [1, 2, 3], "2 counts for 3 values", None),
])  # fmt: skip
def test_logs_that_are_refused(counts, values, words, index):
    with pytest.raises(TradeError, match=words) as caught:
        trade.fit_wear(counts, values, upper=10)
    assert caught.value.index == index


def test_limits_the_wrong_way_round():
    with pytest.raises(TradeError, match="Swap"):
        trade.fit_wear(DRAWS, OD, lower=15, upper=14)


def test_a_perfect_line_has_no_width():
    line = trade.fit_wear([0, 10, 20], [0.0, 1.0, 2.0], upper=5.0)
    assert line.line_crossing == pytest.approx((50, 50, 50))
    assert line.change_by_count in (49, 50)
    assert line.to_dict()["n"] == 3


@pytest.mark.parametrize(
    ("slope", "limits", "meets"), [(0.01, {"upper": 3.0}, 200), (-0.02, {"lower": 0.0}, 50)]
)
def test_readings_exactly_on_a_line_meet_the_limit_where_the_line_does(slope, limits, meets):
    counts = list(range(0, 100, 10))
    line = trade.fit_wear(counts, [1.0 + slope * count for count in counts], **limits)
    assert line.line_crossing == pytest.approx((meets, meets, meets))
    assert line.change_by_count in (meets - 1, meets)


def test_a_figure_that_stands_still_is_not_said_to_move_away():
    line = trade.fit_wear([0, 10, 20, 30, 40, 50, 60], [1.0] * 7, upper=3.0)
    assert line.line_crossing is None and line.change_by_count is None
    assert any("does not move towards its limit" in warning for warning in line.warnings)


def test_equal_readings_name_no_count_at_all():
    line = trade.fit_wear(np.arange(0.0, 300.0, 10.0), np.full(30, 14.6), upper=14.612)
    assert (line.slope, line.residual_sd, line.change_by_count, line.line_crossing) == (0.0, 0.0, None, None)

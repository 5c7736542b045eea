"""Wear forecasts: certified lines, the bound by root search, and coverage of what is promised."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from qc import trade
from qc.trade import TradeError

NORRIS = json.loads((Path(__file__).parents[2] / "published" / "charts_norris.json").read_text("utf-8"))["F1"]
few = settings(max_examples=40, deadline=None)
seeds = st.integers(0, 2**32 - 1)


def log(seed, n=15, slope=0.02, sd=0.4, step=20):
    """A straight log of a tool: counts and figures."""
    rng = np.random.default_rng(seed)
    counts = np.cumsum(rng.integers(1, step, n)).astype(float)
    return counts, 10.0 + slope * counts + rng.normal(0, sd, n)


def bound(counts, values, side, confidence=0.95):
    """The one-sided prediction bound for the next piece, from another library's line."""
    model = sm.OLS(values, sm.add_constant(counts)).fit()
    t = stats.t.ppf(confidence, len(counts) - 2)
    spread, middle = np.sum((counts - counts.mean()) ** 2), counts.mean()

    def at(count):
        width = math.sqrt(model.scale * (1 + 1 / len(counts) + (count - middle) ** 2 / spread))
        return model.params[0] + model.params[1] * count + side * t * width

    return at


def test_certified_line_of_a_reference_data_set():
    """NIST StRD Norris: slope, intercept and residual sd to nine digits, pieces put in order of the count."""
    order = np.argsort(NORRIS["data"]["x"], kind="stable")
    x, y = (np.array(NORRIS["data"][name])[order] for name in ("x", "y"))
    line = trade.fit_wear(x, y)
    known = NORRIS["published"]
    assert line.slope == pytest.approx(known["b1"], rel=1e-9)
    assert line.intercept == pytest.approx(known["b0"], rel=1e-9)
    assert line.residual_sd == pytest.approx(math.sqrt(known["SSE"] / known["df"]), rel=1e-9)
    half = stats.t.ppf(0.975, known["df"]) * known["se_b1"]
    assert line.slope_interval == pytest.approx((known["b1"] - half, known["b1"] + half), rel=1e-9)


@few
@given(seeds, st.sampled_from([0.8, 0.95, 0.99]))
def test_line_and_interval_agree_with_another_library(seed, confidence):
    counts, values = log(seed, n=7)
    line = trade.fit_wear(counts, values, confidence=confidence)
    other = sm.OLS(values, sm.add_constant(counts)).fit()
    assert (line.intercept, line.slope) == (pytest.approx(other.params[0]), pytest.approx(other.params[1]))
    assert line.residual_sd == pytest.approx(math.sqrt(other.scale))
    assert line.slope_interval == pytest.approx(tuple(other.conf_int(1 - confidence)[1]))
    assert line.limit is None and line.line_crossing is None and line.change_by_count is None


@few
@given(seeds, st.floats(0.5, 6.0), st.sampled_from([1, -1]))
def test_the_change_is_due_where_the_prediction_bound_meets_the_limit(seed, room, side):
    """Second route: root search on the bound of another library, to the right of where it is least."""
    counts, values = log(seed, n=7, slope=0.02 * side)
    limit = 10.0 + side * (0.02 * counts[-1] + room)
    line = trade.fit_wear(counts, values, **{"upper" if side > 0 else "lower": limit})
    at = bound(counts, values, side)

    def over(count):
        return side * (at(count) - limit)

    least = optimize.minimize_scalar(over, bounds=(0.0, counts[-1] * 50), method="bounded").x
    if over(least) > 0:
        assert line.change_by_count is None
    elif over(1e9) <= 0:
        assert line.change_by_count is None and "no change to plan" in " ".join(line.warnings)
    else:
        assert line.change_by_count == math.floor(optimize.brentq(over, least, 1e9))


@few
@given(seeds, st.floats(1.0, 6.0))
def test_the_crossing_holds_every_count_at_which_a_test_would_not_refuse_the_limit(seed, room):
    """Fieller's interval: at its ends the line's own confidence interval just touches the limit."""
    counts, values = log(seed, n=7)
    limit = 10.0 + 0.02 * counts[-1] + room
    line = trade.fit_wear(counts, values, upper=limit)
    assume(line.line_crossing is not None)
    model = sm.OLS(values, sm.add_constant(counts)).fit()
    middle, low, high = line.line_crossing
    assert low < middle < high
    for count in (low, high):
        touched = model.get_prediction([[1.0, count]]).conf_int(alpha=0.05)[0]
        assert min(abs(touched - limit)) == pytest.approx(0.0, abs=1e-6)
    assert model.params[0] + model.params[1] * middle == pytest.approx(limit)


@few
@given(seeds, st.floats(0.1, 10.0), st.floats(-20.0, 20.0))
def test_units_of_the_figure_and_its_zero_do_not_move_the_count(seed, unit, zero):
    """Micrometres or inches, from the nominal or from nought: the tool is changed at the same draw."""
    counts, values = log(seed, n=9)
    limit = 10.0 + 0.02 * counts[-1] + 2.0
    plain = trade.fit_wear(counts, values, upper=limit)
    other = trade.fit_wear(counts, unit * values + zero, upper=unit * limit + zero)
    assert other.slope == pytest.approx(unit * plain.slope, rel=1e-7)
    assert other.residual_sd == pytest.approx(unit * plain.residual_sd, rel=1e-7)
    if plain.change_by_count is not None:
        assert other.change_by_count == pytest.approx(plain.change_by_count, abs=1)
    if plain.line_crossing is not None:
        assert other.line_crossing == pytest.approx(plain.line_crossing, rel=1e-6)


@few
@given(seeds)
def test_wear_the_other_way_round_is_the_mirror(seed):
    counts, values = log(seed, n=9)
    limit = 10.0 + 0.02 * counts[-1] + 2.0
    up = trade.fit_wear(counts, values, upper=limit)
    down = trade.fit_wear(counts, -values, lower=-limit)
    assert (down.slope, down.limit) == (pytest.approx(-up.slope), -limit)
    assert down.change_by_count == up.change_by_count
    assert down.warnings == up.warnings
    assert (down.line_crossing is None) == (up.line_crossing is None)


def test_intervals_of_slope_and_crossing_cover():
    """1,500 straight logs of 12 pieces; both intervals hold the truth in 95 %, three standard errors 1.7 %.

    The crossing has an interval only where the slope is clear, which is nearly always here.
    """
    rng = np.random.default_rng(80)
    counts = np.arange(0.0, 240.0, 20.0)
    slope_hits = crossing_hits = made = 0
    for _ in range(1500):
        values = 10.0 + 0.02 * counts + rng.normal(0, 0.6, 12)
        line = trade.fit_wear(counts, values, upper=17.0)
        slope_hits += line.slope_interval[0] <= 0.02 <= line.slope_interval[1]
        if line.line_crossing is not None:
            made += 1
            crossing_hits += line.line_crossing[1] <= 350.0 <= line.line_crossing[2]
    assert slope_hits / 1500 == pytest.approx(0.95, abs=0.017)
    assert made > 1450
    assert crossing_hits / made == pytest.approx(0.95, abs=0.018)


def test_the_piece_drawn_at_the_forecast_is_inside_when_pieces_are_few_too():
    """Six pieces only: 95 % of the next pieces, drawn at the change-by count, keep the limit (1,500 logs)."""
    rng = np.random.default_rng(81)
    counts = np.arange(0.0, 120.0, 20.0)
    inside = made = 0
    for _ in range(1500):
        line = trade.fit_wear(counts, 10.0 + 0.05 * counts + rng.normal(0, 0.5, 6), upper=20.0)
        if line.change_by_count is not None:
            made += 1
            inside += 10.0 + 0.05 * line.change_by_count + rng.normal(0, 0.5) <= 20.0
    assert made > 1450
    assert inside / made == pytest.approx(0.95, abs=0.018)


def test_a_warning_of_a_bend_is_rarely_false():
    """1 % where the wear is straight (`BEND_RISK`): 500 logs of 15 pieces, three standard errors 1.3 %."""
    rng = np.random.default_rng(82)
    counts = np.arange(0.0, 150.0, 10.0)
    warned = 0
    for _ in range(500):
        line = trade.fit_wear(counts, 5.0 + 0.01 * counts + rng.normal(0, 0.2, 15))
        warned += any("no longer even" in warning for warning in line.warnings)
    assert warned / 500 <= trade.BEND_RISK + 0.0134


def test_the_forecast_after_a_break_is_that_of_the_pieces_since():
    counts = np.arange(0.0, 200.0, 5.0)
    rng = np.random.default_rng(83)
    values = 14.876 + 8e-5 * counts + 6e-4 * np.maximum(counts - 130, 0) + rng.normal(0, 0.001, len(counts))
    whole = trade.fit_wear(counts, values, upper=14.95)
    since = float(whole.warnings[0].rsplit(" ", 1)[1])
    kept = counts >= since
    lately = trade.fit_wear(counts[kept], values[kept], upper=14.95)
    assert whole.n == len(counts) and lately.n == kept.sum()
    assert f"rests on the {kept.sum()} pieces since count {since:g}" in whole.warnings[0]
    assert (whole.slope, whole.change_by_count) == (lately.slope, lately.change_by_count)
    assert 125 <= since <= 150


@pytest.mark.parametrize(("n", "room", "words"), [
    (4, 1.0, "only 4 pieces on this tool: the forecast is wide"),
    (12, 100.0, "the limit is far beyond what this tool has done"),
    (12, 0.02, "the change was due at count"),
    (12, -12.0, "the next piece may already fall outside"),
])  # fmt: skip
def test_what_a_reader_must_know_is_said(n, room, words):
    counts = np.arange(n) * 10.0
    values = 10.0 + 0.1 * counts + 0.01 * (-1.0) ** np.arange(n)
    line = trade.fit_wear(counts, values, upper=10.0 + 0.1 * counts[-1] + room)
    assert any(words in warning for warning in line.warnings)
    assert json.loads(json.dumps(line.to_dict()))["warnings"] == list(line.warnings)


def test_a_figure_that_moves_away_from_its_only_limit_needs_no_change():
    counts = np.arange(0.0, 100.0, 10.0)
    line = trade.fit_wear(counts, 10.0 - 0.1 * counts + 0.01 * np.cos(counts), upper=12.0)
    assert (line.line_crossing, line.change_by_count) == (None, None)
    assert line.warnings == ("the figure does not move towards its limit: no change to plan",)


@pytest.mark.parametrize(("counts", "values", "problem", "mend", "index", "column"), [
    ([0, 50, 40], [1, 2, 3], "the count falls from 50 to 40", "tool a name of its own", 2, "count"),
    ([0, math.nan, 100], [1, 2, 3], "count nan is not a count", "Counts start at 0", 1, "count"),
    ([0, 50, 100], [1, 2, math.inf], "inf is not a reading", "Measure the piece again", 2, "value"),
    ([7, 7, 7], [1, 2, 3], "3 pieces at 1 counts make no line", "Three pieces or more", None, None),
    ([], [], "0 pieces at 0 counts", "Three pieces or more", None, None),
    ([0, 1, 2], [1, 2], "3 counts for 2 values", "one count for each value", None, None),
])  # fmt: skip
def test_logs_that_make_no_line_say_which_row_and_why(counts, values, problem, mend, index, column):
    with pytest.raises(TradeError, match=problem) as caught:
        trade.fit_wear(counts, values, upper=10.0)
    assert mend in caught.value.hint
    assert (caught.value.index, caught.value.column) == (index, column)

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc import trade
from qc.trade import TradeError

BORES = {"mouth": [14.052, 14.046], "middle": [14.050, 14.049], "crook": [14.055, 14.041]}
STOCKINGS = {"upper": [13.897, 13.892], "lower": [13.895, 13.894], "end": [13.899, 13.890]}
diameters = st.lists(st.floats(13.0, 15.0), min_size=1, max_size=6)


def test_worked_leg_of_the_trade_note():
    fit = trade.leg_clearance(BORES, STOCKINGS)
    assert fit.least_um == pytest.approx(142.0)
    assert fit.greatest_um == pytest.approx(165.0)
    assert fit.mean_um == pytest.approx(1000 * (14.0488333 - 13.8945), abs=0.01)
    assert fit.least_station == "crook"
    assert [round(um, 1) for _, um in fit.stations] == [154.5, 155.0, 153.5]
    assert fit.to_dict()["stations"][0] == ["mouth", pytest.approx(154.5)]


def test_station_named_alike_is_set_against_its_own():
    fit = trade.leg_clearance({"a": [14.05], "b": [14.05]}, {"a": [13.90], "b": [13.88]})
    assert dict(fit.stations) == {"a": pytest.approx(150.0), "b": pytest.approx(170.0)}


@given(diameters, diameters)
def test_least_mean_greatest_are_in_order(bores, stockings):
    fit = trade.leg_clearance({"x": bores}, {"y": stockings})
    assert fit.least_um <= fit.mean_um + 1e-6
    assert fit.mean_um <= fit.greatest_um + 1e-6


@given(diameters, diameters, st.floats(-0.5, 0.5))
def test_clearance_does_not_care_where_the_gauge_zero_is(bores, stockings, shift):
    """The same zero error on both diameters leaves the clearance as it is."""
    first = trade.leg_clearance({"x": bores}, {"y": stockings})
    moved = trade.leg_clearance({"x": [b + shift for b in bores]}, {"y": [s + shift for s in stockings]})
    assert moved.least_um == pytest.approx(first.least_um, abs=1e-6)
    assert moved.mean_um == pytest.approx(first.mean_um, abs=1e-6)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_no_diameter(bad):
    with pytest.raises(TradeError, match="not a diameter"):
        trade.clearance_um(bad, 13.9)


def test_missing_side_is_named():
    with pytest.raises(TradeError, match="no stocking"):
        trade.leg_clearance({"a": [14.0]}, {"a": []})
    with pytest.raises(TradeError, match="no bore"):
        trade.leg_clearance({}, {"a": [13.9]})


def test_per_side_is_half_and_never_passes_for_diametral():
    assert trade.per_side_um(150.0) * 2 == 150.0


def test_form():
    assert trade.ovality_um([14.05, 14.04, 14.06]) == pytest.approx(20.0)
    assert trade.taper_um([14.06, 14.05]) == pytest.approx(-10.0)
    for call in (trade.ovality_um, trade.taper_um):
        with pytest.raises(TradeError):
            call([14.05])


def test_temperature_is_a_small_matter():
    """A warm brass tube read with an equally warm steel gauge is off by 0.7 um, not 1.7 (trade note 2)."""
    cold_gauge = 13.9 - trade.diameter_at_20c(13.9, 26)
    warm_gauge = 13.9 - trade.diameter_at_20c(13.9, 26, trade.STEEL_EXPANSION_PER_K)
    assert 1000 * cold_gauge == pytest.approx(1.66, abs=0.01)
    assert 0 < warm_gauge < cold_gauge
    assert trade.diameter_at_20c(13.9, 20) == 13.9


def test_stacks():
    assert trade.stack_worst_case([20, -20]) == 40
    assert trade.stack_root_sum_square([20, 20], [5, -3]) == pytest.approx(28.284 + 8, abs=0.001)
    assert trade.stack_root_sum_square([20, 20]) < trade.stack_worst_case([20, 20])


@pytest.mark.parametrize(
    "hole, shaft, kind",
    [((0, 18), (-17, -6), "clearance"), ((0, 18), (-5, 6), "transition"), ((0, 18), (23, 34), "interference"),
     ((0, 18), (-11, 0), "clearance")],
)  # fmt: skip
def test_two_limits_make_a_fit_that_every_pair_within_them_keeps(hole, shaft, kind):
    fit = trade.limit_fit(hole, shaft)
    assert fit.kind == kind and fit.spread_um == (hole[1] - hole[0]) + (shaft[1] - shaft[0])
    nominal = 14.0
    corners = [trade.clearance_um(nominal + h / 1000, nominal + s / 1000) for h in hole for s in shaft]
    assert (min(corners), max(corners)) == pytest.approx((fit.least_um, fit.greatest_um))


def test_limits_the_wrong_way_round_are_refused_by_the_part():
    with pytest.raises(TradeError, match="of the shaft .* Give the lower first") as refused:
        trade.limit_fit((0.0, 18.0), (-6.0, -17.0))
    assert refused.value.column == "shaft"

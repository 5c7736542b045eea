"""Guard bands after the pattern of ISO 14253-1."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from qc.stats.errors import StatisticsError
from qc.stats.gauges.guard import guard_band


def test_trade_value():
    """T113: limits 100 and 200, U 8: accept 108 to 192 (read in summaries of ISO 14253-1)."""
    band = guard_band(lower=100, upper=200, uncertainty=8)
    assert band.accept == (108, 192) and band.possible
    assert [band.judge(x) for x in (108, 192, 107.9, 100, 92, 91.9, 208, 208.1)] == [
        "accept", "accept", "not proven", "not proven", "not proven", "reject", "not proven", "reject",
    ]  # fmt: skip
    assert band.to_dict()["accept"] == [108, 192]


def test_one_limit_and_gauge_sd():
    band = guard_band(upper=20.0, gauge_sd=0.5)
    assert band.accept == (None, 19.0)
    assert [band.judge(x) for x in (-1e9, 19.5, 21.5)] == ["accept", "not proven", "reject"]
    assert guard_band(lower=1.0, gauge_sd=0.1, coverage=3.0).accept == (pytest.approx(1.3), None)


def test_band_wider_than_the_tolerance_accepts_nothing():
    band = guard_band(lower=0.0, upper=1.0, uncertainty=0.6)
    assert not band.possible
    assert {band.judge(x / 10) for x in range(-5, 16)} <= {"not proven"}


def test_an_accepted_piece_is_outside_at_most_as_often_as_promised():
    """Second route: a reading at the edge of the zone, U = 2 sd, leaves 2.3 % beyond the limit."""
    edge = guard_band(upper=10.0, gauge_sd=0.25).accept[1]
    assert stats.norm.sf((10.0 - edge) / 0.25) == pytest.approx(0.02275, abs=1e-5)


@given(st.floats(-100, 100), st.floats(0.1, 50), st.floats(0, 10), st.floats(-200, 200))
def test_more_uncertainty_never_proves_more(lower, width, uncertainty, reading):
    narrow = guard_band(lower=lower, upper=lower + width, uncertainty=uncertainty).judge(reading)
    wide = guard_band(lower=lower, upper=lower + width, uncertainty=uncertainty + 1).judge(reading)
    assert wide in (narrow, "not proven")


@pytest.mark.parametrize(
    "options, said",
    [
        ({"uncertainty": 1.0}, "no limit given"),
        ({"lower": 2.0, "upper": 1.0, "uncertainty": 1.0}, "lower limit 2 is not below"),
        ({"lower": math.nan, "uncertainty": 1.0}, "lower limit is nan"),
        ({"lower": 2.0}, "give either"),
        ({"lower": 2.0, "uncertainty": 1.0, "gauge_sd": 1.0}, "give either"),
        ({"lower": 2.0, "uncertainty": -1.0}, "uncertainty is -1.0"),
    ],
)
def test_bad_questions_are_named(options, said):
    with pytest.raises(StatisticsError, match=said):
        guard_band(**options)


def test_reading_must_be_a_number():
    with pytest.raises(StatisticsError, match="reading is nan"):
        guard_band(lower=2.0, uncertainty=1.0).judge(math.nan)

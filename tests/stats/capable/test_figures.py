"""Capability: the agreed keys, the handbook's figures, verdicts, and when it says nothing."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.stats.capable.bounds import cp_bound, one_sided_bound, two_sided_bound
from qc.stats.capable.figures import capability
from qc.stats.capable.result import verdict
from qc.stats.errors import StatisticsError, StatisticsUsageError

D3 = json.loads((Path(__file__).parents[2] / "published/capability_indices.json").read_text("utf-8"))["D3"]
KEYS = {
    "cp", "cpk", "cpm", "pp", "ppk", "intervals", "confidence", "outside_ppm", "outside_interval", "reason",
    "method", "capable",
}  # fmt: skip


def sample(n, mean, sd):
    """Readings with exactly this mean and sample sd."""
    raw = np.sin(np.arange(n) * 1.7) + 0.1 * np.arange(n) / n
    return mean + sd * (raw - raw.mean()) / raw.std(ddof=1)


def test_handbook_example():
    """NIST 6.1.6 (from memory): mean 16, sd 2, limits 8 and 20, target 14."""
    found = capability(sample(40, 16.0, 2.0), lower=8, upper=20, target=14)
    assert found.cp == pytest.approx(D3["published"]["Cp"], abs=6e-5)
    assert found.cpk == pytest.approx(D3["published"]["Cpk"], abs=6e-5)
    assert found.cpm == pytest.approx(D3["recomputed"]["Cpm"], abs=1e-10)
    assert found.outside_ppm == pytest.approx(D3["recomputed"]["ppm_out"], abs=1e-4)


def test_two_sided_trade_value():
    """T112: mean 152, sd 9, limits 120 and 200."""
    assert capability(sample(30, 152, 9), lower=120, upper=200).ppk == pytest.approx(1.1852, abs=5e-5)


def test_dictionary_has_the_agreed_keys_and_is_strict_json():
    for result in (
        capability(sample(45, 0, 1), lower=-3, upper=4),
        capability(sample(45, 0, 1), upper=4),
        capability(sample(9, 0, 1), upper=4),
        capability(sample(60, 20, 1), lower=15, upper=40, shape="positive"),
    ):
        plain = result.to_dict()
        assert set(plain) == KEYS
        assert set(plain["intervals"]) == {"cp", "cpk", "cpm", "pp", "ppk"}
        assert json.loads(json.dumps(plain, allow_nan=False)) == plain


def test_cp_and_cpk_take_the_charts_sigma_the_others_the_sample_sd():
    found = capability(sample(45, 0, 1), lower=-3, upper=4, sigma=0.8, sigma_df=27.0)
    assert found.cp == pytest.approx(7 / 4.8)
    assert found.cpk == pytest.approx(3 / 2.4)
    assert found.pp == pytest.approx(7 / 6)
    assert found.ppk == pytest.approx(1.0)
    two = np.array([0.025, 0.975])
    assert found.cp_interval == pytest.approx(cp_bound(7 / 4.8, two, 27))
    assert found.cpk_interval == pytest.approx(two_sided_bound(3 / 2.4, two, 45, 27))
    assert found.ppk_interval == pytest.approx(two_sided_bound(1.0, two, 45, 44))
    assert found.ppk_bounds == pytest.approx(two_sided_bound(1.0, [0.05, 0.95], 45, 44))


def test_one_limit_leaves_cp_and_pp_out_and_is_exact():
    found = capability(sample(45, 0, 1), lower=-3.45, target=0.0)
    assert found.cp is None and found.pp is None and found.cpm is None
    assert found.ppk_interval == pytest.approx(one_sided_bound(1.15, [0.025, 0.975], 45, 44))
    assert "noncentral t" in found.method
    mirrored = capability(-sample(45, 0, 1), upper=3.45)
    assert mirrored.ppk_interval == pytest.approx(found.ppk_interval)


@pytest.mark.parametrize("ppk, capable", [(1.6, "proven"), (1.1, "unproven"), (0.9, "unproven"), (0.5, "no")])
def test_verdict_rests_on_the_bounds(ppk, capable):
    found = capability(sample(45, 0, 1), lower=-3 * ppk, upper=30)
    assert found.capable == capable
    assert (found.pieces_to_settle == 0) == (capable != "unproven")
    assert capable.split()[0] in found.sentence.lower() or capable == "no"


def test_verdict_boundary_is_inclusive():
    low = float(two_sided_bound(1.3, 0.05, 45, 44))
    readings = sample(45, 0, 1)
    assert capability(readings, lower=-3.9, upper=30, wanted=low - 1e-9).capable == "proven"
    assert capability(readings, lower=-3.9, upper=30, wanted=low + 1e-9).capable == "unproven"
    assert verdict((1.0, 1.2), 1.0) == "proven"
    assert verdict((0.8, 1.0), 1.0) == "unproven"


def test_more_pieces_like_these_do_settle_it():
    first = capability(sample(45, 0, 1), lower=-3.45, upper=30)
    assert first.capable == "unproven"
    after = capability(sample(45 + first.pieces_to_settle, 0, 1), lower=-3.45, upper=30)
    assert after.capable == "proven"
    assert f"about {first.pieces_to_settle} more pieces" in first.sentence


@pytest.mark.parametrize("shape", ["normal", "positive", "weibull"])
def test_nineteen_pieces_give_no_figure_and_twenty_do(shape):
    few = capability(sample(19, 20, 1), lower=15, upper=40, shape=shape)
    assert few.reason == "19 pieces are too few: at least 20 are needed"
    assert few.capable == "unproven"
    assert few.ppk is None and few.cp is None and few.outside_ppm is None and few.outside_interval is None
    assert set(few.to_dict()["intervals"].values()) == {None}
    assert few.pieces_to_settle >= 1
    assert capability(sample(20, 20, 1), lower=15, upper=40, shape=shape).ppk is not None


def test_even_hopeless_few_pieces_give_no_verdict():
    """A verdict on a sample too small to show stability would be luck either way."""
    assert capability(sample(10, 50, 1), lower=0, upper=10).capable == "unproven"


def test_unstable_process_gives_no_figure():
    found = capability(
        sample(60, 0, 1), lower=-9, upper=9, stable=False, unstable_because="shift at piece 41"
    )
    assert found.ppk is None and found.capable == "unproven"
    assert "not stable" in found.reason and "shift at piece 41" in found.reason
    assert found.pieces_to_settle is None


def test_constant_readings_are_withheld_unless_the_step_is_known():
    assert "resolution" in capability([5.0] * 30, lower=4, upper=6).reason
    floored = capability([5.0] * 30, lower=4, upper=6, resolution=0.1)
    assert floored.pp == pytest.approx(2 / (6 * 0.1 / math.sqrt(12)))
    assert "resolution / sqrt 12" in floored.method
    assert "resolution" not in capability(sample(30, 5, 1), lower=0, upper=9, resolution=0.1).method
    assert "equal" in capability([5.0] * 30, lower=4, upper=6, resolution=0.1, shape="positive").reason


def test_gauge_spread_is_shown_beside():
    found = capability(sample(40, 0, 1), lower=-3, upper=3, gauge_sd=0.6)
    assert found.gauge.ppk == pytest.approx(found.ppk / 0.8)
    assert capability(sample(40, 0, 1), lower=-3, upper=3, gauge_sd=1.2).gauge.ppk is None
    assert capability(sample(40, 0, 1), lower=-3, upper=3).gauge is None


def test_shaped_figures_leave_cp_and_cpk_out():
    readings = np.exp(sample(60, 0, 0.3))
    found = capability(readings, lower=0.2, upper=4.0, shape="positive")
    assert found.cp is None and found.cpk is None and found.ppk is not None
    assert "lognormal" in found.method
    assert found.outside_interval[0] <= found.outside_ppm <= found.outside_interval[1]
    assert capability(readings, lower=0.2, upper=2.5, shape="positive").pieces_to_settle != 0
    assert "741" in capability(readings, upper=4.0, shape="any").reason


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.integers(-500, 500), min_size=20, max_size=60),
    st.integers(-1000, 1000),
    st.sampled_from([0.5, 8.0]),
)
def test_shift_scale_and_order_change_nothing(numbers, shift, scale):
    readings = np.array(numbers, dtype=float)
    if np.ptp(readings) == 0:
        readings[0] += 1
    here = capability(readings, lower=-600, upper=700)
    there = capability(
        scale * np.sort(readings) + shift, lower=-600 * scale + shift, upper=700 * scale + shift
    )
    assert there.ppk == pytest.approx(here.ppk, rel=1e-9)
    assert there.ppk_interval == pytest.approx(here.ppk_interval, rel=1e-9)
    assert there.outside_ppm == pytest.approx(here.outside_ppm, rel=1e-6, abs=1e-9)
    assert there.capable == here.capable


@settings(max_examples=25, deadline=None)
@given(st.floats(0.2, 3.0), st.integers(20, 300))
def test_duplicated_readings_narrow_the_interval(ppk, n):
    readings = sample(n, 0, 1)
    once, twice = (capability(x, upper=3 * ppk).ppk_interval for x in (readings, np.tile(readings, 2)))
    assert twice[1] - twice[0] < once[1] - once[0]


@pytest.mark.parametrize(
    "options, error, said",
    [
        ({}, StatisticsError, "no limit given"),
        ({"lower": 5, "upper": 4}, StatisticsError, "lower limit 5 is not below upper limit 4"),
        ({"lower": 1, "upper": 4, "target": 9}, StatisticsError, "target 9 lies outside"),
        ({"lower": math.nan}, StatisticsError, "lower limit is nan"),
        ({"upper": 4, "sigma": 0.0}, StatisticsError, "sigma is 0.0"),
        ({"upper": 4, "wanted": -1.0}, StatisticsError, "wanted Ppk is -1.0"),
        ({"upper": 4, "confidence": 1.0}, StatisticsError, "confidence is 1.0"),
        ({"upper": 4, "shape": "square"}, StatisticsUsageError, "'square' is not known"),
    ],
)
def test_bad_questions_are_named(options, error, said):
    with pytest.raises(error, match=said):
        capability(sample(30, 0, 1), **options)


@pytest.mark.parametrize("readings", [[1.0], [], [1.0, math.nan] * 15, [1.0, math.inf] * 15, ["a", "b"] * 20])
def test_readings_that_will_not_do(readings):
    with pytest.raises(StatisticsError, match="capability: value"):
        capability(readings, upper=3)


def test_result_is_frozen():
    with pytest.raises(AttributeError):
        capability(sample(30, 0, 1), upper=3).ppk = 2.0

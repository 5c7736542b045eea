"""Capability of a learned shape, against the exact interval, scipy's distributions and itself moved."""

import numpy as np
import pytest
from scipy import stats

from qc.stats import Noise, StatisticsError, capability, learned_capability, natural_limits
from qc.stats.capable import Limits
from qc.stats.capable.effective import worth_of
from qc.stats.capable.plausible import Shapes, draws_of

READINGS = np.random.default_rng(11).normal(10.0, 0.2, 60)
KNOWN = Noise(pieces=4000)


@pytest.mark.parametrize("limits", [Limits(None, 11.0), Limits(9.2, 11.0)], ids=["one limit", "two limits"])
def test_normal_readings_give_what_the_study_gives_and_a_verdict_on_the_interval(limits):
    study = capability(READINGS, lower=limits.lower, upper=limits.upper)
    board = learned_capability(READINGS, limits, Noise(), shape="normal")
    assert (board.ppk, board.ppk_interval) == (study.ppk, study.ppk_interval)
    assert board.outside_interval == study.outside_interval
    assert board.ppk_bounds == board.ppk_interval


def test_the_verdict_is_never_beside_its_interval():
    upper = 10.0 + 0.2 * 3 * np.linspace(0.6, 1.6, 41)
    verdicts = set()
    for edge in upper:
        for shape in ("auto", "normal", "positive", "any"):
            found = learned_capability(READINGS, Limits(None, edge), KNOWN, shape=shape)
            low, high = found.ppk_interval
            assert found.capable == ("proven" if low >= 1 else "no" if high < 1 else "unproven")
            verdicts.add(found.capable)
    assert verdicts == {"proven", "no", "unproven"}


def test_one_normal_shape_gives_the_exact_interval():
    # the noncentral t of the study, against draws of level and spread: they agree to their fineness
    one = Shapes(np.zeros(1), np.zeros(1), np.zeros(1), np.zeros(1))
    draws = draws_of(READINGS, one, worth_of(Noise(), None, 60), 0.0)
    low, high = draws.quantiles(draws.scores(10.9) / 3, (0.025, 0.975))
    assert (low, high) == pytest.approx(capability(READINGS, upper=10.9).ppk_interval, abs=0.03)


@pytest.mark.parametrize("tails", [0.1, 0.2], ids=["t10", "t5"])
def test_scores_of_limits_are_those_of_student(tails):
    one = Shapes(np.zeros(1), np.array([tails]), np.zeros(1), np.zeros(1))
    draws = draws_of(READINGS, one, worth_of(Noise(), None, 60), 0.0)
    limit = 13.0
    u = (limit - draws.level) / draws.spread
    exact = stats.norm.isf(stats.t(1 / tails).sf(u))
    assert draws.scores(limit) == pytest.approx(exact, rel=1e-3)


@pytest.mark.parametrize("shape", ["auto", "normal", "any"])
def test_unit_and_side_change_nothing(shape):
    found = learned_capability(
        READINGS, Limits(9.3, 10.8), Noise(skew=0.2, tails=0.05, pieces=500), shape=shape
    )
    moved = learned_capability(
        1000 - 25 * READINGS,
        Limits(1000 - 25 * 10.8, 1000 - 25 * 9.3),
        Noise(skew=-0.2, tails=0.05, pieces=500),
        shape=shape,
    )
    # draws are not laid out symmetrically, so the mirror image agrees to their fineness only
    assert moved.ppk_interval == pytest.approx(found.ppk_interval, rel=0.03)
    assert moved.ppk == pytest.approx(found.ppk, rel=0.03)


def test_pieces_that_hang_together_prove_less():
    lots = [str(piece // 4) for piece in range(60)]
    for shape in ("normal", "auto"):
        alone = learned_capability(READINGS, Limits(None, 10.4), KNOWN, shape=shape)
        noise = Noise(pieces=4000, lots=0.5)
        together = learned_capability(READINGS, Limits(None, 10.4), noise, lots=lots, shape=shape)
        assert together.ppk_interval[0] < alone.ppk_interval[0] - 0.05


def test_a_long_tail_towards_the_limit_is_not_taken_for_safety():
    skewed = np.exp(0.5 * np.random.default_rng(12).standard_normal(80))
    limit = Limits(None, float(np.exp(0.5 * 3)))  # its true Ppk is 1
    bell = learned_capability(skewed, limit, Noise(), shape="normal")
    low, high = learned_capability(
        skewed, limit, Noise(skew=0.5, tails=0.03, pieces=1200, own=80)
    ).ppk_interval
    assert bell.ppk_interval[0] > 1.0 and low < 1.0 < high


def test_few_pieces_tell_a_no_with_figures_and_nothing_else():
    bad = learned_capability(READINGS[:8], Limits(9.99, 10.01), Noise(), shape="normal")
    assert bad.capable == "no" and bad.ppk_interval[1] < 1.0 and bad.reason is None
    good = learned_capability(READINGS[:8], Limits(5.0, 15.0), KNOWN)
    assert (good.capable, good.ppk, good.ppk_interval) == ("unproven", None, None)
    assert good.reason == "8 pieces are too few: at least 20 are needed" and good.pieces_to_settle == 12


def test_equal_readings_need_the_step_of_the_gauge():
    flat = np.full(30, 5.0)
    assert "all readings are equal" in learned_capability(flat, Limits(None, 6.0), KNOWN).reason
    for shape in ("normal", "auto"):
        assert learned_capability(flat, Limits(None, 6.0), KNOWN, shape=shape, resolution=0.1).ppk > 1.0


def test_readings_at_zero_are_taken_as_any():
    zero = np.append(np.abs(READINGS - 10.0), 0.0)
    one = learned_capability(zero, Limits(None, 1.0), Noise(), shape="positive")
    assert one == learned_capability(zero, Limits(None, 1.0), Noise(), shape="any")


@pytest.mark.parametrize(
    "noise", [Noise(), Noise(skew=0.5), Noise(tails=0.2), Noise(skew=-0.4, tails=0.1)], ids=str
)
def test_natural_limits_hold_the_rate_of_a_known_shape(noise):
    # as many pieces as leave no doubt: what lies outside is the rate asked, by the distribution's own figures
    chance = (np.arange(20_000) + 0.5) / 20_000
    u = stats.norm.ppf(chance) if noise.tails == 0 else stats.t(1 / noise.tails).ppf(chance)
    readings = u if noise.skew == 0 else np.expm1(noise.skew * u) / noise.skew
    rate = 0.01
    low, high = natural_limits(readings, noise, rate)
    outside = np.mean((readings < low) | (readings > high))
    assert 0.9 * rate < outside < 1.01 * rate  # below: 90 % sure


@pytest.mark.parametrize(
    "values, lots, says",
    [
        ([1.0, float("nan"), 2.0], None, "value"),
        ([1.0, float("inf"), 2.0], None, "value"),
        ([1.0], None, "value"),
        (["a", "b"], None, "value"),
        ([1.0, 2.0, 3.0], ["a", "b"], "2 lots for 3 pieces"),
    ],
)
def test_what_is_no_reading_is_refused(values, lots, says):
    for shape in ("auto", "normal", "positive", "any"):
        with pytest.raises(StatisticsError, match=says):
            learned_capability(values, Limits(None, 9.0), KNOWN, lots=lots, shape=shape)
        with pytest.raises(StatisticsError, match=says):
            natural_limits(values, KNOWN, 0.01, lots=lots, shape=shape)

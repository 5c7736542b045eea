"""Some pieces beside the others: against least squares by hand, and how often the interval holds."""

import numpy as np
import pytest
from scipy import stats

from qc.stats import LEAST_APART, LEAST_TOGETHER, StatisticsError, apart_from_others


def less_neighbours(values):
    """Take the mean of nine off in a plain loop, the ends shortened to what is there within."""
    first = [min(max(place - 4, 0), len(values) - 9) for place in range(len(values))]
    return np.array([value - np.mean(values[at : at + 9]) for value, at in zip(values, first, strict=True)])


def test_the_difference_is_that_of_least_squares_after_the_neighbours_are_off(rng):
    own = rng.random(60) < 0.4
    values = 5.0 + 1.5 * own + np.linspace(0.0, 6.0, 60) + rng.normal(size=60)
    found = apart_from_others(values.tolist(), own.tolist())
    level, share = less_neighbours(values - values.mean()), less_neighbours(own - own.mean())
    expected = stats.linregress(share, level).slope
    assert found.difference == pytest.approx(expected, abs=1e-9)
    assert found.n == 60 and found.own == own.sum() and found.counts_as <= 60
    low, high = found.interval
    assert low < found.difference < high


def test_models_of_other_sizes_are_no_difference_between_people(rng):
    """One person makes the large model mostly; compared with their like, the pieces do not differ."""
    model = rng.random(120) < 0.5
    own = rng.random(120) < np.where(model, 0.8, 0.2)
    values = 10.0 * model + rng.normal(size=120)
    pooled = apart_from_others(values.tolist(), own.tolist())
    apart = apart_from_others(values.tolist(), own.tolist(), model.tolist())
    assert pooled.p_value < 1e-3 < 0.01 < apart.p_value
    assert apart.interval[0] < 0.0 < apart.interval[1]


def test_a_step_in_time_is_no_difference_between_people(rng):
    """Who took over when the level stepped is not blamed for the step."""
    own = np.arange(80) >= 40
    own[[44, 50, 60, 70]] = False
    own[[4, 10, 20, 30]] = True
    values = 3.0 * (np.arange(80) >= 40) + rng.normal(size=80)
    assert apart_from_others(values.tolist(), own.tolist()).p_value > 0.01


@pytest.mark.slow
def test_the_interval_holds_and_chance_is_named_as_often_as_said(rng):
    """600 draws in lots of four, taken by turns: 95 % of the intervals, 5 % of the chances below 0.05."""
    held = below = 0
    for _ in range(600):
        own = np.repeat(rng.random(20) < 0.4, 3)
        noise = rng.normal(size=60) + np.repeat(rng.normal(size=15), 4)
        found = apart_from_others((noise + 0.7 * own).tolist(), own.tolist())
        if found is None:
            continue
        held += found.interval[0] <= 0.7 <= found.interval[1]
        below += apart_from_others(noise.tolist(), own.tolist()).p_value < 0.05
    assert held > 600 * 0.92 and below < 600 * 0.05 + 4 * (600 * 0.05 * 0.95) ** 0.5


def test_every_third_piece_by_one_person_does_not_look_like_lots(rng):
    own = np.arange(45) % 3 == 0
    found = apart_from_others((2.0 * own + 0.5 * rng.normal(size=45)).tolist(), own.tolist())
    assert found.p_value < 1e-4 and found.interval[0] > 1.0


def test_too_few_pieces_or_figures_that_never_differ_say_nothing():
    turns = [n % 2 == 0 for n in range(40)]
    assert apart_from_others([1.0, 2.0] * 9, turns[:18]) is None and LEAST_TOGETHER > 18
    few = [n < LEAST_APART - 1 for n in range(40)]
    assert apart_from_others([float(n % 5) for n in range(40)], few) is None
    assert apart_from_others([4.0] * 40, turns) is None
    assert apart_from_others([1e9 + n % 5 for n in range(40)], turns) is not None


def test_what_does_not_belong_together_is_refused():
    with pytest.raises(StatisticsError, match="each needs both"):
        apart_from_others([1.0] * 30, [True] * 29)
    with pytest.raises(StatisticsError, match="each needs both"):
        apart_from_others([1.0] * 30, [True] * 30, ["tenor"] * 29)
    with pytest.raises(StatisticsError):
        apart_from_others([1.0] * 29 + [float("nan")], [True] * 30)
    with pytest.raises(StatisticsError):
        apart_from_others([1.0, 2.0] * 20, [True, False] * 20, confidence=1.0)

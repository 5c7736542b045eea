"""Kinds of change told apart and placed; likelihoods held against general-purpose distributions."""

import numpy as np
import pytest
from scipy import optimize, stats

from qc.stats import StatisticsError, climb_or_stairs, fit_kinds, place_level, place_spread
from qc.stats.change.evidence import level_weights, log_weights
from qc.stats.change.kinds import _two_spreads
from qc.stats.change.scan import LEVEL, TREND


def log_likelihood(values, fitted):
    """Largest normal log likelihood about fitted values, less what does not depend on them."""
    sd = np.sqrt(np.mean((values - fitted) ** 2))
    return stats.norm.logpdf(values, fitted, sd).sum() + 0.5 * values.size * (1 + np.log(2 * np.pi))


def best_line(values, shapes):
    """Largest log likelihood of a level plus one of the shapes."""
    fits = []
    for shape in shapes:
        design = np.stack([np.ones(values.size), shape], axis=1)
        fits.append(design @ np.linalg.lstsq(design, values, rcond=None)[0])
    return max(log_likelihood(values, fitted) for fitted in fits)


def test_supports_are_log_likelihoods_less_their_cost(rng):
    values = rng.normal(5, 2, 30)
    values[18:] += 3
    order, cost = np.arange(1, 31), np.log(30)
    fits = fit_kinds(values, until=20)
    assert fits["steady"].support == pytest.approx(log_likelihood(values, np.full(30, values.mean())))
    singles = best_line(values, [(order == k) * 1.0 for k in order])
    assert fits["single"].support == pytest.approx(singles - cost)
    stepped = best_line(values, [(order > k) * 1.0 for k in range(1, 30)])
    assert fits["shift"].support == pytest.approx(stepped - cost)
    climbed = best_line(values, [np.maximum(order - k, 0.0) for k in range(1, 26)])
    assert fits["trend"].support == pytest.approx(climbed - cost)
    shapes = [((order >= a) & (order <= b)) * 1.0 for a in range(1, 21) for b in range(20, 31) if b - a < 29]
    assert fits["passing"].support == pytest.approx(best_line(values, shapes) - 1.5 * cost)


def test_two_spreads_about_one_mean_reach_the_largest_likelihood(rng):
    values = np.concatenate([rng.normal(1, 1, 14), rng.normal(1, 4, 12)])
    split, found = _two_spreads(values, 1e-12)

    def minus(mean, k):
        parts = values[:k], values[k:]
        return sum(0.5 * p.size * np.log(np.mean((p - mean) ** 2)) for p in parts)

    least = {
        k: optimize.minimize_scalar(minus, bounds=(-5, 7), args=(k,), method="bounded").fun
        for k in range(4, 23)
    }
    best = min(least, key=least.__getitem__)
    assert found == pytest.approx(-least[best], abs=1e-3)
    assert split == best


def test_what_is_set_aside_costs_and_counts_for_the_spread(rng):
    values = rng.normal(0, 1, 30)
    values[9] = 12.0
    plain, apart = fit_kinds(values), fit_kinds(values, apart={10})
    assert apart["steady"].support == pytest.approx(plain["single"].support)
    assert apart["spread"] == plain["spread"]
    assert apart["shift"].start != 10


@pytest.mark.parametrize(
    "kind, draw",
    [
        ("steady", lambda r: r.standard_normal(40)),
        ("shift", lambda r: r.standard_normal(40) + 3 * (np.arange(40) >= 25)),
        ("trend", lambda r: r.standard_normal(40) + 0.4 * np.maximum(np.arange(40) - 20, 0)),
        ("spread", lambda r: r.standard_normal(40) * np.where(np.arange(40) >= 20, 4, 1)),
        ("single", lambda r: r.standard_normal(40) + 6 * (np.arange(40) == 25)),
        ("passing", lambda r: r.standard_normal(40) + 4 * ((np.arange(40) >= 20) & (np.arange(40) < 28))),
    ],
)
def test_each_kind_is_told_from_the_others(kind, draw):
    random = np.random.default_rng(62)
    told = []
    for _ in range(60):
        fits = fit_kinds(draw(random), until=24)
        told.append(max(fits.values(), key=lambda fit: fit.support).kind)
    assert told.count(kind) >= (35 if kind == "steady" else 50), "the free kind has no lead to lose"


def test_a_stair_is_not_a_climb_and_a_climb_no_stair(rng):
    noise = rng.standard_normal(60)
    stair = noise + 4 * (np.arange(60) >= 30) + 4 * (np.arange(60) >= 45)
    climb = noise + 0.3 * np.maximum(np.arange(60) - 30, 0)
    assert climb_or_stairs(stair, [31, 46]) < -2
    assert climb_or_stairs(climb, [37, 49]) > 2
    wild = climb.copy()
    wild[50] = 40.0
    assert climb_or_stairs(wild, [37, 49], apart={51}) == pytest.approx(
        climb_or_stairs(climb, [37, 49]), abs=3
    )


def test_the_set_weighs_steps_and_climbs_as_the_budget_is_shared(rng):
    values = rng.normal(0, 1, 30) + 2 * (np.arange(30) >= 22)
    _, step = log_weights(values, 0.0, LEVEL)
    _, climb = log_weights(values, 0.0, TREND)
    both = np.exp(step) * 8 / 9
    both[: climb.size] += np.exp(climb) / 9
    ours = np.exp(level_weights(values, 0.0))
    assert ours / ours.sum() == pytest.approx(both / both.sum())
    left_out = np.exp(level_weights(values, 0.0, rule_out=0.999))
    assert left_out / left_out.sum() == pytest.approx(np.exp(step) / np.exp(step).sum())


def test_probability_of_a_step_is_the_integral_over_level_size_and_spread():
    """Two starts held against each other by numerical integration of the likelihood over the size."""
    values = np.array([0.2, -0.4, 0.1, 0.3, -0.2, 1.4, 0.9, 1.8, 1.1])
    n = values.size

    def weight(shape):
        # the level is integrated out by centring, the spread (density 1 / sd) by the gamma function
        x, y = shape - shape.mean(), values - values.mean()
        sizes = np.linspace(-60, 60, 400_001)
        squares = y @ y - 2 * sizes * (x @ y) + sizes * sizes * (x @ x)
        return np.trapezoid(squares ** (-(n - 1) / 2), sizes)

    order = np.arange(n)
    _, ours = log_weights(values, 0.0, LEVEL)
    assert ours[4] - ours[2] == pytest.approx(
        np.log(weight((order >= 5) * 1.0) / weight((order >= 3) * 1.0)), abs=1e-4
    )
    _, climb = log_weights(values, 0.0, TREND)
    foot = np.maximum(order - 2, 0) / 6
    assert climb[2] - ours[4] == pytest.approx(np.log(weight(foot) / weight((order >= 5) * 1.0)), abs=1e-4)


def test_places_and_sizes(rng, at_least):
    sizes, starts = [], []
    for _ in range(300):
        step = place_level(np.concatenate([rng.normal(0, 0.1, 20), rng.normal(2, 0.1, 15)]), "shift")
        assert (step.start, step.start_set) == (21, (21, 21))
        sizes.append(step.size_interval[0] < 2.0 < step.size_interval[1])
        wide = np.concatenate([rng.normal(0, 1, 30), rng.normal(0, 5, 30)])
        spread = place_spread(wide)
        after, before = wide[spread.start - 1 :], wide[: spread.start - 1]
        assert spread.size == pytest.approx(after.std(ddof=1) - before.std(ddof=1))
        starts.append(spread.start_set[0] <= 31 <= spread.start_set[1])
    assert at_least(0.95, sizes) and at_least(0.90, starts)
    climb = place_level(
        np.concatenate([np.zeros(15), 0.5 * np.arange(1, 16)]) + rng.normal(0, 0.1, 30), "trend"
    )
    assert abs(climb.start - 16) <= 1 and climb.size == pytest.approx(7.5, abs=0.5)


@pytest.mark.parametrize("values", [[1.0] * 12, [1.0] * 6 + [2.0] * 6], ids=["constant", "two levels"])
def test_no_scatter_gives_finite_figures(values):
    for fit in fit_kinds(values, until=8).values():
        assert np.isfinite(fit.support)
    for placed in (place_level(values, "shift"), place_level(values, "trend"), place_spread(values)):
        assert np.isfinite([placed.size, *placed.size_interval, placed.size_sigma]).all()


def test_the_step_of_the_gauge_keeps_equal_readings_from_being_a_spread():
    values = [0.0] * 8 + [0.0, 1.0, -1.0, 0.0, 1.0, 0.0, -1.0, 0.0]
    floored = fit_kinds(values, floor=1 / 12)
    assert fit_kinds(values)["spread"].support > floored["spread"].support + 10


@pytest.mark.parametrize("values", [[1.0] * 7, [1.0, np.nan] * 6], ids=["too few", "not finite"])
def test_refusals(values):
    with pytest.raises(StatisticsError):
        fit_kinds(values)

"""Scores under a learned shape: exact ones of Student's t, there and back, level and spread fitted."""

import numpy as np
import pytest
from scipy import optimize, stats

from qc.stats import Noise, StatisticsError, learned_scores
from qc.stats.change.learned_shape import Lean, fit_further, readings_of, scores_of

SHAPES = [(0.0, 0.0), (0.0, 0.2), (0.4, 0.0), (-0.6, 0.1), (0.8, 0.35)]


def lean(skew, tails):
    return Lean.of([Noise(skew=skew, tails=tails)])


@pytest.mark.parametrize("degrees", [3, 5, 10, 30])
def test_scores_are_about_those_of_the_exact_distribution(degrees):
    """Checked against the t and normal distributions of scipy."""
    u = np.linspace(-6, 6, 121)
    exact = stats.norm.ppf(stats.t(degrees).cdf(u))
    scores = scores_of(u[None, :], np.array([[0.0, 1.0]]), lean(0.0, 1 / degrees))[0]
    assert np.abs(scores - exact).max() < 0.045
    assert np.abs(scores - exact)[np.abs(u) < 3].max() < 0.012


def test_a_lean_is_that_of_a_shifted_lognormal():
    """By hand: x = (exp(g u) - 1) / g gives u again."""
    u = np.linspace(-2.0, 4.0, 61)
    scores = scores_of(np.expm1(0.5 * u)[None, :] / 0.5, np.array([[0.0, 1.0]]), lean(0.5, 0.0))[0]
    assert scores == pytest.approx(u, abs=1e-12)


@pytest.mark.parametrize("skew, tails", SHAPES)
def test_readings_come_back_from_their_scores(skew, tails):
    readings = np.concatenate([np.linspace(-9.0, 9.0, 91), [-1e3, 1e3]])
    fit = np.array([[0.3, 1.7]])
    scores = scores_of(readings[None, :], fit, lean(skew, tails))
    assert (np.diff(scores[0][:91]) > 0).all()
    assert readings_of(scores, fit, lean(skew, tails))[0] == pytest.approx(readings, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("degrees", [4, 10])
def test_level_and_spread_are_the_likeliest_of_a_t(degrees):
    """Checked against the largest likelihood as a general optimiser finds it."""
    readings = stats.t(degrees).rvs(40, random_state=11) * 2 + 5
    scored = learned_scores(readings, Noise(tails=1 / degrees))

    def loss(at):
        return -stats.t(degrees, at[0], np.exp(at[1])).logpdf(readings).sum()

    level, log_spread = optimize.minimize(loss, [5.0, 0.5], method="Nelder-Mead", tol=1e-12).x
    assert scored.back.first + scored.back.fit[0, 0] == pytest.approx(level, abs=1e-5)
    assert scored.back.fit[0, 1] == pytest.approx(np.exp(log_spread), rel=1e-5)


@pytest.mark.parametrize("skew, tails", SHAPES)
def test_a_fit_that_goes_on_ends_near_the_fit_of_the_whole(skew, tails):
    u = (stats.t(1 / tails) if tails else stats.norm()).rvs(60, random_state=5)
    readings = np.expm1(skew * u) / skew if skew else u
    centred, fit = (readings - readings[0])[None, :], np.zeros((1, 2))
    for n in range(4, readings.size + 1):
        fit = fit_further(centred[:, :n], fit, lean(skew, tails), np.zeros(1))
    whole = learned_scores(readings, Noise(skew=skew, tails=tails))
    going_on = scores_of(centred, fit, lean(skew, tails))[0]
    assert np.abs(going_on - whole.scores).max() < 0.02
    assert abs(np.median(going_on)) < 0.35  # the level is that of the middle


@pytest.mark.parametrize("skew, tails", SHAPES)
def test_scores_do_not_change_with_the_unit_or_the_zero(skew, tails):
    readings = stats.t(5).rvs(30, random_state=3)
    noise = Noise(skew=skew, tails=tails)
    assert learned_scores(7 + 3 * readings, noise).scores == pytest.approx(
        learned_scores(readings, noise).scores, abs=1e-9
    )


def test_equal_readings_score_nothing_and_a_step_is_a_floor():
    assert learned_scores([2.0] * 6, Noise(tails=0.3)).scores.tolist() == [0.0] * 6
    # by hand: the spread of readings of which five in six are equal is that of the step, 0.1 / sqrt(12)
    coarse = learned_scores([2.0] * 10 + [2.1], Noise(tails=0.3), resolution=0.1)
    assert coarse.back.fit[0, 1] == pytest.approx(0.1 / 12**0.5, rel=0.2)
    assert coarse.floor > 0.5


@pytest.mark.parametrize("values", [[1.0], [1.0, float("nan")], [1.0, float("inf")], ["a", "b"]])
def test_what_is_no_series_is_refused(values):
    with pytest.raises(StatisticsError):
        learned_scores(values, Noise())

"""Neighbours: variance of their sums, the fit, the correction for estimated means, the newest pieces."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.stats import PRIOR, Settled, learn_noise
from qc.stats.noise.laid import blom_scores, lay
from qc.stats.noise.neighbours import LAGS, _corrected, _scale, _sums, fit_echo, sum_variance


@pytest.mark.parametrize("echo, fade", [(1.0, 0.3), (0.4, 0.8), (0.0, 0.5)])
def test_variance_of_a_sum_is_that_of_its_covariances(echo, fade):
    apart = np.abs(np.subtract.outer(np.arange(25), np.arange(25)))
    covariance = np.where(apart == 0, 1.0, echo * fade**apart)
    expected = [covariance[:n, :n].sum() for n in (1, 2, 25)]
    assert sum_variance(np.array([1.0, 2.0, 25.0]), np.array(echo), np.array(fade)) == pytest.approx(expected)


@given(st.lists(st.floats(-0.3, 0.9), min_size=LAGS, max_size=LAGS))
def test_the_fit_keeps_the_sum(correlations):
    echo, fade = fit_echo(np.array([correlations]))
    assert 0.0 <= echo[0] <= 1.0 and 0.0 < fade[0] <= 0.95
    kept = np.sum(echo[0] * fade[0] ** np.arange(1, LAGS + 1))
    wanted = max(sum(correlations), 0.0)
    largest = np.sum(0.95 ** np.arange(1, LAGS + 1))
    assert kept == pytest.approx(min(wanted, largest), abs=0.021)  # the steepest fade, 0.02, may be too flat


@pytest.mark.parametrize("echo, fade", [(1.0, 0.3), (1.0, 0.5), (0.4, 0.8), (0.3, 0.7)])
def test_the_fit_finds_what_it_is_made_of(echo, fade):
    found = fit_echo(echo * fade ** np.arange(1, LAGS + 1)[None, :])
    # the ridge draws towards a fade of 0.6
    assert found[0][0] * found[1][0] == pytest.approx(echo * fade, abs=0.04)
    assert found[1][0] == pytest.approx(fade, abs=0.08)


def test_correlations_of_short_stretches_are_corrected_for_their_means(drawn):
    random = np.random.default_rng(91)
    stretches = [drawn.settled(random, drawn.hanging(random, 12, 0.3)) for _ in range(4000)]
    laid = lay([("one", stretches)])
    lengths = np.array([12.0])
    sums = _sums(laid, blom_scores(laid), lengths)
    raw = sums.products[0, 0] * sums.pieces[0, 0] / (sums.pairs[0, 0] * sums.squares[0, 0])
    found = _corrected(sums, lengths, np.array([1.0]), np.array([0.3]))[0]
    assert raw < 0.2  # uncorrected they show half of it
    found = found * _scale(sums, lengths)[0]
    assert found[:2] == pytest.approx([0.3, 0.09], abs=0.02)
    assert (found[4:] == 0.0).all()  # twelve pieces teach four lags


RECOVERED = [  # what is drawn; correlations of the first lag and their sum over six
    pytest.param(lambda drawn, r: r.normal(0, 1, 40), 0.0, 0.0, id="nothing hangs together"),
    pytest.param(lambda drawn, r: drawn.hanging(r, 40, 0.3), 0.3, 0.43, id="lag-1 correlation of 0.3"),
    pytest.param(lambda drawn, r: drawn.hanging(r, 40, 0.15), 0.15, 0.18, id="lag-1 correlation of 0.15"),
    # lots of 4 to 8: pieces k apart are of one lot with chance 0.83, 0.67, 0.5, 0.35, 0.2, 0.1
    pytest.param(lambda drawn, r: drawn.in_lots(r, 40, 0.2), 0.17, 0.53, id="unrecorded lots of 0.2"),
    pytest.param(lambda drawn, r: drawn.in_lots(r, 40, 0.4), 0.33, 1.06, id="unrecorded lots of 0.4"),
    pytest.param(
        lambda drawn, r: np.round(drawn.hanging(r, 40, 0.3) * 2) / 2, 0.28, 0.4, id="0.3, step of half an sd"
    ),
]


@pytest.mark.parametrize("draw, first, whole", RECOVERED)
def test_unrecorded_dependence_is_recovered(drawn, draw, first, whole):
    random = np.random.default_rng(92)
    pools = [learn_noise(drawn.pool(random, lambda r: drawn.settled(r, draw(drawn, r)))) for _ in range(20)]
    found = np.array(
        [noise.echo * noise.fade ** np.arange(1, LAGS + 1) for pool in pools for noise in pool.values()]
    )
    # mean of 20 pools: chance 0.012 and 0.05; the prior of 0.2 counts as 60 pieces beside 740
    assert found[:, 0].mean() == pytest.approx(first, abs=0.07)
    assert found.sum(axis=1).mean() == pytest.approx(whole, abs=0.18)
    assert all(noise.lots == 0.0 for pool in pools for noise in pool.values())


def test_a_change_under_way_is_no_dependence():
    random = np.random.default_rng(93)
    steady = random.normal(0, 1, 60)
    shifted = steady + np.where(np.arange(60) >= 40, 3.0, 0.0)
    before, now = (learn_noise({"one": [Settled(values, range(60))]})["one"] for values in (steady, shifted))
    assert (now.echo, now.fade) == (before.echo, before.fade)
    earlier = steady + np.where(np.arange(60) >= 30, 3.0, 0.0)
    assert learn_noise({"one": [Settled(earlier, range(60))]})["one"].echo > now.echo


def test_twenty_own_pieces_teach_nothing_of_neighbours():
    values = np.repeat([0.0, 3.0, 1.0, 2.0], 5) + np.arange(20) * 1e-3
    found = learn_noise({"one": [Settled(values, range(20))]})["one"]
    assert (found.echo, found.fade, found.own) == (PRIOR.echo, PRIOR.fade, 20)


def test_unlike_sisters_are_noticed_and_own_pieces_count_more(drawn):
    random = np.random.default_rng(94)

    def draw(random, lag_1):
        return [drawn.settled(random, drawn.hanging(random, 100, lag_1))]

    alike = learn_noise({f"{i:02d}": draw(random, 0.3) for i in range(20)})
    unlike = learn_noise({f"{i:02d}": draw(random, 0.6 * (i % 2)) for i in range(20)})
    assert alike["00"].lasts < 0.1
    # half at 0, half at 0.6: a standard deviation of 0.3
    assert unlike["00"].lasts == pytest.approx(0.3, abs=0.06)
    first = np.array([noise.echo * noise.fade for noise in unlike.values()])
    assert first[1::2].mean() - first[::2].mean() > 0.15


def test_pieces_that_push_each_other_away_are_not_allowed_for(drawn):
    random = np.random.default_rng(95)
    values = drawn.hanging(random, 400, -0.6)
    assert learn_noise({"one": [Settled(values, range(400))]})["one"].echo < 0.05

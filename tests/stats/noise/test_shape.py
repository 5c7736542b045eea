"""L-moments, and the shape that is read from them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from qc.stats import Noise, score_of
from qc.stats.noise.laid import lay, spread_ties
from qc.stats.noise.shape import (
    BEND_PER_TAU_3,
    SKEW_PER_TAU_3,
    TAILS,
    TAU_4,
    l_moment_ratios,
    learn_shape,
    normal_scores,
    score_of_t,
    tails_of,
)

# Hosking, "L-moments", J. Royal Statistical Society B 52 (1990), table 1
PUBLISHED = [
    pytest.param(stats.norm, 0.0, 0.1226, id="normal"),
    pytest.param(stats.uniform, 0.0, 0.0, id="uniform"),
    pytest.param(stats.expon, 1 / 3, 1 / 6, id="exponential"),
    pytest.param(stats.gumbel_r, 0.1699, 0.1504, id="Gumbel"),
    pytest.param(stats.logistic, 0.0, 1 / 6, id="logistic"),
]


@pytest.mark.parametrize("distribution, tau_3, tau_4", PUBLISHED)
def test_ratios_agree_with_published_ones(distribution, tau_3, tau_4):
    n = 100_000
    sample = distribution.ppf((np.arange(n) + 0.5) / n)
    found = l_moment_ratios(sample, np.array([n]))
    assert [float(part[0]) for part in found] == pytest.approx([tau_3, tau_4], abs=2e-4)


@given(
    st.lists(
        st.lists(st.integers(-1000, 1000), min_size=4, max_size=40).filter(lambda v: len(set(v)) > 1),
        min_size=1,
        max_size=5,
    )
)
def test_ratios_agree_with_a_general_library(samples):
    ordered = np.concatenate([np.sort(sample) for sample in samples]).astype(float)
    found = np.array(l_moment_ratios(ordered, np.array([len(sample) for sample in samples])))
    expected = np.array([stats.lmoment(sample, order=[3, 4]) for sample in samples]).T
    assert found == pytest.approx(expected, abs=1e-9)


def test_ratios_do_not_see_a_large_offset():
    sample = np.sort(np.random.default_rng(71).normal(0, 1, 50))
    here, there = (np.array(l_moment_ratios(part, np.array([50]))) for part in (sample, sample + 1e6))
    assert there == pytest.approx(here, abs=1e-8)


def l_ratios(quantile):
    """Third and fourth L-moment ratio by integration over the quantile function."""

    def moment(legendre):
        return integrate.quad(lambda p: quantile(p) * legendre(p), 0, 1, limit=400)[0]

    second = moment(lambda p: 2 * p - 1)
    third = moment(lambda p: 6 * p * p - 6 * p + 1)
    return third / second, moment(lambda p: 20 * p**3 - 30 * p * p + 12 * p - 1) / second


@pytest.mark.parametrize("tau_4, tails", list(zip(TAU_4, TAILS, strict=True)))
def test_the_table_of_tails_is_that_of_students_t(tau_4, tails):
    quantile = stats.norm.ppf if tails == 0 else stats.t(1 / tails).ppf
    assert tau_4 == pytest.approx(l_ratios(quantile)[1], abs=1e-3)


def test_tails_rise_with_the_ratio_and_stay_within_the_table():
    ratios = np.linspace(-0.2, 0.9, 300)
    tails = tails_of(np.zeros(300), ratios)
    assert (np.diff(tails) >= 0).all() and (tails[0], tails[-1]) == (0.0, 0.35)


@pytest.mark.parametrize("sigma", [0.1, 0.3, 0.5, 0.7])
def test_a_lognormal_has_its_sigma_for_skewness_and_no_tails_left(sigma):
    tau_3, tau_4 = l_ratios(lambda p: np.exp(sigma * stats.norm.ppf(p)))
    assert tau_3 * SKEW_PER_TAU_3 == pytest.approx(sigma, abs=0.025)
    assert tau_4 - BEND_PER_TAU_3 * tau_3 * tau_3 == pytest.approx(0.1226, abs=0.006)


@pytest.mark.parametrize("df, error", [(3, 0.034), (5, 0.022), (10, 0.011)])
def test_normal_scores_of_t_agree_with_the_exact_ones(df, error):
    u = np.linspace(-6, 6, 121)
    exact = stats.norm.isf(stats.t.sf(np.abs(u), df)) * np.sign(u)
    assert score_of_t(u, np.full(121, 1 / df)) == pytest.approx(exact, abs=error)
    assert (score_of_t(u, np.zeros(121)) == u).all()


DRAWN = [  # what is drawn, skewness, tails and by how much a pool of 20 sisters of 40 may miss them
    pytest.param(lambda r: r.normal(0, 1, 40), 0.0, 0.0, id="normal"),
    pytest.param(lambda r: 50 + 3 * r.standard_t(5, 40), 0.0, 0.2, id="t5"),
    pytest.param(lambda r: r.standard_t(3, 40), 0.0, 1 / 3, id="t3"),
    pytest.param(lambda r: np.exp(0.5 * r.normal(0, 1, 40)), 0.5, 0.0, id="lognormal"),
    pytest.param(lambda r: -np.exp(0.5 * r.normal(0, 1, 40)), -0.5, 0.0, id="lognormal the other way"),
    pytest.param(lambda r: np.round(r.normal(0, 1, 40)), 0.0, 0.0, id="normal, step of a whole sd"),
    pytest.param(lambda r: np.round(r.standard_t(5, 40)), 0.0, 0.2, id="t5, step of 0.8 sd"),
]


@pytest.mark.parametrize("draw, skew, tails", DRAWN)
def test_shape_is_recovered(drawn, draw, skew, tails):
    random = np.random.default_rng(72)
    found = [
        learn_shape(lay(list(drawn.pool(random, lambda r: drawn.settled(r, draw(r))).items())))
        for _ in range(10)
    ]
    # mean of ten pools: chance 0.02; prior and margin draw normal tails up and skewness down by 0.05
    assert np.mean([part.skew for part in found]) == pytest.approx(skew, abs=0.1)
    assert np.mean([part.tails for part in found]) == pytest.approx(tails, abs=0.08)


@pytest.mark.parametrize("step, tied, spread", [(1.25, 0.02, 0.015), (1.5, 0.05, 0.025), (2.0, 0.2, 0.06)])
def test_ties_of_a_coarse_gauge_hardly_pass_for_tails(drawn, step, tied, spread):
    random = np.random.default_rng(73)
    laid = lay(
        [
            (str(i), [drawn.settled(random, np.round(random.normal(0, 1, 40) / step) * step)])
            for i in range(800)
        ]
    )
    ordered = laid.values[np.lexsort((laid.values, laid.stretch))]
    as_read, used = (l_moment_ratios(part, laid.sizes)[1].mean() for part in (ordered, spread_ties(laid)))
    # chance of the mean 0.002; steps up to one standard deviation bend neither
    assert as_read > 0.1226 + tied and abs(used - 0.1226) < spread


def test_a_known_step_is_believed_before_one_that_is_seen(drawn):
    random = np.random.default_rng(74)
    values = np.round(random.normal(0, 1, 40), 1)
    shapes = [
        learn_shape(lay([("one", [drawn.settled(random, values, step=step)])])).tails[0]
        for step in (None, 0.1, 1.0)
    ]
    assert shapes[0] == shapes[1] != shapes[2]


def test_odd_pieces_are_counted_over_the_pool(drawn):
    random = np.random.default_rng(75)

    def contaminated(random):
        odd = np.where(random.random(100) < 0.02, 5.0 * random.choice([-1, 1], 100), 0.0)
        return drawn.settled(random, random.normal(0, 1, 100) + odd)

    clean = lay(list(drawn.pool(random, lambda r: drawn.settled(r, r.normal(0, 1, 100))).items()))
    odd = lay(list(drawn.pool(random, contaminated).items()))
    few, many = learn_shape(clean), learn_shape(odd)
    # beyond three lie 0.0027 of normal readings; of the others the learned tails take most in
    assert 0.0003 < few.odd_share < 0.0027 and many.odd_share > 1.5 * few.odd_share
    # counted by the tails of the pool where a series' own are heavier: 60 pieces of the prior, 97 of each
    _, tau_4 = l_moment_ratios(spread_ties(odd), odd.sizes)
    pool = (60 * 0.1795 + 97 * tau_4.sum()) / (60 + 20 * 97) + 0.15 / (60 + 20 * 97) ** 0.5
    tails = np.minimum(many.tails, tails_of(many.skew / SKEW_PER_TAU_3, pool))
    assert (tails < many.tails).any() and (tails == many.tails).any()
    beyond = np.abs(normal_scores(odd, spread_ties(odd), many.skew, tails)) - 3
    assert many.odd_share == pytest.approx((np.sum(beyond > 0) + 0.54) / (20 * 97 + 200))
    assert many.odd_reach == pytest.approx((beyond[beyond > 0].sum() + 0.6) / (np.sum(beyond > 0) + 2))


def test_a_series_without_an_odd_piece_yet_keeps_the_tails_of_its_sisters(drawn):
    random = np.random.default_rng(77)

    def shape_beside(own):
        pool = drawn.pool(random, lambda r: drawn.settled(r, r.standard_t(4, 100)))
        return learn_shape(lay([*pool.items(), ("x", [drawn.settled(random, own)])]))

    quiet = shape_beside(stats.norm.ppf((np.arange(180) + 0.5) / 180))
    # as many pieces say nothing for lighter tails what they say for heavier ones
    wild = shape_beside(stats.t(2.2).ppf((np.arange(180) + 0.5) / 180))
    common = np.median(quiet.tails[:-1])
    assert 0.75 * common < quiet.tails[-1] < common
    above = wild.tails[-1] - np.median(wild.tails[:-1])
    assert above > 1.2 * (common - quiet.tails[-1])


def test_sisters_that_are_unlike_count_as_fewer_pieces(drawn):
    random = np.random.default_rng(79)

    def own_shape(draws):
        pool = {f"{i:02d}": [drawn.settled(random, draw(200))] for i, draw in enumerate(draws)}
        quiet = stats.norm.ppf((np.arange(150) + 0.5) / 150)
        leaning = np.exp(0.3 * quiet)
        own = {"x": [drawn.settled(random, quiet)], "y": [drawn.settled(random, leaning)]}
        found = learn_shape(lay([*pool.items(), *own.items()]))
        return found.tails[-2], found.skew[-1], found

    def t4(n):
        return random.standard_t(4, n)

    def normal(n):
        return random.standard_normal(n)

    def lean(n):
        return np.exp(0.6 * random.standard_normal(n))

    tails_among_alike, _, alike = own_shape([t4] * 20)
    tails_among_unlike, _, unlike = own_shape([t4, normal] * 10)
    assert unlike.unlike_tails > 1.5 * alike.unlike_tails
    assert tails_among_unlike < 0.6 * tails_among_alike
    _, skew_among_normal, symmetrical = own_shape([normal] * 20)
    _, skew_among_both, leaning = own_shape([normal, lean] * 10)
    assert leaning.unlike_skew == pytest.approx(0.3, abs=0.12), "half at 0, half at 0.6"
    assert symmetrical.unlike_skew < 0.1
    assert skew_among_both > skew_among_normal


def test_level_and_spread_of_heavy_tails_are_those_of_the_t(drawn):
    random = np.random.default_rng(76)
    values = np.sort(20 + 4 * random.standard_t(4, 20_000))
    laid = lay([("one", [drawn.settled(random, values)])])
    scores = normal_scores(laid, values, np.zeros(1), np.array([0.25]))
    expected = score_of_t((values - 20) / 4, np.full(20_000, 0.25))
    assert scores == pytest.approx(expected, abs=0.06)
    assert np.std(scores) == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("df", [3.0, 5.0, 20.0])
def test_the_score_of_one_reading_is_that_of_students_t(df):
    """Student's t by scipy; the approximation is within a few hundredths where it is judged."""
    for away in (-6.0, -2.0, -0.5, 0.0, 1.0, 3.0, 8.0):
        exact = stats.norm.isf(stats.t.sf(abs(away), df))
        assert abs(score_of(Noise(tails=1 / df), away)) == pytest.approx(exact, abs=0.06)
        assert np.sign(score_of(Noise(tails=1 / df), away)) == np.sign(away)


def test_the_score_of_a_skewed_reading_goes_by_its_logarithm():
    # a lognormal's quantiles, written from its median in spreads: exp(g z) = 1 + g u
    for g in (0.3, -0.5):
        for z in (-2.0, -1.0, 0.5, 2.0):
            assert score_of(Noise(skew=g), float(np.expm1(g * z) / g)) == pytest.approx(z, abs=1e-9)

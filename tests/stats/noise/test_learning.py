"""What is learned from a pool as a whole."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.stats import NORMAL, PRIOR, Noise, Settled, StatisticsError, learn_noise


def test_nothing_learned_is_the_prior():
    assert learn_noise({}) == {}
    assert learn_noise({"new": [], "short": [Settled([1.0, 2.0, 4.0], "abc")]}) == {
        "new": PRIOR,
        "short": PRIOR,
    }
    assert (PRIOR.skew, PRIOR.lots, PRIOR.lasts, PRIOR.pieces) == (0.0, 0.0, 0.0, 0)
    assert (PRIOR.odd_share, PRIOR.odd_reach) == pytest.approx((0.0027, 0.3))
    assert (PRIOR.echo, PRIOR.fade) == pytest.approx((1 / 3, 0.6), abs=1e-6)
    # 0.1795 and its margin lie between the L-kurtosis of t with five and with four degrees of freedom
    assert 1 / 5 < PRIOR.tails < 1 / 4


@given(
    st.builds(
        Noise,
        skew=st.floats(-0.8, 0.8),
        tails=st.floats(0, 0.5),
        odd_share=st.floats(0, 1),
        odd_reach=st.floats(0, 10),
        lots=st.floats(0, 1),
        echo=st.floats(0, 1),
        fade=st.floats(0, 1),
        pieces=st.integers(0, 10**6),
        own=st.integers(0, 10**6),
        lasts=st.floats(0, 1),
    )
)
def test_a_record_gives_the_noise_back_exactly(noise):
    assert Noise.from_dict(json.loads(json.dumps(noise.to_dict()))) == noise


def test_a_record_that_lacks_a_figure_is_refused():
    record = NORMAL.to_dict()
    del record["fade"], record["own"]
    with pytest.raises(StatisticsError, match="the record lacks fade, own"):
        Noise.from_dict(record)


@pytest.mark.parametrize("figures", [{"skew": 0.9}, {"tails": -0.1}, {"echo": float("nan")}, {"lots": 1.5}])
def test_figures_outside_their_range_are_refused(figures):
    with pytest.raises(StatisticsError, match=f"noise: {next(iter(figures))} is"):
        Noise.from_dict(PRIOR.to_dict() | figures)


@pytest.fixture
def mixed_pool(drawn):
    """Sisters of all kinds: with and without lots, several stretches, coarse, new."""
    random = np.random.default_rng(51)

    def draw(random):
        one = drawn.recorded(random, 40, 0.3)
        return Settled(np.round(one.values, 1), one.labels, one.lots)

    pool = drawn.pool(random, draw, 8)
    pool |= {
        f"plain {i}": [drawn.settled(random, random.standard_t(4, n)) for n in (30, 3, 9)] for i in range(5)
    }
    return pool | {"new": []}


def test_the_order_of_sisters_changes_nothing(mixed_pool):
    pool = dict(mixed_pool)
    turned = dict(reversed(pool.items()))
    assert learn_noise(pool) == learn_noise(turned)
    assert list(learn_noise(turned)) == list(turned)


def test_level_and_unit_change_nothing(mixed_pool):
    pool = dict(mixed_pool)
    found = learn_noise(pool)
    moved = learn_noise(
        {
            name: [Settled(np.asarray(one.values) * 4 + 64, one.labels, one.lots) for one in stretches]
            for name, stretches in pool.items()
        }
    )
    for name, noise in found.items():
        assert list(moved[name].to_dict().values()) == pytest.approx(list(noise.to_dict().values()), abs=1e-9)


def test_pieces_are_counted_for_the_words(mixed_pool):
    found = learn_noise(mixed_pool)
    # stretches of three teach nothing
    assert {noise.pieces for noise in found.values()} == {8 * 40 + 5 * 39}
    assert (found["sister 00"].own, found["plain 0"].own, found["new"].own) == (40, 39, 0)


def test_a_sister_of_few_pieces_changes_little(drawn):
    random = np.random.default_rng(52)
    one = drawn.settled(random, random.standard_t(3, 100))
    few = drawn.settled(random, [3.0, 1.0, 2.0, 4.0])
    alone, beside = learn_noise({"one": [one]})["one"], learn_noise({"one": [one], "few": [few]})["one"]
    assert beside.tails == pytest.approx(alone.tails, abs=0.05)
    assert beside.echo * beside.fade == pytest.approx(alone.echo * alone.fade, abs=0.05)

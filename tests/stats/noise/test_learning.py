"""What is learned from a pool, by series whose noise is known."""

import pytest

from qc.stats import PRIOR, Noise, Settled, learn_noise


def test_nothing_learned_is_the_prior():
    assert learn_noise({}) == {}
    assert learn_noise({"new": [], "short": [Settled([1.0, 2.0, 4.0], "abc")]}) == {
        "new": PRIOR,
        "short": PRIOR,
    }
    assert (PRIOR.skew, PRIOR.lots, PRIOR.lasts, PRIOR.pieces) == (0.0, 0.0, 0.0, 0)
    assert PRIOR.echo * PRIOR.fade == pytest.approx(0.2) and PRIOR.fade == pytest.approx(0.6)


def test_a_record_gives_the_noise_back_exactly():
    assert Noise.from_dict(PRIOR.to_dict()) == PRIOR

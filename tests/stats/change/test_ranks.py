"""Ranks kept up reading by reading, and their normal scores."""

import numpy as np
import pytest
from scipy import stats

from qc.stats import detect
from qc.stats.change.ranks import extend_ranks, rank_scores
from qc.stats.numbers import dither_of


@pytest.mark.parametrize("step", [0.0, 0.5])
def test_extended_ranks_are_those_of_the_whole(step):
    random = np.random.default_rng(61)
    values = random.normal(0, 1, (4, 30))
    values = np.round(values / step) * step if step else values
    dither = random.random((4, 30))
    ranks = np.zeros((4, 1), dtype=np.int64)
    for n in range(2, 31):
        ranks = extend_ranks(ranks, values[:, :n], dither[:, :n])
        order = np.lexsort((dither[:, :n], values[:, :n]), axis=1)
        assert (ranks == np.argsort(order, axis=1)).all()


def test_scores_are_symmetric_and_rise():
    scores = rank_scores(9)
    assert (np.diff(scores) > 0).all()
    assert scores == pytest.approx(-scores[::-1], abs=1e-12)
    # Blom's approximation of the expected largest of nine normal readings, exact value 1.4850 (from memory)
    assert scores[-1] == pytest.approx(1.485, abs=0.02)


def test_only_order_counts():
    random = np.random.default_rng(62)
    values = np.concatenate([random.normal(0, 1, 40), random.normal(2.5, 1, 20)])
    plain, bent = detect(values, shape="any"), detect(np.exp(values), shape="any")
    assert [(s.point, s.start, s.start_set, s.kind) for s in plain.signals] == [
        (s.point, s.start, s.start_set, s.kind) for s in bent.signals
    ]
    assert plain.signals


def test_one_wild_piece_is_no_signal_by_ranks():
    values = np.random.default_rng(63).normal(0, 1, 50)
    values[30] = 1e6
    assert detect(values, shape="any").signals == ()


def test_too_few_pieces_cannot_signal_by_ranks():
    assert detect([1, 2, 1, 2, 1, 50, 51, 52, 53], shape="any").signals == ()


def test_dither_is_fixed_by_the_piece_and_uniform():
    assert dither_of("T101") == dither_of("T101") != dither_of("T102")
    drawn = [dither_of(i) for i in range(2000)]
    assert stats.kstest(drawn, "uniform").pvalue > 0.001

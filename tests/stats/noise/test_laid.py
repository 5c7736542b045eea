"""Stretches laid end to end: what teaches, what is refused, and equal readings."""

import numpy as np
import pytest
from scipy import stats

from qc.stats import Settled, StatisticsError
from qc.stats.noise.laid import blom_scores, lay, spread_ties


def test_short_and_constant_stretches_teach_nothing(drawn):
    random = np.random.default_rng(61)
    good = drawn.settled(random, [1.0, 3.0, 2.0, 5.0])
    short, equal = drawn.settled(random, [1.0, 2.0, 3.0]), drawn.settled(random, [0.1 + 0.2, 0.3] * 4)
    laid = lay([("a", [short, good]), ("b", [equal])])
    assert list(laid.values) == [1.0, 3.0, 2.0, 5.0] and list(laid.series) == [0]


def test_the_newest_pieces_are_left_out_over_stretches():
    stretches = [Settled(np.arange(n, dtype=float) ** 2, range(n)) for n in (30, 8, 15)]
    older = lay([("a", stretches), ("b", stretches[:1])]).without_newest(20)
    # of a: the last stretch whole and five of the one before, whose three that are left teach nothing
    assert list(older.sizes) == [30, 10] and list(older.series) == [0, 1]
    assert lay([("a", stretches[1:2])]).without_newest(20).values.size == 0


def test_scores_are_those_of_blom_within_each_stretch(drawn):
    random = np.random.default_rng(62)
    parts = [random.normal(0, 1, n) for n in (9, 14)]
    laid = lay([("a", [drawn.settled(random, parts[0])]), ("b", [drawn.settled(random, parts[1])])])
    expected = [stats.norm.ppf((stats.rankdata(part) - 0.375) / (part.size + 0.25)) for part in parts]
    assert blom_scores(laid) == pytest.approx(np.concatenate(expected))


def test_equal_readings_do_not_look_like_a_trend():
    scores = blom_scores(lay([("a", [Settled([0.0, 1.0] * 200, range(400))])]))
    rising = [stats.spearmanr(np.arange(200), scores[first::2]).pvalue for first in (0, 1)]
    assert min(rising) > 0.001


def test_ties_are_spread_over_the_step():
    laid = lay([("a", [Settled([2.0, 1.0, 2.0, 2.0, 3.0], range(5))])])
    assert spread_ties(laid) == pytest.approx([1.0, 2.0 - 1 / 3, 2.0, 2.0 + 1 / 3, 3.0])
    fine = lay([("a", [Settled([2.0, 1.0, 2.0, 9.0, 30.0], range(5))])])
    assert list(spread_ties(fine)) == [1.0, 2.0, 2.0, 9.0, 30.0]


@pytest.mark.parametrize(
    "stretch, said",
    [
        (Settled([1.0, np.nan, 2.0], "abc"), "noise of bore, stretch 2, reading 2 is nan"),
        (Settled([1.0, 2.0], "abc"), "noise of bore, stretch 2: 3 labels for 2 readings"),
        (Settled([1.0, 2.0], "ab", step=0.0), "noise of bore, stretch 2: the step of the gauge is 0.0"),
        (Settled([1.0, 2.0], "ab", ["x"]), "noise of bore, stretch 2: 1 lots for 2 readings"),
    ],
)
def test_what_cannot_be_learned_from_is_refused(stretch, said):
    with pytest.raises(StatisticsError, match=said):
        lay([("bore", [Settled([1.0, 2.0], "ab"), stretch])])

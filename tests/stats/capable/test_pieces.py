"""Pieces that would settle the question: the least number that does, one at a time and thousands at once."""

import math

import numpy as np
import pytest

from qc.stats.capable.bounds import one_sided_bound, two_sided_bound
from qc.stats.capable.pieces import MOST_PIECES, pieces_to_settle, pieces_to_settle_many
from qc.stats.errors import StatisticsError


def test_pieces_to_settle_is_the_least_number_that_does():
    more = pieces_to_settle(1.2, 30, sides=2)
    assert two_sided_bound(1.2, 0.05, 30 + more, 29 + more) >= 1.0
    assert two_sided_bound(1.2, 0.05, 29 + more, 28 + more) < 1.0
    more = pieces_to_settle(0.8, 25, sides=1)
    assert one_sided_bound(0.8, 0.95, 25 + more, 24 + more) < 1.0
    assert one_sided_bound(0.8, 0.95, 24 + more, 23 + more) >= 1.0


def test_pieces_to_settle_at_the_edges():
    assert pieces_to_settle(3.0, 50, sides=2) == 0
    assert pieces_to_settle(3.0, 8, sides=2) == 12
    assert pieces_to_settle(1.0, 50, sides=2) is None
    assert pieces_to_settle(1.001, 50, sides=1) is None
    settled = pieces_to_settle(1.01, 50, sides=2)
    assert settled is not None and settled < MOST_PIECES


def settled(index, count, sides, wanted):
    """Whether a bound has passed the wanted figure, by the bounds themselves."""
    bound = one_sided_bound if sides == 1 else two_sided_bound
    low, high = bound(index, np.array([0.05, 0.95]), count, count - 1.0)
    return bool(low >= wanted or high < wanted)


@pytest.mark.parametrize("sides", [1, 2])
def test_thousands_at_once_are_the_least_numbers_that_do(sides):
    """Second route: the bounds themselves, which the search does not call for one limit."""
    rng = np.random.default_rng(3)
    index, n = rng.normal(1.1, 0.3, 300), rng.integers(2, 400, 300)
    found = pieces_to_settle_many(index, n, sides=sides, wanted=1.05)
    assert 0 < np.isnan(found).sum() < 30 and (found == 0).any() and (found > 500).any()
    for one, pieces, more in zip(index, n, found, strict=True):
        if math.isnan(more):
            assert not settled(one, MOST_PIECES, sides, 1.05)
            continue
        assert settled(one, pieces + more, sides, 1.05)
        if pieces + more > max(pieces, 20):
            assert not settled(one, pieces + more - 1, sides, 1.05)
        assert pieces_to_settle(float(one), int(pieces), sides=sides, wanted=1.05) == more


def test_far_out_is_settled_although_its_chance_cannot_be_computed():
    """The noncentral t gives no number at 0.25 from 277 pieces; the answer is plain all the same."""
    assert pieces_to_settle(0.25155, 277, sides=1) == 0
    assert pieces_to_settle(9.0, 500, sides=1) == 0


def test_pieces_that_are_worth_more_settle_earlier():
    plain, worth = (
        pieces_to_settle_many([1.2], [30], sides=2, mean_share=share, df_share=share)[0] for share in (1, 4)
    )
    assert worth < plain / 3
    low = two_sided_bound(1.2, 0.05, 4 * (30 + worth), 4 * (29 + worth))
    assert low >= 1.0


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: pieces_to_settle(1.0, 1, sides=1), "1 pieces given"),
        (lambda: pieces_to_settle(1.0, 30, sides=1, confidence=1.0), "confidence is 1.0"),
    ],
)
def test_bad_questions_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()

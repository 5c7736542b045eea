"""The rolled yield: against the trade's worked figure, scipy's exact interval, and by simulation."""

from math import prod

import numpy as np
import pytest
from scipy import stats

from qc.stats import StatisticsError, proportion, rolled_yield


def test_worked_example():
    """Six stages, trade check T076."""
    found = rolled_yield([(97, 100), (95, 100), (92, 100), (98, 100), (90, 100), (96, 100)])
    assert found.share == pytest.approx(0.7178, abs=5e-5)
    assert (found.stages, found.least) == (6, 100)


@pytest.mark.parametrize(("passed", "of"), [(0, 4), (4, 4), (7, 10), (112, 113), (1, 1)])
def test_one_stage_has_the_exact_interval(passed, of):
    """scipy's Clopper-Pearson interval is the reference, for the share of one stage too."""
    exact = stats.binomtest(passed, of).proportion_ci(0.95, method="exact")
    assert rolled_yield([(passed, of)]).interval == pytest.approx(tuple(exact), abs=1e-12)
    assert proportion(passed, of).interval == pytest.approx(tuple(exact), abs=1e-12)


def test_stages_without_a_failure_add_nothing():
    """Without any failure the best lower limit of parts in series is that of the fewest (Lloyd and Lipow)."""
    assert rolled_yield([(20, 20), (12, 12), (90, 90)]).interval == rolled_yield([(12, 12)]).interval
    assert rolled_yield([(12, 12)]).interval[0] == pytest.approx(0.025 ** (1 / 12), abs=1e-12)


def test_a_stage_that_let_nothing_pass():
    found = rolled_yield([(0, 5), (50, 50)])
    assert found.share == 0.0
    assert found.interval == pytest.approx(proportion(0, 5).interval, abs=1e-12)


@pytest.mark.parametrize(
    ("counts", "said"),
    [([], "no stage"), ([(3, 2)], "3 of 2"), ([(0, 0)], "0 of 0"), ([(-1, 4)], "-1 of 4")],
)
def test_what_cannot_be(counts, said):
    with pytest.raises(StatisticsError, match=said):
        rolled_yield(counts)


@pytest.mark.parametrize(
    ("pieces", "shares"),
    [
        ([25] * 8, [0.97] * 8),
        ([25] * 8, [0.9] * 8),
        ([25, 25, 25, 10, 25], [0.95, 0.9, 0.98, 0.97, 0.85]),
        ([100, 3], [0.9, 0.9]),
        ([8] * 6, [0.7] * 6),
        ([200] * 4, [0.97] * 4),
    ],
)
def test_either_end_fails_at_most_as_often_as_it_may(rng, pieces, shares):
    """2,000 draws of each shop: the truth lies below the interval, and above it, at most once in forty."""
    draws = rng.binomial(pieces, shares, size=(2000, len(pieces)))
    true = prod(shares)
    ends = np.array([rolled_yield(list(zip(map(int, own), pieces, strict=True))).interval for own in draws])
    most = 0.025 + 3 * (0.025 * 0.975 / 2000) ** 0.5
    assert np.mean(ends[:, 0] > true) <= most
    assert np.mean(ends[:, 1] < true) <= most


def test_pieces_that_fail_at_several_stages(rng):
    """One piece in ten is poor and fails each of six stages three times as often: 2,000 draws of 30 pieces.

    The stages then do not fail independently; what they let pass together is still covered.
    """
    poor = rng.random((2000, 30)) < 0.1
    chance = np.where(poor, 0.15, 0.05)[:, :, None]
    passed = (rng.random((2000, 30, 6)) > chance).sum(axis=1)
    true = (0.9 * 0.95 + 0.1 * 0.85) ** 6
    ends = np.array([rolled_yield([(int(x), 30) for x in own]).interval for own in passed])
    held = (ends[:, 0] <= true) & (true <= ends[:, 1])
    assert held.mean() > 0.95

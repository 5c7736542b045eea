"""Run length of the multivariate EWMA against closed forms, printed limits and simulation."""

import math

import numpy as np
import pytest
from scipy import stats

from qc.stats.errors import StatisticsError
from qc.stats.run_lengths import several
from qc.stats.run_lengths.memory import ewma_run_length
from qc.stats.run_lengths.several import mewma_limit, mewma_run_length, mewma_run_length_distribution

# Prabhu & Runger, J. Quality Technology 29 (1997), limits for a run length of 200 (from memory): their chain
# is coarser than ours, so they are held to 0.02 only; the simulation below is the sharper check.
PRINTED = [(2, 0.1, 8.64), (3, 0.1, 10.79), (4, 0.1, 12.73), (10, 0.1, 22.67), (2, 0.2, 9.65)]


@pytest.mark.parametrize("figures, weight, limit", PRINTED)
def test_printed_limits(figures, weight, limit):
    assert mewma_limit(figures, weight, 200.0) == pytest.approx(limit, abs=0.02)


@pytest.mark.parametrize("figures", [1, 2, 5])
def test_weight_one_is_a_chi_square_chart(figures):
    limit = stats.chi2.isf(1 / 200, figures)
    assert mewma_run_length(figures, 1.0, limit) == pytest.approx(200.0, rel=1e-9)
    moved = mewma_run_length_distribution(figures, 1.0, limit, 1.5)
    assert moved.mean == pytest.approx(1 / stats.ncx2.sf(limit, figures, 2.25), rel=1e-6)
    assert moved.sd == pytest.approx(math.sqrt(moved.mean * (moved.mean - 1)), rel=1e-5)


@pytest.mark.parametrize("shift", [0.0, 0.7, -2.0])
@pytest.mark.parametrize("weight", [0.05, 0.3])
def test_one_figure_is_a_plain_ewma(weight, shift):
    """The chart of one figure is the two-sided EWMA, whose integral equation is solved elsewhere."""
    found = mewma_run_length_distribution(1, weight, 2.7**2, shift)
    plain = ewma_run_length(weight, 2.7, shift)
    assert found.mean == pytest.approx(plain.mean, rel=1e-8)
    assert found.sd == pytest.approx(plain.sd, rel=1e-8)
    assert found.quantile(0.5) == plain.quantile(0.5)


def test_one_figure_as_printed():
    """Lucas & Saccucci 1990: weight 0.1, 2.814 sd, run length about 500."""
    assert mewma_run_length(1, 0.1, 2.81431**2) == pytest.approx(500.0, rel=1e-6)


def played(figures, weight, limit, shift, games, seed):
    rng = np.random.default_rng(seed)
    level, alive, point = np.zeros((games, figures)), np.arange(games), 0
    runs = np.zeros(games)
    while alive.size:
        point += 1
        fresh = rng.normal(size=level.shape)
        fresh[:, 0] += shift
        level = weight * fresh + (1 - weight) * level
        out = np.sum(level**2, axis=1) > limit * weight / (2 - weight)
        runs[alive[out]] = point
        level, alive = level[~out], alive[~out]
    return runs


@pytest.mark.parametrize("figures, weight, shift", [(3, 0.2, 0.0), (2, 0.1, 1.0), (5, 0.3, 2.0)])
def test_simulation(figures, weight, shift):
    limit = mewma_limit(figures, weight, 100.0)
    runs = played(figures, weight, limit, shift, 8000, 5)
    found = mewma_run_length_distribution(figures, weight, limit, shift)
    assert abs(runs.mean() - found.mean) < 4 * found.sd / math.sqrt(8000)
    assert runs.std() == pytest.approx(found.sd, rel=0.06)
    for share in (0.25, 0.5, 0.9):
        point = found.quantile(share)
        chance = 1 - found.chance_beyond(point)
        assert np.mean(runs <= point) == pytest.approx(chance, abs=4 * math.sqrt(0.25 / 8000))


def test_shift_of_nothing_and_a_tiny_one_agree():
    """One dimension and two give the same chain."""
    still, moved = (mewma_run_length_distribution(2, 0.25, 9.0, shift) for shift in (0.0, 1e-6))
    assert moved.mean == pytest.approx(still.mean, rel=2e-6)
    assert still.mean == pytest.approx(mewma_run_length(2, 0.25, 9.0), rel=1e-10)


@pytest.mark.parametrize("name, dense", [("_NODES_A_SPREAD", 5.0), ("_LEAST_NODES", 24)])
def test_more_nodes_agree(monkeypatch, name, dense):
    before = mewma_run_length(4, 0.05, 11.0), mewma_run_length_distribution(3, 0.3, 12.0, 1.0).mean
    monkeypatch.setattr(several, name, dense)
    assert mewma_run_length(4, 0.05, 11.0) == pytest.approx(before[0], rel=1e-9)
    assert mewma_run_length_distribution(3, 0.3, 12.0, 1.0).mean == pytest.approx(before[1], rel=2e-6)


@pytest.mark.parametrize("run_length", [20.0, 200.0, 5_000.0])
def test_limit_inverts_the_run_length(run_length):
    limit = mewma_limit(3, 0.15, run_length)
    assert mewma_run_length(3, 0.15, limit) == pytest.approx(run_length, rel=1e-8)


@pytest.mark.parametrize(
    "arguments", [(0, 0.1, 8.0), (2, 0.0, 8.0), (2, 1.5, 8.0), (2, 0.1, 0.0), (2, 0.1, math.nan)]
)
def test_out_of_range(arguments):
    with pytest.raises(StatisticsError):
        mewma_run_length(*arguments)


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: mewma_limit(2, 0.1, 1.0), "run length is 1.0"),
        (lambda: mewma_limit(2, 0.0, 100.0), "weight 0.0"),
        (lambda: mewma_run_length_distribution(2, 0.1, 8.0, math.nan), "shift is nan"),
        (lambda: mewma_run_length_distribution(2, 0.002, 8.0, 1.0), "take a greater weight"),
        (lambda: mewma_run_length(2, 1e-6, 8.0), "take a greater weight"),
    ],
)
def test_bad_questions_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()

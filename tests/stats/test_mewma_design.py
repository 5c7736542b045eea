"""Run length of the multivariate EWMA against closed forms, printed limits and simulation."""

import math

import numpy as np
import pytest
from scipy import stats

from qc.stats.errors import StatisticsError
from qc.stats.mewma_design import mewma_limit, mewma_run_length

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


def test_one_figure_is_a_plain_ewma():
    """Lucas & Saccucci 1990: weight 0.1, 2.814 sd, run length about 500."""
    assert mewma_run_length(1, 0.1, 2.81431**2) == pytest.approx(500.0, rel=1e-3)


def test_simulation():
    rng, figures, weight = np.random.default_rng(5), 3, 0.2
    limit = mewma_limit(figures, weight, 100.0)
    level = np.zeros((8000, figures))
    runs, alive, point = np.zeros(8000), np.arange(8000), 0
    while alive.size:
        point += 1
        level = weight * rng.normal(size=level.shape) + (1 - weight) * level
        out = np.sum(level**2, axis=1) > limit * weight / (2 - weight)
        runs[alive[out]] = point
        level, alive = level[~out], alive[~out]
    assert abs(runs.mean() - 100.0) < 4 * runs.std() / math.sqrt(8000)


def test_finer_chains_agree():
    limit = mewma_limit(2, 0.1, 200.0)
    assert mewma_run_length(2, 0.1, limit, 160) == pytest.approx(200.0, rel=1e-3)


@pytest.mark.parametrize("arguments", [(0, 0.1, 8.0), (2, 0.0, 8.0), (2, 1.5, 8.0), (2, 0.1, 0.0)])
def test_out_of_range(arguments):
    with pytest.raises(StatisticsError):
        mewma_run_length(*arguments)


def test_run_length_out_of_range():
    with pytest.raises(StatisticsError, match="run length"):
        mewma_limit(2, 0.1, 1.0)

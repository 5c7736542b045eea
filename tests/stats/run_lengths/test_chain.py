"""Run lengths of charts without memory, and the chain that all of them rest on."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse

from qc.stats.errors import StatisticsError
from qc.stats.run_lengths.chain import (
    NeverSignals,
    RunLength,
    false_alarms,
    run_length_of_chain,
    shewhart_factor,
    shewhart_run_length,
)

C1 = json.loads((Path(__file__).parents[2] / "published/runlength_shewhart.json").read_text("utf-8"))["C1"]


@pytest.mark.parametrize("n, shift, chance, mean, sd", C1["recomputed"]["rows"])
def test_shewhart_agrees_with_the_table(n, shift, chance, mean, sd):
    """Closed form; 370.40 and 43.9 are read in Montgomery and Runger, p. 638."""
    found = shewhart_run_length(3.0, shift, n=int(n))
    assert found.mean == pytest.approx(mean, rel=1e-6)
    assert found.sd == pytest.approx(sd, rel=1e-6, abs=1e-6)
    assert 1 - found.ratio == pytest.approx(chance, abs=1e-9)


def test_trade_values():
    """T102, T105, T106: 370.4 points; 4.86 and 19.6 false alarms a year on 12 charts of 150 points."""
    assert shewhart_run_length().mean == pytest.approx(370.4, abs=0.05)
    assert false_alarms(1800, 370.4) == pytest.approx(4.86, abs=0.005)
    assert false_alarms(1800, 91.75) == pytest.approx(19.6, abs=0.05)


@pytest.mark.parametrize("wanted", [1.5, 100.0, 370.398347, 1e9])
def test_factor_for_a_wanted_run_length(wanted):
    assert shewhart_run_length(shewhart_factor(wanted)).mean == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize("wanted", [1.0, math.nan, 1e13])
def test_run_lengths_that_no_factor_gives(wanted):
    with pytest.raises(StatisticsError, match="wanted run length"):
        shewhart_factor(wanted)


def test_wider_spread_signals_sooner():
    assert shewhart_run_length(sd_ratio=1.5).mean == pytest.approx(1 / (2 * 0.022750131948), rel=1e-9)


def test_geometric_quantiles():
    found = shewhart_run_length()
    p = 1 / found.mean
    for share in (0.05, 0.5, 0.95):
        exact = math.ceil(math.log(1 - share) / math.log(1 - p))
        assert found.quantile(share) == exact
        assert found.chance_beyond(exact) <= 1 - share < found.chance_beyond(exact - 1)
    assert found.to_dict()["quantiles"]["0.5"] == 257


def two_states(stay, move):
    """A chain with a start state and one that is nearer to the signal."""
    return np.array([stay, move]), np.array([[stay, move], [0.0, stay]])


@settings(max_examples=60, deadline=None)
@given(st.floats(0.05, 0.9), st.floats(0.02, 0.09))
def test_chain_mean_and_sd_agree_with_the_summed_survival(stay, move):
    first, step = two_states(stay, move)
    found = run_length_of_chain(first, step)
    t = np.arange(2000)
    survival = np.array([found.chance_beyond(int(i)) for i in t])
    by_power = [1.0, *(float((first @ np.linalg.matrix_power(step, i)).sum()) for i in range(30))]
    assert survival[:31] == pytest.approx(by_power, rel=1e-9, abs=1e-12)
    assert found.mean == pytest.approx(survival.sum(), rel=1e-6)
    assert found.sd**2 == pytest.approx(2 * (t @ survival) + found.mean - found.mean**2, rel=1e-5)
    assert found.quantile(0.5) == int(np.argmax(survival <= 0.5))


def test_sparse_and_dense_chains_agree_and_compare():
    first, step = two_states(0.7, 0.2)
    dense, thin = run_length_of_chain(first, step), run_length_of_chain(first, sparse.csr_array(step))
    assert thin.mean == pytest.approx(dense.mean, rel=1e-13)
    assert dense == run_length_of_chain(first, step) and hash(dense) == hash(run_length_of_chain(first, step))
    assert dense != run_length_of_chain(first * 0.5, step)
    assert dense != "a chain"


def test_head_before_the_chain_counts():
    """One sure point without a signal adds one to the mean and nothing to the sd."""
    first, step = np.array([0.5]), np.array([[0.5]])
    plain, later = run_length_of_chain(first, step), run_length_of_chain(first, step, before=np.ones(2))
    assert later.mean == pytest.approx(plain.mean + 1)
    assert later.sd == pytest.approx(plain.sd)


def test_chain_that_ends_at_once():
    found = run_length_of_chain(np.array([0.0]), np.array([[0.0]]))
    assert (found.mean, found.sd, found.quantile(0.99)) == (1.0, 0.0, 1)


@pytest.mark.parametrize(
    "call, error, said",
    [
        (lambda: shewhart_run_length(0.0), StatisticsError, "limit factor 0.0"),
        (lambda: shewhart_run_length(n=0), StatisticsError, "size 0"),
        (lambda: shewhart_run_length(shift=math.nan), StatisticsError, "shift is nan"),
        (lambda: shewhart_run_length(sd_ratio=0.0), StatisticsError, "spread ratio 0.0"),
        (lambda: shewhart_run_length(60.0), StatisticsError, "never crossed"),
        (lambda: shewhart_run_length().quantile(1.0), StatisticsError, "quantile 1.0"),
        (lambda: shewhart_run_length().chance_beyond(-1), StatisticsError, "-1 points"),
        (lambda: false_alarms(-1, 370), StatisticsError, "-1 points"),
        (lambda: run_length_of_chain(np.array([1.0]), np.array([[1.0 - 1e-15]])), NeverSignals, "never"),
    ],
)
def test_bad_questions_are_named(call, error, said):
    with pytest.raises(error, match=said):
        call()


def test_result_type():
    assert isinstance(shewhart_run_length(), RunLength)


def test_a_hazard_that_stands_still_on_its_way_is_not_taken_for_the_tail():
    """Thirty points without a signal, then one in two: the tail is that of the end, not of the beginning."""
    step = np.diag(np.ones(30), 1)
    step[30, 30] = 0.5
    first = np.eye(31)[0]
    found = run_length_of_chain(first, step)
    assert found.mean == pytest.approx(33.0)
    assert [found.quantile(share) for share in (0.05, 0.5, 0.75)] == [32, 32, 33]
    assert found.ratio == pytest.approx(0.5)

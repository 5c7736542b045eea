"""Agreement by eye: statsmodels, exact intervals, properties."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.inter_rater import aggregate_raters
from statsmodels.stats.inter_rater import cohens_kappa as their_cohen
from statsmodels.stats.inter_rater import fleiss_kappa as their_fleiss

from qc.stats.errors import StatisticsError
from qc.stats.gauges.agreement import cohen_kappa, fleiss_kappa, misses_and_false_rejects, proportion


def verdicts(rng, n, people, error, bad=0.4):
    """True verdicts, and those of people who err at random."""
    truth = rng.random(n) < bad
    return truth, np.array([np.where(rng.random(n) < error, ~truth, truth) for _ in range(people)])


@pytest.mark.parametrize("seed", range(4))
def test_cohen_agrees_with_statsmodels(seed):
    rng = np.random.default_rng(seed)
    first, second = rng.integers(0, 3, 60), rng.integers(0, 3, 60)
    second = np.where(rng.random(60) < 0.6, first, second)
    table = np.zeros((3, 3))
    np.add.at(table, (first, second), 1)
    theirs = their_cohen(table)
    found = cohen_kappa(first.tolist(), second.tolist())
    assert found.kappa == pytest.approx(theirs.kappa)
    assert found.standard_error == pytest.approx(theirs.std_kappa)
    assert found.interval == pytest.approx((theirs.kappa_low, min(theirs.kappa_upp, 1.0)))


@pytest.mark.parametrize("seed", range(3))
def test_fleiss_agrees_with_statsmodels(seed):
    _, said = verdicts(np.random.default_rng(seed), 40, 4, 0.15)
    table, _ = aggregate_raters(said.T.astype(int))
    assert fleiss_kappa(said.T.tolist()).kappa == pytest.approx(their_fleiss(table))


def test_published_example():
    """Fleiss 1971 in spirit: full agreement is 1; agreement by chance is 0 in the mean."""
    full = fleiss_kappa([["ok"] * 3, ["bad"] * 3, ["ok"] * 3])
    assert full.kappa == 1.0 and full.interval is None
    rng = np.random.default_rng(5)
    mean = np.mean(
        [
            cohen_kappa(rng.integers(0, 2, 50).tolist(), rng.integers(0, 2, 50).tolist()).kappa
            for _ in range(600)
        ]
    )
    assert mean == pytest.approx(0.0, abs=4 * 0.14 / math.sqrt(600))


def test_intervals_cover_in_simulation():
    """True kappa of two people who err 10 % on 40 % bad pieces; 95 % intervals, 120 pieces, 500 draws."""
    p_agree = 0.9**2 + 0.1**2
    p_bad = 0.4 * 0.9 + 0.6 * 0.1
    chance = p_bad**2 + (1 - p_bad) ** 2
    true = (p_agree - chance) / (1 - chance)
    rng = np.random.default_rng(9)
    hits = {"cohen": 0, "fleiss": 0}
    for _ in range(500):
        _, said = verdicts(rng, 120, 2, 0.1)
        low, high = cohen_kappa(said[0].tolist(), said[1].tolist()).interval
        hits["cohen"] += low <= true <= high
        low, high = fleiss_kappa(said.T.tolist()).interval
        hits["fleiss"] += low <= true <= high
    assert hits["cohen"] / 500 == pytest.approx(0.95, abs=0.045)
    assert hits["fleiss"] / 500 == pytest.approx(0.95, abs=0.045)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from("abc")), min_size=4, max_size=40))
def test_names_and_order_of_people_do_not_matter(pairs):
    first, second = [a for a, _ in pairs], [b for _, b in pairs]
    if len({*first, *second}) < 2:
        return
    found = cohen_kappa(first, second)
    assert cohen_kappa(second, first).kappa == pytest.approx(found.kappa)
    renamed = {"a": 1, "b": 2, "c": 3}
    assert cohen_kappa([renamed[a] for a in first], [renamed[b] for b in second]).kappa == pytest.approx(
        found.kappa
    )
    assert found.kappa <= 1.0 and (found.kappa == pytest.approx(1.0)) == (first == second)
    assert json.loads(json.dumps(found.to_dict(), allow_nan=False)) == found.to_dict()


@pytest.mark.parametrize("count, n", [(0, 12), (3, 12), (12, 12), (1, 1)])
def test_proportion_agrees_with_scipy(count, n):
    theirs = stats.binomtest(count, n).proportion_ci(0.95)
    assert proportion(count, n).interval == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_misses_and_false_rejects():
    missed, rejected = misses_and_false_rejects("gbgbgg", "bbbggg", bad="b")
    assert (missed.count, missed.n) == (2, 3) and (rejected.count, rejected.n) == (1, 3)
    assert misses_and_false_rejects("gg", "gg", bad="b")[0] is None
    assert misses_and_false_rejects("bb", "bb", bad="b")[1] is None


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: cohen_kappa("ab", "abc"), "2 and 3 verdicts"),
        (lambda: cohen_kappa("a", "b"), "1 pieces given"),
        (lambda: cohen_kappa("aaa", "aaa"), "one verdict only"),
        (lambda: cohen_kappa("ab", "ab", confidence=0.0), "confidence is 0.0"),
        (lambda: fleiss_kappa(["ab"]), "1 pieces"),
        (lambda: fleiss_kappa(["ab", "abc"]), "judgements"),
        (lambda: fleiss_kappa(["aa", "aa"]), "one verdict only"),
        (lambda: proportion(5, 4), "5 of 4"),
        (lambda: misses_and_false_rejects("ab", "a", bad="b"), "2 verdicts and 1"),
    ],
)
def test_bad_questions_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()

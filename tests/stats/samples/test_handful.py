"""Five to seven pieces beside others: the chance is that of an exact rank test, checked by scipy."""

import numpy as np
import pytest
from scipy import stats

from qc.stats import FEWEST_APART, LEAST_APART, StatisticsError, few_apart

MARKS = [n in {8, 10, 12, 14, 16, 17} for n in range(26)]


def test_without_ties_it_is_the_exact_wilcoxon_test_of_scipy(rng):
    for shift in (0.0, 1.0, 3.0):
        values = rng.normal(size=26) + shift * np.array(MARKS)
        other = stats.mannwhitneyu(values[MARKS], values[~np.array(MARKS)], method="exact")
        assert few_apart(values.tolist(), MARKS).p_value == pytest.approx(other.pvalue)


@pytest.mark.slow
def test_with_ties_and_models_it_is_that_of_all_permutations(rng):
    values = np.round(rng.normal(size=20) + 1.0 * np.array(MARKS[4:24]))
    own = np.array(MARKS[4:24])

    def total(ranks, mine):
        return ranks[mine.astype(bool)].sum()

    models = np.array(["tenor", "bass"] * 10)
    ranks = np.empty(20)
    for model in ("tenor", "bass"):
        ranks[models == model] = stats.rankdata(values[models == model])
    sums = []
    for draw in range(20000):
        shuffled = own.copy()
        random = np.random.default_rng([15133, draw])
        for model in ("tenor", "bass"):
            shuffled[models == model] = random.permutation(own[models == model])
        sums.append(total(ranks, shuffled))
    sums = np.array(sums)
    mine = total(ranks, own)
    drawn = 2 * min((sums <= mine).mean(), (sums >= mine).mean())
    found = few_apart(values.tolist(), own.tolist(), models.tolist()).p_value
    assert found == pytest.approx(min(drawn, 1.0), abs=4 * (0.25 / 20000) ** 0.5 * 2)


def test_the_interval_is_that_of_students_two_samples(rng):
    values, own = rng.normal(size=26), np.array(MARKS)
    known = stats.ttest_ind(values[own], values[~own]).confidence_interval(0.9)
    found = few_apart(values.tolist(), MARKS, confidence=0.9)
    assert found.interval == pytest.approx((known.low, known.high))
    assert found.difference == pytest.approx(values[own].mean() - values[~own].mean())


def test_how_many_pieces_it_takes():
    values = [float(n % 7) for n in range(60)]
    for count, total, told in ((4, 30, False), (5, 30, True), (7, 30, True), (8, 30, False), (5, 60, False)):
        own = [n % 4 == 0 and n // 4 < count for n in range(total)]
        assert (few_apart(values[:total], own) is not None) is told
    assert FEWEST_APART == 5 and LEAST_APART == 8
    assert few_apart([4.0] * 26, MARKS) is None
    assert few_apart(values[:26], MARKS, MARKS) is None, "none of them has others of its like"


def test_what_does_not_belong_together_is_refused():
    with pytest.raises(StatisticsError, match="each needs both"):
        few_apart([1.0] * 26, MARKS[:20])
    with pytest.raises(StatisticsError):
        few_apart([1.0] * 25 + [float("nan")], MARKS)
    with pytest.raises(StatisticsError):
        few_apart([1.0, 2.0] * 13, MARKS, confidence=1.0)

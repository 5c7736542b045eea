"""The exact probability of evidence anywhere, held against counting out every way the counts can fall."""

from itertools import product

import numpy as np
import pytest
from scipy import stats

from qc.stats.change.count_paths import chance_of_leaving
from qc.stats.change.counts import WINDOWS, _binomial, _hypergeometric, _Stretch


def by_counting_out(sizes, total, pass_fail, smallest):
    """Sum the probability of all ways to spread `total` over the points that hold such evidence."""
    whole, chance = sum(sizes), 0.0
    for counts in product(range(total + 1), repeat=len(sizes)):
        if sum(counts) != total or (pass_fail and any(c > s for c, s in zip(counts, sizes, strict=True))):
            continue
        if pass_fail:
            weight = stats.multivariate_hypergeom.pmf(counts, sizes, total)
        else:
            weight = stats.multinomial.pmf(counts, total, np.array(sizes) / whole)
        rare = []
        for w in range(1, len(sizes)):
            inside, part = sum(counts[-w:]), sum(sizes[-w:])
            one = stats.hypergeom(whole, total, part) if pass_fail else stats.binom(total, part / whole)
            rare += [one.sf(inside - 1), one.cdf(inside)]
        chance += weight * (min(rare) <= smallest * (1 + 1e-9))
    return chance


@pytest.mark.parametrize("pass_fail", [False, True], ids=["defects", "failures"])
@pytest.mark.parametrize("sizes, total", [([2, 3, 2, 4], 5), ([3, 3, 3, 3, 3], 4)])
@pytest.mark.parametrize("smallest", [0.3, 0.04, 0.006])
def test_agrees_with_counting_out_every_way(sizes, total, pass_fail, smallest):
    parts = np.cumsum(sizes[::-1])[:-1].astype(float)
    whole = sum(sizes)
    tails = [
        _hypergeometric(total, int(p), whole) if pass_fail else _binomial(total, p / whole) for p in parts
    ]
    found = chance_of_leaving(
        [t.least for t in tails],
        [t.most for t in tails],
        parts,
        float(whole),
        total,
        smallest,
        pass_fail=pass_fail,
    )
    assert found == pytest.approx(by_counting_out(sizes, total, pass_fail, smallest), abs=1e-9)


@pytest.mark.parametrize("pass_fail", [False, True], ids=["defects", "failures"])
def test_what_a_stretch_is_judged_by_is_never_more_than_the_sum_and_never_less_than_the_rarest(pass_fail):
    random = np.random.default_rng(45)
    seen = 0
    for _ in range(400):
        number = random.binomial(20, 0.2, 12) if pass_fail else random.poisson(4, 12)
        number[-2:] += 4
        stretch = _Stretch(number, np.full(12, 30.0), pass_fail)
        probability, _ = stretch.judge(0.05)
        windows = [w for w in WINDOWS if w < 12]
        if probability <= 0.05:
            single = []
            for w in windows:
                inside, part = int(number[-w:].sum()), 30 * w
                tail = stretch._tail(float(part))
                single += [tail.least[inside], tail.most[inside]]
            assert min(single) <= probability <= 2 * len(windows) * min(single)
            seen += 1
    assert seen > 30


def test_too_many_counts_are_left_to_the_sum():
    number = np.array([90_000, 90_400, 90_100, 90_200, 95_000])
    stretch = _Stretch(number, np.ones(5), False)
    probability, side = stretch.judge(0.01)
    assert side == "above" and 0 <= probability < 1e-10
    tail = _binomial(2_000_000, 0.5)
    assert chance_of_leaving([tail.least], [tail.most], np.array([1.0]), 2.0, 2_000_000, 0.001) is None

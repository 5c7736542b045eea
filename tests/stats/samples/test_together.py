"""Two figures of the same pieces: against scipy, and how often chance passes for an answer."""

import numpy as np
import pytest
from scipy import stats
from scipy.signal import lfilter

from qc.stats import LEAST_TOGETHER, StatisticsError, corrected_p_values, rank_association
from qc.stats.samples import together


def against_neighbours(values):
    """Take the mean of nine off ranks in a plain loop, ends shortened to what is there within."""
    ranks = (stats.rankdata(values) - (len(values) + 1) / 2) / (len(values) + 1)
    out = []
    for place in range(len(ranks)):
        first = min(max(place - 4, 0), len(ranks) - 9)
        out.append(ranks[place] - np.mean(ranks[first : first + 9]))
    return np.array(out)


def test_the_correlation_is_that_of_ranks_against_neighbours(rng):
    x = rng.normal(size=60)
    y = x + rng.normal(size=60)
    found = rank_association(x, y)
    expected = stats.pearsonr(against_neighbours(x), against_neighbours(y)).statistic
    assert found.correlation == pytest.approx(expected, abs=1e-12)
    assert found.n == 60 and found.counts_as <= 60


def test_independent_pieces_have_the_usual_p_value(rng):
    """With as many pieces counted as there are, the p-value is scipy's t-test of a correlation."""
    x, y = rng.normal(size=(2, 80))
    found = rank_association(x, y)
    t = found.correlation * ((found.counts_as - 2) / (1 - found.correlation**2)) ** 0.5
    assert found.p_value == pytest.approx(2 * stats.t.sf(abs(t), found.counts_as - 2), rel=1e-9)


def test_shape_and_scale_do_not_matter(rng):
    x, y = rng.normal(size=(2, 40))
    plain = rank_association(x, y)
    assert rank_association(np.exp(3 * x), 7 * y - 2) == plain
    assert rank_association(-x, y).correlation == pytest.approx(-plain.correlation, abs=1e-12)


def test_levels_of_models_are_no_association(rng):
    """Two models that differ in both figures: a plain rank correlation is certain of it, this one is not."""
    model = rng.integers(0, 2, 60)
    x, y = rng.normal(size=(2, 60)) + 4 * model
    assert stats.spearmanr(x, y).pvalue < 1e-6
    assert rank_association(x, y, model).p_value > 0.01


def test_too_few_pieces_and_what_never_differs():
    values = np.arange(30.0) % 7
    few = np.where(np.arange(30) < LEAST_TOGETHER - 1, values, np.nan)
    assert rank_association(values, few) is None
    assert rank_association(values, np.ones(30)) is None


def test_pieces_without_both_figures_take_no_part(rng):
    x, y = rng.normal(size=(2, 50))
    gap = np.arange(50) % 5 == 0
    with_gaps = rank_association(np.where(gap, np.nan, x), y)
    assert with_gaps == rank_association(x[~gap], y[~gap])


def test_lengths_must_agree():
    with pytest.raises(StatisticsError, match="3 and 4 figures of 3 pieces"):
        rank_association([1.0, 2.0, 3.0], [1.0, 2.0, 3.0, 4.0])


def _lots(rng, n, size, part):
    shared = np.repeat(rng.normal(size=n // size + 2), size)[rng.integers(0, size) :][:n]
    return part**0.5 * shared + (1 - part) ** 0.5 * rng.normal(size=n)


def _step(rng, n):
    return 2.0 * (np.arange(n) > rng.integers(5, n - 5)) + rng.normal(size=n)


DRAWN = {
    "independent": lambda rng, n: rng.normal(size=n),
    "coarse": lambda rng, n: np.round(rng.normal(size=n)),
    "lots": lambda rng, n: _lots(rng, n, 6, 0.7),
    "lots of near copies": lambda rng, n: _lots(rng, n, 3, 0.95),
    "likeness of neighbours": lambda rng, n: lfilter([1], [1, -0.6], rng.normal(size=n + 50))[50:],
    "steps": _step,
    "trends": lambda rng, n: np.arange(n) * 3 / n + rng.normal(size=n),
}


@pytest.mark.slow
@pytest.mark.parametrize("kind", DRAWN)
@pytest.mark.parametrize("verdict", [False, True])
def test_chance_is_named_at_most_as_often_as_stated(rng, kind, verdict):
    """200 shops of 40 pieces, six figures that have nothing to do with the result: named in 5 % at most."""
    make, hits = DRAWN[kind], 0
    for _ in range(200):
        result = (rng.random(40) < 0.15).astype(float) if verdict else make(rng, 40)
        found = [rank_association(make(rng, 40), result) for _ in range(6)]
        chances = [one.p_value for one in found if one is not None]
        hits += min(corrected_p_values(chances), default=1.0) <= 0.05
    assert hits / 200 <= 0.05 + 3 * (0.05 * 0.95 / 200) ** 0.5


@pytest.mark.slow
def test_what_is_there_is_found(rng):
    """A correlation of 0.7 on 40 pieces, among ten figures: named at least seven times in ten (100 shops)."""
    named = 0
    for _ in range(100):
        x = rng.normal(size=40)
        y = 0.7 * x + 0.51**0.5 * rng.normal(size=40)
        named += rank_association(x, y).p_value * 10 <= 0.05
    assert named >= 70


def test_the_interval_covers(rng):
    """300 shops of 60 pieces with a correlation of 0.5; 95 % of them hold what 20,000 pieces show."""

    def pair(n):
        x = rng.normal(size=n)
        return x, 0.5 * x + 0.75**0.5 * rng.normal(size=n)

    true = rank_association(*pair(20_000)).correlation
    held = [low <= true <= high for low, high in (rank_association(*pair(60)).interval for _ in range(300))]
    assert np.mean(held) > 0.95 - 3 * (0.95 * 0.05 / 300) ** 0.5


def test_neighbours_are_taken_off_at_the_ends_too():
    line = np.arange(25.0)
    left = together.less_neighbours(line)
    assert left[4:-4] == pytest.approx(np.zeros(17), abs=1e-9)
    assert left[0] == pytest.approx(-4.0) and left[-1] == pytest.approx(4.0)

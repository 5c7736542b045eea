"""The three scans against general-purpose tests at every split, one at a time."""

import numpy as np
import pytest
from scipy import stats

from qc.stats.change.scan import (
    LEVEL,
    SPREAD,
    SPREAD_SIDE,
    TREND,
    TREND_SIDE,
    Sums,
    normal_score,
    scan,
    statistic_limit,
)


def slope_t(values, regressor):
    """Squared t of one regressor beside a constant, by least squares."""
    design = np.stack([np.ones(values.size), regressor], axis=1)
    fitted, rest, _, _ = np.linalg.lstsq(design, values, rcond=None)
    variance = rest[0] / (values.size - 2) * np.linalg.inv(design.T @ design)[1, 1]
    return fitted[1] ** 2 / variance


@pytest.mark.parametrize("n", [4, 5, 6, 8, 11, 30, 75])
@pytest.mark.parametrize("origin", [0.0, 1000.0])
def test_scans_agree_with_one_test_at_a_time(rng, n, origin):
    values = origin + rng.normal(0, 1, (3, n))
    found = scan(Sums.of(values), np.zeros(3))
    order = np.arange(1, n + 1)
    for row in range(3):
        x = values[row]
        level = [slope_t(x, (order > k).astype(float)) for k in range(1, n)]
        assert found.statistic[row, LEVEL] == pytest.approx(max(level), rel=1e-7)
        assert found.split[row, LEVEL] == np.argmax(level) + 1
        if n >= 2 * SPREAD_SIDE:
            splits = range(SPREAD_SIDE, n - SPREAD_SIDE + 1)
            spread = [stats.bartlett(x[:k], x[k:]).statistic for k in splits]
            assert found.statistic[row, SPREAD] == pytest.approx(max(spread), rel=1e-6)
            assert found.split[row, SPREAD] == np.argmax(spread) + SPREAD_SIDE
        else:
            assert found.statistic[row, SPREAD] == 0
        if n > TREND_SIDE:
            trend = [slope_t(x, np.maximum(order - k, 0.0)) for k in range(1, n - TREND_SIDE + 1)]
            assert found.statistic[row, TREND] == pytest.approx(max(trend), rel=1e-7)
            assert found.split[row, TREND] == np.argmax(trend) + 1


def test_level_is_the_two_sample_t(rng):
    x = rng.normal(0, 1, 12)
    t = [stats.ttest_ind(x[:k], x[k:]).statistic ** 2 for k in range(2, 11)]
    assert scan(Sums.of(x[None]), np.zeros(1)).statistic[0, LEVEL] >= max(t) * (1 - 1e-12)
    both = scan(Sums.of(x[None]), np.zeros(1), level_side=2)
    assert both.statistic[0, LEVEL] == pytest.approx(max(t), rel=1e-9)
    assert 2 <= both.split[0, LEVEL] <= 10


def test_a_floor_keeps_variances_from_vanishing():
    x = np.array([[5.0] * 10 + [6.0] * 10])
    floor = np.array([1 / 12])
    found = scan(Sums.of(x), floor)
    assert found.statistic[0, LEVEL] == pytest.approx(5.0 / (1 / 12), rel=1e-12)  # 20 x 1/4 over the floor
    assert found.split[0, LEVEL] == 10
    assert found.statistic[0, SPREAD] >= 0


def test_a_floor_below_the_scatter_changes_nothing(rng):
    x = rng.normal(0, 1, (4, 20))
    free, floored = scan(Sums.of(x), np.zeros(4)), scan(Sums.of(x), np.full(4, 1e-9))
    assert floored.statistic == pytest.approx(free.statistic, rel=1e-6)
    assert (floored.split == free.split).all()


def test_sums_grown_step_by_step_are_those_of_the_whole(rng):
    x = rng.normal(0, 1, (5, 30))
    grown = Sums.empty(5, 40)
    for column in range(30):
        grown.write(column, np.arange(5), x[:, column] - x[:, 0])
    whole, part = Sums.of(x), grown.take(slice(None), 30)
    assert (part.total == whole.total).all()
    assert (part.square == whole.square).all()
    assert (part.running == whole.running).all()


def test_scores_are_normal_at_one_split():
    # a t with 18 degrees of freedom and p = 0.01 two-sided becomes the normal score of p = 0.01
    squared = stats.t.isf(0.005, 18) ** 2
    score = normal_score(np.array([[squared, 4.0, squared]]), 20)[0]
    assert score[LEVEL] == pytest.approx(stats.norm.isf(0.005), rel=1e-9)
    assert score[SPREAD] == 2.0


@pytest.mark.parametrize("length", [4, 9, 60, 500])
def test_limits_undo_scores(length):
    scores = np.array([3.7, 4.1, 3.9])
    assert normal_score(statistic_limit(scores, length)[None], length)[0] == pytest.approx(scores, rel=1e-6)


def test_a_kind_without_threshold_has_no_limit():
    limit = statistic_limit(np.array([3.7, np.inf, np.inf]), 5)
    assert np.isfinite(limit).tolist() == [True, False, False]


def test_constant_stretches_score_nothing():
    found = scan(Sums.of(np.full((2, 20), 7.3)), np.zeros(2))
    assert (found.statistic[:, [LEVEL, TREND]] == 0).all()
    assert (normal_score(found.statistic, 20) < 1e-5).all()  # rounding of logarithms

"""Hotelling's T2 and the multivariate EWMA against printed limits, plain algebra and simulation."""

import json
import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy import stats

from qc.stats import StudyQuestion, study_frame
from qc.stats.charts.multivariate import mewma, phase_one_limit, phase_two_limit, t2, t2_of_means
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers.baseline import Baseline
from qc.stats.run_lengths.several import mewma_limit

WORKED = json.loads((Path(__file__).parents[2] / "published" / "charts_worked.json").read_text("utf-8"))
COVARIANCE = np.array([[1.0, 0.8, 0.0], [0.8, 1.0, 0.2], [0.0, 0.2, 4.0]])


def figures(n, seed=1):
    return np.random.default_rng(seed).multivariate_normal([10, 20, 30], COVARIANCE, size=n)


def test_limit_for_a_new_piece():
    expected = float(WORKED["T107"]["expected"])
    assert phase_two_limit(3, 30, 0.005) == pytest.approx(expected, abs=0.01)


def test_limits_join_for_many_points():
    chi2 = stats.chi2.isf(0.01, 3)
    assert phase_one_limit(3, 100_000, 0.01) == pytest.approx(chi2, rel=1e-3)
    assert phase_two_limit(3, 100_000, 0.01) == pytest.approx(chi2, rel=1e-3)
    assert phase_one_limit(3, 30, 0.01) < chi2 < phase_two_limit(3, 30, 0.01)


def test_both_limits_hold_their_rate():
    rng, m, rate, count = np.random.default_rng(2), 12, 0.05, 4000
    first = second = 0
    for _ in range(count):
        sample = rng.normal(size=(m + 1, 2))
        base = sample[:m]
        inverse = np.linalg.inv(np.cov(base, rowvar=False))
        away = sample - base.mean(axis=0)
        distance = np.einsum("ij,jk,ik->i", away[[0, m]], inverse, away[[0, m]])
        first += distance[0] > phase_one_limit(2, m, rate)
        second += distance[1] > phase_two_limit(2, m, rate)
    error = math.sqrt(rate * (1 - rate) / count)
    assert abs(first / count - rate) < 4 * error and abs(second / count - rate) < 4 * error


def test_distances_by_plain_algebra():
    matrix = figures(25)
    chart = t2(matrix)
    inverse, mean = np.linalg.inv(np.cov(matrix, rowvar=False)), matrix.mean(axis=0)
    np.testing.assert_allclose(chart.values, [(row - mean) @ inverse @ (row - mean) for row in matrix])
    # the distances of the baseline sum to p (m - 1), so their mean is the centre
    assert chart.center == pytest.approx(np.mean(chart.values))
    assert chart.upper == pytest.approx(phase_one_limit(3, 25)) and chart.uppers is None


def test_new_points_have_their_own_limit():
    matrix = figures(40)
    chart = t2(matrix, baseline=Baseline(1, 30))
    assert chart.uppers[0] == pytest.approx(phase_one_limit(3, 30))
    assert chart.uppers[-1] == pytest.approx(phase_two_limit(3, 30)) == chart.upper


def test_decomposition_names_the_figures():
    matrix = np.vstack([figures(60), [10.0, 23.0, 30.0]])  # second out of step with the first
    chart = t2(matrix, ["bore", "wall", "mass"], Baseline(1, 60))
    assert [s.point for s in chart.signals][-1] == 61
    said = chart.extras["decomposition"][-1]
    assert said["point"] == 61 and "wall" in said["causes"] and "mass" not in said["causes"]
    whole = chart.values[60]
    rest = t2(matrix[:, :2], baseline=Baseline(1, 60)).values[60]
    assert said["parts"]["mass"] == pytest.approx(whole - rest)


def test_units_and_mixing_do_not_matter():
    matrix = figures(30)
    turned = matrix @ np.array([[2.0, 0.0, 1.0], [0.0, -3.0, 0.0], [0.0, 0.5, 0.1]]) + [5, 6, 7]
    np.testing.assert_allclose(t2(turned).values, t2(matrix).values, rtol=1e-7)
    np.testing.assert_allclose(mewma(turned).values, mewma(matrix).values, rtol=1e-7)
    shuffled = matrix[np.random.default_rng(3).permutation(30)]
    np.testing.assert_allclose(np.sort(t2(shuffled).values), np.sort(t2(matrix).values))


def test_mewma_by_plain_recursion():
    matrix, weight = figures(30), 0.2
    chart = mewma(matrix, weight=weight)
    away = matrix - matrix.mean(axis=0)
    inverse = np.linalg.inv(np.cov(matrix, rowvar=False) * weight / (2 - weight))
    level, expected = np.zeros(3), []
    for row in away:
        level = weight * row + (1 - weight) * level
        expected.append(level @ inverse @ level)
    np.testing.assert_allclose(chart.values, expected)
    assert chart.upper == pytest.approx(mewma_limit(3, weight, 200.0))


def test_mewma_finds_a_small_lasting_shift():
    matrix = figures(120, seed=4)
    matrix[80:] += [1.0, -1.0, 0.0]
    chart = mewma(matrix, ["a", "b", "c"], Baseline(1, 80))
    first = chart.signals[0].point
    assert 80 < first < 95
    assert "c" not in chart.extras["decomposition"][0]["causes"]


@pytest.mark.parametrize(
    "matrix, words",
    [
        (np.zeros(5), "several figures"),
        (np.zeros((5, 1)), "several figures"),
        ([["a", "b"]], "not a number"),
        ([[1.0, math.nan]] * 5, "piece 1, figure 2 is nan"),
        (np.column_stack([np.arange(9.0), 2 * np.arange(9.0)]), "depend on one another"),
        (np.column_stack([np.arange(9.0), np.ones(9)]), "depend on one another"),
        (figures(4), "at least 5"),
    ],
)
def test_bad_figures(matrix, words):
    with pytest.raises(StatisticsError, match=words):
        t2(matrix)


def test_names_and_rates_are_checked():
    with pytest.raises(StatisticsError, match="names"):
        t2(figures(20), ["a"])
    with pytest.raises(StatisticsUsageError, match="rate"):
        phase_two_limit(2, 30, 1.0)


def subgroups_of(rng, m, n, covariance=((1.0, 0.6), (0.6, 2.0))):
    """Pieces of m subgroups of n with two figures each, and their subgroups."""
    return rng.multivariate_normal([10.0, 5.0], covariance, m * n), np.repeat(np.arange(m), n).tolist()


def test_t2_of_means_by_hand():
    """n (mean - mean of all)' S^-1 (mean - mean of all), S the mean of the covariances within."""
    values, groups = subgroups_of(np.random.default_rng(1), 12, 4)
    chart = t2_of_means(values, groups, rate=0.001)
    cells = values.reshape(12, 4, 2)
    within = np.mean([np.cov(cell, rowvar=False) for cell in cells], axis=0)
    away = cells.mean(axis=1) - values.mean(axis=0)
    by_hand = [4 * row @ np.linalg.inv(within) @ row for row in away]
    np.testing.assert_allclose(chart.values, by_hand, rtol=1e-10)
    df = 12 * 3
    assert chart.upper == pytest.approx(2 * 11 * 3 / (df - 1) * stats.f.isf(0.001, 2, df - 1))


def test_t2_of_means_of_the_textbook():
    """Montgomery, section 11.3 (from memory): two figures, 20 subgroups of 10, 0.001: 13.72."""
    values, groups = subgroups_of(np.random.default_rng(2), 20, 10)
    assert t2_of_means(values, groups, rate=0.001).upper == pytest.approx(13.72, abs=0.005)


def test_limits_of_t2_of_means_keep_their_rate():
    """Of 8 baseline subgroups of 3 and one new, 5 % beyond each: 4 standard errors over 3,000 series."""
    rng = np.random.default_rng(5)
    old, new = [], []
    for _ in range(3000):
        values, groups = subgroups_of(rng, 9, 3)
        chart = t2_of_means(values, groups, baseline=Baseline(1, 8), rate=0.05)
        beyond = chart.values > chart.uppers
        old.append(beyond[0])
        new.append(beyond[8])
    error = 4 * np.sqrt(0.05 * 0.95 / 3000)
    assert np.mean(old) == pytest.approx(0.05, abs=error) and np.mean(new) == pytest.approx(0.05, abs=error)


def test_a_study_of_t2_takes_subgroups():
    values, groups = subgroups_of(np.random.default_rng(4), 25, 4)
    values[40:44] += [3.0, -3.0]
    frame = pl.DataFrame({"value:a": values[:, 0], "value:b": values[:, 1], "subgroup": groups})
    answer = study_frame(frame, StudyQuestion("t2"))[""]
    assert (answer.n, answer.points) == (100, 25)
    assert [signal.point for signal in answer.signals] == [11]


@pytest.mark.parametrize(
    "sizes, said", [((3, 2), "subgroup b has 2 pieces"), ((1, 1), "subgroup a has 1 piece")]
)
def test_subgroups_that_t2_cannot_take(sizes, said):
    groups = ["a"] * sizes[0] + ["b"] * sizes[1]
    with pytest.raises(StatisticsError, match=said):
        t2_of_means(np.random.default_rng(1).normal(size=(len(groups), 2)), groups)

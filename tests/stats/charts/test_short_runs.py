"""Short runs: pooling test against scipy and its level, standardising, Q over models."""

import math

import numpy as np
import polars as pl
import pytest
from scipy import stats

from qc.stats import StudyQuestion, study_frame
from qc.stats.charts.selfstarting import q_statistics
from qc.stats.charts.short_runs import (
    deviation_from_target,
    family_points,
    pooling_test,
    q_over_models,
    standardised_deviation,
)
from qc.stats.errors import StatisticsError

MODELS = np.array(["alto"] * 12 + ["tenor"] * 15 + ["bass"] * 10)


def family(spreads=(1.0, 1.0, 1.0), levels=(0.0, 0.0, 0.0), seed=1):
    rng = np.random.default_rng(seed)
    sizes = (12, 15, 10)
    return np.concatenate([rng.normal(m, s, n) for m, s, n in zip(levels, spreads, sizes, strict=True)])


def groups(values):
    return [values[MODELS == name] for name in ("alto", "tenor", "bass")]


def test_tests_against_scipy():
    values = family((1, 2, 3), (0, 1, 0))
    found = pooling_test(values, MODELS)
    levene = stats.levene(*groups(values), center="median")
    assert found.spread_statistic == pytest.approx(levene.statistic)
    assert found.spread_p == pytest.approx(levene.pvalue)
    two = MODELS != "bass"
    welch = stats.ttest_ind(values[MODELS == "alto"], values[MODELS == "tenor"], equal_var=False)
    pair = pooling_test(values[two], MODELS[two])
    assert pair.level_p == pytest.approx(welch.pvalue) and pair.level_statistic == pytest.approx(
        welch.statistic**2
    )


def test_level_test_keeps_its_level_where_spreads_differ():
    p_values = [pooling_test(family((1, 2, 4), seed=i), MODELS).level_p for i in range(400)]
    share = np.mean(np.array(p_values) < 0.1)
    assert abs(share - 0.1) < 4 * math.sqrt(0.09 / 400) + 0.01


@pytest.mark.parametrize(
    "spreads, levels, words",
    [
        ((1, 1, 1), (0, 0, 0), "may share one chart"),
        ((1, 1, 1), (0, 5, -5), "take each model's own level out"),
        ((1, 1, 20), (0, 0, 0), "they were standardised"),
    ],
)
def test_what_is_done(spreads, levels, words):
    values = family(spreads, levels, seed=3)
    points, said = family_points(values, MODELS)
    assert words in said
    if levels == (0, 5, -5):
        assert all(abs(part.mean()) < 1e-12 for part in groups(points))
    if spreads == (1, 1, 20):
        assert all(part.std(ddof=1) == pytest.approx(1.0) for part in groups(points))
    if words.startswith("may"):
        np.testing.assert_array_equal(points, values)


def test_pooling_as_plain_values():
    found = pooling_test(family(), MODELS)
    plain = found.to_dict()
    assert plain["pooled"] is found.pooled and set(plain["levels"]) == {"alto", "tenor", "bass"}
    assert plain["spread"]["test"] == "brown-forsythe"


def test_standardised_deviation_by_hand():
    values = family((1, 5, 2), (0, 9, 3))
    points = standardised_deviation(values, MODELS)
    for before, after in zip(groups(values), groups(points), strict=True):
        np.testing.assert_allclose(after, (before - before.mean()) / before.std(ddof=1))


def test_q_over_models_is_q_of_each_model():
    rng = np.random.default_rng(4)
    models = rng.permutation(MODELS)
    values = rng.normal(10, 1, MODELS.size)
    q = q_over_models(values, models)
    for name in ("alto", "tenor", "bass"):
        np.testing.assert_allclose(q[models == name], q_statistics(values[models == name]))


def test_deviations():
    assert deviation_from_target([1.0, 5.0], [2.0, 3.0]).tolist() == [-1.0, 2.0]
    with pytest.raises(StatisticsError, match="one each"):
        deviation_from_target([1.0], [2.0, 3.0])


@pytest.mark.parametrize(
    "values, models, words",
    [
        ([1.0, 2.0, 3.0], ["a", "a", "a"], "only the model a"),
        ([1.0, 2.0, 3.0, 4.0, 5.0], ["a", "a", "a", "b", "b"], "model b has 2 pieces"),
        ([1.0, 2.0], ["a"], "one each"),
        ([1.0] * 6, ["a"] * 3 + ["b"] * 3, "spread"),
    ],
)
def test_families_that_cannot_be_tested(values, models, words):
    with pytest.raises(StatisticsError, match=words):
        pooling_test(values, models)


def test_a_model_without_spread_cannot_be_standardised():
    with pytest.raises(StatisticsError, match="model b: all deviations are 7"):
        standardised_deviation([1.0, 2.0, 3.0, 7.0, 7.0, 7.0], ["a"] * 3 + ["b"] * 3)
    with pytest.raises(StatisticsError, match="one each"):
        q_over_models([1.0], ["a", "b"])


def test_a_study_puts_the_q_of_several_models_on_one_time_line():
    rng = np.random.default_rng(4)
    models = rng.choice(["alto", "tenor", "bass"], 40)
    values = np.where(models == "bass", 200.0, 100.0) + rng.standard_normal(40) * np.where(
        models == "alto", 1.0, 5.0
    )
    frame = pl.DataFrame({"value": values, "model": models})
    answer = study_frame(frame, StudyQuestion("self-starting"))[""]
    wanted = np.full(40, np.nan)
    for model in ("alto", "tenor", "bass"):  # the chart of each model alone, a piece at a time
        at = np.flatnonzero(models == model)
        wanted[at] = q_statistics(values[at])
    np.testing.assert_allclose(answer.chart.values, wanted, atol=1e-9)
    np.testing.assert_allclose(q_over_models(values, models), wanted, atol=1e-9)
    assert any("own model" in said for said in answer.chart.warnings + answer.warnings)
    # one sum over all models: a shift of every model at once is summed as one
    up, high = 0.0, []
    for q in wanted:
        up = up if np.isnan(q) else max(0.0, up + q - 0.5)
        high.append(up)
    np.testing.assert_allclose(answer.chart.companion.values["high"], high, atol=1e-9)


def spreads_of(rng, counts, spreads):
    """Deviations of some models with a spread each, and their names."""
    values = np.concatenate(
        [spread * rng.standard_normal(n) for n, spread in zip(counts, spreads, strict=True)]
    )
    return values, np.repeat([f"model {i}" for i in range(len(counts))], counts)


@pytest.mark.parametrize("count", [3, 4, 5])
def test_few_pieces_show_a_spread_a_million_times_another(count):
    """Distances from the medians cannot: of three pieces one is 0, and F stays small."""
    rng = np.random.default_rng(count)
    for _ in range(20):
        values, models = spreads_of(rng, [count] * 3, [1e-6, 1.0, 1.0])
        found = pooling_test(values, models)
        assert found.spread_test == "bartlett" and found.spread_p < 0.001 and not found.pooled
        if count == 3:
            thirds = [values[:3], values[3:6], values[6:]]
            assert stats.levene(*thirds, center="median").pvalue > 0.05


@pytest.mark.parametrize("counts", [(3, 3), (3, 5, 4), (5,) * 8])
def test_few_pieces_that_scatter_alike_are_kept_apart_one_time_in_twenty(counts):
    """1,000 families of normal pieces; 4 standard errors and half a point for the chi-square."""
    rng = np.random.default_rng(9)
    low = [pooling_test(*spreads_of(rng, counts, [1.0] * len(counts))).spread_p < 0.05 for _ in range(1000)]
    assert np.mean(low) == pytest.approx(0.05, abs=4 * math.sqrt(0.05 * 0.95 / 1000) + 0.005)


def test_bartlett_of_few_pieces_agrees_with_scipy():
    values, models = spreads_of(np.random.default_rng(2), (4, 6, 3), (1.0, 2.0, 5.0))
    wanted = stats.bartlett(values[:4], values[4:10], values[10:])
    found = pooling_test(values, models)
    assert (found.spread_statistic, found.spread_p) == pytest.approx((wanted.statistic, wanted.pvalue))
    assert found.to_dict()["spread"]["test"] == "bartlett"


def test_pieces_that_read_alike_on_a_coarse_gauge_may_share_a_chart():
    """A step of 1: a model that read 7 three times scatters by a third of a step, not by nothing."""
    found = pooling_test([7.0, 7.0, 7.0, 6.0, 7.0, 8.0], list("aaabbb"))
    assert found.pooled and "as far as 3 pieces of a model show" in found.advice
    assert not pooling_test([7.0, 7.0, 7.0, -500.0, 6.0, 7.0, 501.0], list("aaabbbb")).pooled

"""Group comparisons on arrays against the plain functions, scipy and certified values."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from qc.stats.errors import StatisticsError
from qc.stats.samples.anova import one_way_anova
from qc.stats.samples.groups import Grouped, bartlett, equal_spreads, levels_table, spread_test

PUBLISHED = Path(__file__).parents[2] / "published"
GEAR = json.loads((PUBLISHED / "capability_checks.json").read_text("utf-8"))["B14"]
SILICON = json.loads((PUBLISHED / "gauge_studies.json").read_text("utf-8"))["E1"]


def grouped(parts):
    return Grouped(
        np.concatenate([np.asarray(p, dtype=float) for p in parts]), np.array([len(p) for p in parts])
    )


def samples(seed):
    rng = np.random.default_rng(seed)
    return [
        rng.normal(rng.normal(), rng.uniform(0.5, 2), rng.integers(2, 9)) for _ in range(rng.integers(2, 9))
    ]


def test_labels_are_sorted_and_keep_their_order():
    found = Grouped.of(np.array([1.0, 2.0, 3.0, 4.0, 5.0]), np.array([2, 1, 2, 1, 7]))
    assert found.values.tolist() == [2.0, 4.0, 1.0, 3.0, 5.0] and found.sizes.tolist() == [2, 2, 1]
    assert found.repeated().values.tolist() == [2.0, 4.0, 1.0, 3.0]
    assert found.about_medians().tolist() == [-1.0, 1.0, -1.0, 1.0, 0.0]


def test_gears():
    """B14, NIST 1.3.5.4 and 1.3.5.7 (prints 20.7859 and p 0.0136)."""
    gears = grouped(GEAR["data"]["rows"])
    rows, _ = levels_table(gears)
    assert rows[0].ss == pytest.approx(GEAR["published"]["SSB"], abs=5e-7)
    assert rows[0].f == pytest.approx(GEAR["recomputed"]["F"], rel=1e-10)
    found = spread_test(gears, "bartlett")
    assert found.statistic == pytest.approx(GEAR["recomputed"]["bartlett"], abs=1e-8)
    assert found.statistic == pytest.approx(GEAR["published"]["bartlett"], abs=1e-4)
    assert found.p_value == pytest.approx(GEAR["published"]["bartlett_p"], abs=6e-6)


def test_silicon_resistivity_is_certified():
    """E1, NIST StRD SiRstv: an offset of 196 that costs careless sums digits."""
    rows, variance = levels_table(grouped(SILICON["data"]))
    assert rows[0].f == pytest.approx(SILICON["published"]["F"], rel=1e-10)
    assert rows[0].ss == pytest.approx(SILICON["published"]["SSB"], rel=1e-10)
    assert variance == pytest.approx(SILICON["recomputed"]["instrument_variance"], rel=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_unequal_groups_agree_with_scipy_and_the_plain_functions(seed):
    parts = samples(seed)
    rows, variance = levels_table(grouped(parts))
    f, p = stats.f_oneway(*parts)
    assert (rows[0].f, rows[0].p_value) == pytest.approx((f, p), rel=1e-9)
    plain = one_way_anova(parts)
    assert variance == pytest.approx(plain.between_variance, rel=1e-9)
    assert [row.ss for row in rows] == pytest.approx([row.ss for row in plain.rows], rel=1e-9)
    for name, alone, expected in (
        ("bartlett", bartlett(parts), stats.bartlett(*parts)),
        ("levene", equal_spreads(parts, center="mean"), stats.levene(*parts, center="mean")),
        ("brown_forsythe", equal_spreads(parts), stats.levene(*parts, center="median")),
    ):
        for found in (alone, spread_test(grouped(parts), name)):
            assert (found.statistic, found.p_value) == pytest.approx(tuple(expected), rel=1e-8, abs=1e-12)
            assert found.n == sum(part.size for part in parts)


def test_the_order_of_groups_and_a_far_origin_change_nothing():
    parts = samples(99)
    far = [part + 1e6 for part in parts[::-1]]
    for name in ("bartlett", "levene", "brown_forsythe"):
        here, there = spread_test(grouped(parts), name), spread_test(grouped(far), name)
        assert there.statistic == pytest.approx(here.statistic, rel=1e-6)
    assert levels_table(grouped(far))[0][0].f == pytest.approx(levels_table(grouped(parts))[0][0].f, rel=1e-6)


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: levels_table(grouped([[1, 2]])), "at least 2 are needed"),
        (lambda: levels_table(grouped([[1], [2]])), "repeats are needed"),
        (lambda: spread_test(grouped([[1, 2]]), "levene"), "1 group of two readings or more"),
        (lambda: spread_test(grouped([[1, 1], [2, 2]]), "levene"), "no group has any spread"),
        (lambda: spread_test(grouped([[1, 2], [3, 5]]), "brown_forsythe"), "all distances are equal"),
        (lambda: spread_test(grouped([[1, 2], [3, 3]]), "bartlett"), "group 2 has no spread"),
    ],
)
def test_bad_questions_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()


def test_groups_of_two_have_equal_distances_by_nature_and_are_refused():
    """Both readings of a pair lie equally far from their middle: an F of rounding once gave p = 0."""
    pairs = np.random.default_rng(1).normal(size=(20, 2))
    for center in ("median", "mean"):
        with pytest.raises(StatisticsError, match="all distances are equal"):
            equal_spreads(pairs.tolist(), center=center)

"""Distribution checks against the handbook, statsmodels, scipy and simulation."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.diagnostic import normal_ad

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.samples.columns import anderson_darling_p
from qc.stats.samples.distribution import anderson_darling, generalised_esd, grubbs
from qc.stats.samples.groups import bartlett, equal_spreads

CHECKS = json.loads((Path(__file__).parents[2] / "published/capability_checks.json").read_text("utf-8"))
GEAR = np.array(CHECKS["B14"]["data"]["rows"])  # NIST 1.3.5.4, 10 batches of 10 gears
URANIUM = CHECKS["B19"]["data"]  # NIST 1.3.5.17.1, Tietjen and Moore


def test_anderson_darling_on_the_gears():
    """B21: NIST data, statistic computed independently; the 5 % point is 0.752 (NIST 1.3.5.14)."""
    found = anderson_darling(GEAR.ravel())
    expected = CHECKS["B21"]["recomputed"]
    assert found.statistic == pytest.approx(expected["GEAR_A2_adjusted"], abs=1e-8)
    assert found.p_value == pytest.approx(expected["GEAR_p"], abs=1e-8)
    assert found.to_dict() == {
        "test": "anderson-darling", "statistic": found.statistic, "p_value": found.p_value, "n": 100
    }  # fmt: skip


@pytest.mark.parametrize("n", [8, 20, 60, 500])
@pytest.mark.parametrize("draw", ["normal", "exponential", "uniform", "cauchy"])
def test_anderson_darling_agrees_with_statsmodels(n, draw):
    rng = np.random.default_rng(n)
    sample = {
        "normal": rng.standard_normal, "exponential": rng.standard_exponential,
        "uniform": rng.random, "cauchy": rng.standard_cauchy,
    }[draw](n)  # fmt: skip
    raw, p_value = normal_ad(sample)
    if draw == "cauchy":  # the library loses its digits so far out, where the logarithms of scipy keep them
        z = (np.sort(sample) - sample.mean()) / sample.std(ddof=1)
        logs = stats.norm.logcdf(z) + stats.norm.logsf(z[::-1])
        raw, p_value = -n - np.mean((2 * np.arange(1, n + 1) - 1) * logs), min(p_value, 1.0)
    found = anderson_darling(sample)
    assert found.statistic == pytest.approx(raw * (1 + 0.75 / n + 2.25 / n**2), rel=1e-6)
    assert found.p_value == pytest.approx(p_value, rel=1e-5, abs=1e-12)


def test_anderson_darling_rejects_normal_readings_at_the_stated_rate():
    rng = np.random.default_rng(9)
    rejected = np.mean([anderson_darling(rng.standard_normal(20)).p_value < 0.05 for _ in range(4000)])
    assert rejected == pytest.approx(0.05, abs=4 * math.sqrt(0.05 * 0.95 / 4000))


def test_critical_point_of_the_handbook():
    assert anderson_darling_p(np.array([CHECKS["B21"]["published"]["crit_05"]])) == pytest.approx(
        0.05, abs=5e-4
    )
    assert anderson_darling_p(np.array([1e4])) == 0.0
    grid = anderson_darling_p(np.linspace(0.05, 5.0, 400))
    assert np.all(np.diff(grid) <= 2e-3)


def test_grubbs_on_the_uranium_readings():
    """B19: G 2.4687, critical 2.032 (one-sided, 5 %)."""
    found = grubbs(URANIUM, side="above")
    assert found.statistic == pytest.approx(CHECKS["B19"]["published"]["G"], abs=6e-4)
    assert found.statistic == pytest.approx(CHECKS["B19"]["recomputed"]["G"], abs=1e-10)
    assert found.critical == pytest.approx(CHECKS["B19"]["recomputed"]["crit"], abs=1e-10)
    assert found.outlier and found.point == 8 and found.value == URANIUM[7]


def test_grubbs_sides():
    assert not grubbs(URANIUM, side="below").outlier
    assert grubbs(-np.array(URANIUM), side="below").point == 8
    assert grubbs(URANIUM).critical > grubbs(URANIUM, side="above").critical


def test_grubbs_calls_at_the_stated_rate():
    rng = np.random.default_rng(12)
    for side in ("both", "above"):
        rate = np.mean([grubbs(rng.standard_normal(12), side=side).outlier for _ in range(4000)])
        assert rate == pytest.approx(0.05, abs=4 * math.sqrt(0.05 * 0.95 / 4000))


ROSNER = [  # Rosner 1983 / NIST 1.3.5.17.3 (data and result from memory): three outliers among 54
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56,
    1.58, 1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10,
    2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92,
    2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
]  # fmt: skip


def test_generalised_esd_on_rosners_readings():
    """Three outliers; R cut after three digits, critical values rounded (from memory)."""
    found = generalised_esd(ROSNER, 10)
    assert [o.statistic for o in found[:3]] == pytest.approx([3.118, 2.942, 3.179], abs=1.1e-3)
    assert [o.critical for o in found[:3]] == pytest.approx([3.158, 3.151, 3.143], abs=1.1e-3)
    assert [o.outlier for o in found] == [True] * 3 + [False] * 7
    assert [o.point for o in found[:3]] == [54, 53, 52]


def test_one_outlier_by_esd_is_grubbs():
    single, listed = grubbs(URANIUM), generalised_esd(URANIUM, 1)
    assert listed == (single,)


def test_esd_stops_when_what_is_left_is_equal():
    found = generalised_esd([1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 9.0], 3)
    assert len(found) == 1 and found[0].outlier


def test_spreads_on_the_gears():
    """B14: Bartlett 20.785873 (NIST prints 20.78580 and 20.7859), Levene by scipy and by hand."""
    found = bartlett(GEAR)
    assert found.statistic == pytest.approx(CHECKS["B14"]["recomputed"]["bartlett"], abs=1e-8)
    assert found.statistic == pytest.approx(CHECKS["B14"]["published"]["bartlett"], abs=1e-4)
    assert found.p_value == pytest.approx(CHECKS["B14"]["published"]["bartlett_p"], abs=6e-6)
    away = [np.abs(row - np.median(row)) for row in GEAR]
    f, p = stats.f_oneway(*away)
    brown = equal_spreads(GEAR)
    assert (brown.statistic, brown.p_value, brown.n) == pytest.approx((f, p, 100))
    away = [np.abs(row - row.mean()) for row in GEAR]
    assert equal_spreads(GEAR, center="mean").statistic == pytest.approx(stats.f_oneway(*away)[0])


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.integers(-1000, 1000), min_size=8, max_size=40).filter(lambda x: len(set(x)) > 2),
    st.integers(-99, 99), st.sampled_from([0.25, 16.0]), st.randoms(use_true_random=False),
)  # fmt: skip
def test_shift_scale_and_order_change_nothing(numbers, shift, scale, random):
    moved = [scale * x + shift for x in numbers]
    random.shuffle(moved)
    here, there = anderson_darling(numbers), anderson_darling(moved)
    assert there.statistic == pytest.approx(here.statistic, rel=1e-9, abs=1e-9)
    assert grubbs(moved).statistic == pytest.approx(grubbs(numbers).statistic, rel=1e-9)
    assert equal_spreads([numbers, moved]).p_value == pytest.approx(
        equal_spreads([[scale * x for x in numbers], moved]).p_value, abs=1.0
    )
    assert 0.0 <= there.p_value <= 1.0


@pytest.mark.parametrize(
    "call, error, said",
    [
        (lambda: anderson_darling([1, 2, 3, 4, 5, 6, 7]), StatisticsError, "normality: value"),
        (lambda: anderson_darling([2.0] * 9), StatisticsError, "all readings are equal"),
        (lambda: anderson_darling([1, 2, 3, 4, 5, 6, 7, math.nan]), StatisticsError, "nan"),
        (lambda: grubbs([1, 2]), StatisticsError, "outlier test: value"),
        (lambda: grubbs([1, 2, 3], alpha=0), StatisticsError, "alpha is 0"),
        (lambda: grubbs([1, 2, 3], side="left"), StatisticsUsageError, "'left' is not known"),
        (lambda: generalised_esd([1, 2, 3, 4], 0), StatisticsError, "0 outliers looked for"),
        (lambda: generalised_esd([1, 2, 3, 4], 2), StatisticsError, "outlier test: value"),
        (lambda: generalised_esd([1, 1, 1, 1, 1], 2), StatisticsError, "all readings are equal"),
        (lambda: equal_spreads([[1, 2]]), StatisticsError, "1 groups given"),
        (lambda: equal_spreads([[1, 2], [3]]), StatisticsError, "group 2"),
        (lambda: equal_spreads([[1, 1], [2, 2]]), StatisticsError, "no group has any spread"),
        (lambda: equal_spreads([[1, 2], [3, 5]]), StatisticsError, "within every group"),
        (lambda: equal_spreads([[1, 2], [3, 5]], center="mode"), StatisticsUsageError, "'mode' is not known"),
        (lambda: bartlett([[1, 2]]), StatisticsError, "1 groups given"),
        (lambda: bartlett([[1, 2], [3, 3]]), StatisticsError, "group 2 has no spread"),
    ],
)
def test_bad_questions_are_named(call, error, said):
    with pytest.raises(error, match=said):
        call()

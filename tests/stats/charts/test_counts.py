"""Charts for counts against the handbook, plain formulas, scipy and simulation."""

import json
import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy import stats

from qc.stats.charts.counts import count_chart, count_table
from qc.stats.charts.rule_signals import find_signals
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers.baseline import Baseline
from qc.stats.numbers.limits import LimitRule
from qc.stats.numbers.rules import parse_rules
from qc.stats.numbers.setting import Setting

WAFERS = json.loads((Path(__file__).parents[2] / "published" / "charts_counts.json").read_text("utf-8"))["B4"]
SIZES = [50, 60, 55, 40, 50, 50]
DEFECTIVE = [2, 3, 1, 0, 8, 2]


def points_over(frame, kind, **options):
    table = count_table(pl.DataFrame(frame), kind, **options)
    return [signal.point for signal in find_signals(table, parse_rules("limit")).get("", ())]


def test_wafers():
    chart, printed = count_chart(WAFERS["data"]), WAFERS["published"]
    assert (chart.center, chart.lower, chart.upper) == pytest.approx((printed["cbar"], 4, printed["UCL"]))
    # point 3 (28) lies on the limit and is no signal
    assert points_over({"value": WAFERS["data"]}, "defects") == printed["signals"]


def test_wafers_with_exact_limits():
    chart, exact = count_chart(WAFERS["data"], exact=True), WAFERS["recomputed"]
    assert chart.lower == exact["exact_poisson_lower_00135"]
    assert chart.upper == exact["exact_poisson_upper_999"]


def test_small_means_need_exact_limits():
    """Mean 2.4: three sigma 7.05, exact: 8 is still in control (trade notes, computed)."""
    setting = Setting(center=2.4)
    assert count_chart([8], setting=setting).upper == pytest.approx(7.05, abs=5e-3)
    assert points_over({"value": [8.0]}, "defects", setting=setting) == [1]
    assert points_over({"value": [8.0, 9.0]}, "defects", setting=setting, exact=True) == [2]


def test_proportion_of_varying_size():
    chart = count_chart(DEFECTIVE, SIZES, "proportion")
    share = sum(DEFECTIVE) / sum(SIZES)
    assert chart.center == pytest.approx(share)
    for i, n in enumerate(SIZES):
        reach = 3 * math.sqrt(share * (1 - share) / n)
        assert chart.uppers[i] == pytest.approx(share + reach)
        assert chart.lowers[i] == max(0.0, share - reach)
    assert chart.upper == pytest.approx(share + 3 * math.sqrt(share * (1 - share) / np.mean(SIZES)))
    assert points_over({"value": DEFECTIVE, "size": SIZES}, "proportion") == [5]


def test_number_defective_is_the_proportion_times_the_size():
    one = count_chart(DEFECTIVE, [50] * 6, "number-defective")
    other = count_chart(DEFECTIVE, [50] * 6, "proportion")
    for name in ("center", "lower", "upper", "sigma"):
        assert getattr(one, name) == pytest.approx(50 * getattr(other, name))
    assert one.uppers is None
    with pytest.raises(StatisticsError, match="one size throughout"):
        count_chart(DEFECTIVE, SIZES, "number-defective")


def test_defects_per_unit():
    units = [0.7, 1.0, 1.8, 1.0, 0.7, 1.8]
    counts = [1, 2, 4, 0, 3, 2]
    chart = count_chart(counts, units, "defects-per-unit")
    rate = sum(counts) / sum(units)
    np.testing.assert_allclose(chart.values, np.array(counts) / units)
    np.testing.assert_allclose(chart.uppers, rate + 3 * np.sqrt(rate / np.array(units)))
    exact = count_chart(counts, units, "defects-per-unit", exact=True)
    np.testing.assert_allclose(
        exact.uppers, stats.poisson.ppf(1 - stats.norm.sf(3), rate * np.array(units)) / units
    )


def test_exact_limits_hold_their_rate():
    share, n = 0.08, 60
    chart = count_chart([5], [n], "number-defective", Setting(center=share * n), exact=True)
    half = stats.norm.sf(3)
    assert stats.binom.sf(chart.upper, n, share) <= half < stats.binom.sf(chart.upper - 1, n, share)
    assert stats.binom.cdf(chart.lower - 1, n, share) <= half < stats.binom.cdf(chart.lower, n, share)


def test_limits_stay_in_range():
    chart = count_chart([19, 20, 18, 20], [20] * 4, "proportion")
    assert chart.upper == 1.0
    assert count_chart([1, 0, 2, 1]).lower == 0.0


def test_over_dispersion_is_found_and_can_be_allowed_for():
    rng = np.random.default_rng(3)
    steady = rng.poisson(20, size=60)
    mixed = rng.poisson(20 * rng.gamma(4, 1 / 4, size=60))
    calm, loud = count_chart(steady), count_chart(mixed)
    square = np.sum((mixed - mixed.mean()) ** 2 / mixed.mean())
    assert loud.extras["dispersion"]["ratio"] == pytest.approx(square / 59)
    assert loud.extras["dispersion"]["p_value"] == pytest.approx(stats.chi2.sf(square, 59))
    assert calm.warnings == () and "scatter" in loud.warnings[0]
    wide = count_chart(mixed, corrected=True)
    z = (mixed - mixed.mean()) / math.sqrt(mixed.mean())
    factor = np.mean(np.abs(np.diff(z))) / (2 / math.sqrt(math.pi))
    assert wide.upper - wide.center == pytest.approx(factor * (loud.upper - loud.center))
    assert wide.extras["dispersion"]["widened_by"] == pytest.approx(factor)
    assert wide.warnings == ()


def test_dispersion_test_keeps_its_level():
    rng = np.random.default_rng(4)
    p_values = [count_chart(rng.poisson(12, size=30)).extras["dispersion"]["p_value"] for _ in range(400)]
    share = np.mean(np.array(p_values) < 0.1)
    assert abs(share - 0.1) < 4 * math.sqrt(0.09 / 400)


def test_baseline_sets_the_rate():
    chart = count_chart([*DEFECTIVE, 40], setting=Setting(baseline=Baseline(1, 6)))
    assert chart.center == pytest.approx(np.mean(DEFECTIVE)) and chart.values[-1] == 40


def test_many_series_are_each_as_if_alone():
    frame = pl.DataFrame(
        {"series": ["a"] * 6 + ["b"] * 6, "value": DEFECTIVE + SIZES, "size": SIZES + [100] * 6}
    )
    charts = count_table(frame, "proportion").charts()
    assert charts["a"].upper == pytest.approx(count_chart(DEFECTIVE, SIZES, "proportion").upper)
    assert charts["b"].upper == pytest.approx(count_chart(SIZES, [100] * 6, "proportion").upper)


@pytest.mark.parametrize(
    "counts, sizes, kind, words",
    [
        ([1, -1], None, "defects", "whole numbers from 0 up"),
        ([1.5], None, "defects", "whole numbers from 0 up"),
        ([0, 0, 0], None, "defects", "no defect in the baseline"),
        ([1, 2], [10, 0], "proportion", "size 2 is 0"),
        ([1, 2], [10, -3], "defects-per-unit", "must be above 0"),
        ([11, 2], [10, 10], "proportion", "no more can be defective"),
        ([10, 10], [10, 10], "proportion", "every piece is defective"),
        ([1, 2], [10.5, 10], "number-defective", "whole numbers of pieces"),
        ([1, 2], [10], "proportion", "one size a count"),
        ([1, float("nan")], None, "defects", "reading 2 is nan"),
        ([], None, "defects", "at least 1"),
    ],
)
def test_bad_counts(counts, sizes, kind, words):
    with pytest.raises(StatisticsError, match=words):
        count_chart(counts, sizes, kind)


@pytest.mark.parametrize(
    "setting, options",
    [
        (Setting(limits=LimitRule("guaranteed")), {}),
        (Setting(sigma=1.0), {}),
        (Setting(), {"exact": True, "corrected": True}),
    ],
)
def test_options_that_counts_do_not_take(setting, options):
    with pytest.raises(StatisticsUsageError):
        count_chart([1, 2, 3], setting=setting, **options)


def test_sizes_must_be_given():
    with pytest.raises(StatisticsUsageError, match="needs the size"):
        count_chart([1, 2], kind="proportion")

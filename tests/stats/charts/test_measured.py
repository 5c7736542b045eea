"""Individuals and subgroup charts against published examples, plain loops and general properties."""

import json
import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.stats.charts.measured import individuals, individuals_table, mean_range, mean_sd, subgroup_table
from qc.stats.charts.rule_signals import find_signals
from qc.stats.errors import StatisticsError
from qc.stats.numbers.baseline import Baseline
from qc.stats.numbers.constants import c4, d2, factors
from qc.stats.numbers.limits import LimitRule
from qc.stats.numbers.rules import parse_rules
from qc.stats.numbers.setting import Setting

PUBLISHED = Path(__file__).parents[2] / "published"
MEASURED = json.loads((PUBLISHED / "charts_measured.json").read_text("utf-8"))
WORKED = json.loads((PUBLISHED / "charts_worked.json").read_text("utf-8"))
CHECKS = json.loads((PUBLISHED / "capability_checks.json").read_text("utf-8"))
FLOW, VANES = MEASURED["B1"], MEASURED["B27"]
TRADE = [148.0, 153, 150, 146, 155, 151, 149, 154, 147, 152]

readings = st.lists(
    st.floats(-1e4, 1e4, allow_nan=False).map(lambda x: round(x, 3)), min_size=3, max_size=40
).filter(lambda values: np.ptp(values) > 0.01)


def vanes(deleted=()):
    rows = [row for i, row in enumerate(VANES["data"], 1) if i not in deleted]
    return np.ravel(rows), np.repeat(np.arange(len(rows)), 5)


def test_flow_rate():
    chart = individuals(FLOW["data"])
    exact = FLOW["recomputed"]
    assert chart.center == pytest.approx(exact["center"], abs=1e-12)
    assert chart.companion.center == pytest.approx(exact["MRbar"], abs=1e-10)
    assert chart.upper == pytest.approx(exact["UCL_exact_d2"], abs=2e-8)
    assert chart.lower == pytest.approx(exact["LCL_exact_d2"], abs=2e-8)
    assert chart.companion.upper == pytest.approx(exact["UCL_MR"], abs=1e-7)
    # the handbook divides by the rounded 1.128: its limits differ in the third decimal
    assert chart.upper == pytest.approx(FLOW["published"]["UCL"], abs=2e-3)
    assert chart.lower == pytest.approx(FLOW["published"]["LCL"], abs=2e-3)


def test_trade_example():
    chart = individuals(TRADE)
    assert chart.companion.center == pytest.approx(float(WORKED["T081"]["expected"]), abs=1e-3)
    assert chart.upper == pytest.approx(float(WORKED["T082"]["expected"]), abs=0.01)
    assert chart.lower == pytest.approx(float(WORKED["T083"]["expected"]), abs=0.01)
    assert chart.companion.upper == pytest.approx(float(WORKED["T084"]["expected"]), abs=0.01)


def test_vane_openings():
    values, piece = vanes()
    chart, exact = mean_range(values, piece), VANES["recomputed"]
    assert (chart.lower, chart.upper) == pytest.approx((exact["LCL"], exact["UCL"]), abs=1e-7)
    assert chart.companion.center == pytest.approx(exact["Rbar"], abs=1e-12)
    assert chart.companion.upper == pytest.approx(exact["UCL_R"], abs=1e-7)
    for name, value in (("UCL", chart.upper), ("LCL", chart.lower), ("UCL_R", chart.companion.upper)):
        assert value == pytest.approx(VANES["published"][name], abs=6e-3)
    spread = mean_sd(values, piece)
    assert spread.companion.center == pytest.approx(exact["sbar"], abs=1e-9)
    assert spread.companion.upper == pytest.approx(exact["UCL_S"], abs=1e-7)
    table = subgroup_table(pl.DataFrame({"value": values, "subgroup": piece}), spread="range")
    found = [signal.point for signal in find_signals(table, parse_rules("limit"))[""]]
    assert found == exact["xbar_signals"]
    beyond = np.flatnonzero(chart.companion.values > chart.companion.upper) + 1
    assert beyond.tolist() == exact["R_signals"]


def test_vane_openings_after_deletion():
    values, piece = vanes(VANES["inputs"]["deleted_subgroups"])
    chart, exact = mean_range(values, piece), VANES["recomputed"]["revised"]
    assert chart.center == pytest.approx(exact["xbarbar"], abs=1e-9)
    assert chart.upper == pytest.approx(exact["UCL"], abs=1e-7)
    assert chart.lower == pytest.approx(exact["LCL"], abs=1e-7)
    assert chart.companion.upper == pytest.approx(exact["UCL_R"], abs=1e-7)


def test_gear_batches():
    rows = np.array(MEASURED["gear"]["rows"])
    piece, exact = np.repeat(np.arange(10), 10), MEASURED["F2"]["recomputed"]
    by_range, by_sd = mean_range(rows.ravel(), piece), mean_sd(rows.ravel(), piece)
    assert (by_range.lower, by_range.upper) == pytest.approx(exact["within_limits_xbar_R"], abs=1e-8)
    assert (by_sd.lower, by_sd.upper) == pytest.approx(exact["within_limits_xbar_S"], abs=1e-8)
    limits = by_range.companion.lower, by_range.companion.upper
    assert limits == pytest.approx(exact["R_limits"], abs=1e-8)
    assert (by_sd.companion.lower, by_sd.companion.upper) == pytest.approx(exact["S_limits"], abs=1e-8)


def test_check_standard_bias_chart():
    """NIST 2.6.2: two-sigma limits from the sd of the averages; signals 6 and 20."""
    item = CHECKS["B9"]
    averages = [row[0] for row in item["data"]["rows"]]
    rule = LimitRule(rate=2 * 0.022750131948179195)  # two-sided rate of two sigma
    setting = Setting(sigma=float(np.std(averages, ddof=1)), limits=rule)
    chart = individuals(averages, setting)
    assert chart.center == pytest.approx(item["published"]["center"], abs=6e-6)
    assert chart.upper == pytest.approx(item["published"]["UCL"], abs=6e-6)
    assert chart.lower == pytest.approx(item["published"]["LCL"], abs=6e-6)
    signals = find_signals(
        individuals_table(pl.DataFrame({"value": averages}), setting), parse_rules("limit")
    )
    assert [signal.point for signal in signals[""]] == item["recomputed"]["bias_signals"]


@pytest.mark.parametrize("method", ["prediction", "guaranteed"])
def test_limits_from_few_points_rest_on_the_sample_sd(method):
    rule = LimitRule(method)
    chart = individuals(TRADE, Setting(limits=rule))
    sd = np.std(TRADE, ddof=1)
    assert chart.sigma == pytest.approx(sd)
    assert chart.upper - chart.center == pytest.approx(rule.factor(10, 9) * sd)
    values, piece = vanes()
    pooled = math.sqrt(np.mean(np.var(VANES["data"], axis=1, ddof=1)))
    for build in (mean_range, mean_sd):
        chart = build(values, piece, Setting(limits=rule))
        assert chart.sigma == pytest.approx(pooled)
        assert chart.upper - chart.center == pytest.approx(rule.factor(20, 80) * pooled / math.sqrt(5))


def plain_subgroups(groups, spread):
    """Weighted sigma and limits of subgroups of any size, by a plain loop."""
    weight_sum, total, count = 0.0, 0.0, 0
    weighted = 0.0
    for group in groups:
        n = len(group)
        total, count = total + sum(group), count + n
        if n > 1:
            f = factors(n)
            unit, unit_sd = (f.d2, f.d3) if spread == "range" else (f.c4, f.c5)
            own = max(group) - min(group) if spread == "range" else float(np.std(group, ddof=1))
            weight = (unit / unit_sd) ** 2
            weight_sum, weighted = weight_sum + weight, weighted + weight * own / unit
    sigma, center = weighted / weight_sum, total / count
    reach = [3 * sigma / math.sqrt(len(group)) for group in groups]
    return center, sigma, [center - r for r in reach], [center + r for r in reach]


@pytest.mark.parametrize("spread", ["range", "sd"])
def test_unequal_sizes_against_a_plain_loop(spread):
    rng = np.random.default_rng(4)
    groups = [rng.normal(10, 2, size=n).tolist() for n in (3, 5, 1, 2, 4, 5, 7)]
    labels = [i for i, group in enumerate(groups) for _ in group]
    build = mean_range if spread == "range" else mean_sd
    chart = build(np.concatenate(groups), labels)
    center, sigma, lowers, uppers = plain_subgroups(groups, spread)
    assert (chart.center, chart.sigma) == pytest.approx((center, sigma))
    assert chart.lowers.tolist() == pytest.approx(lowers)
    assert chart.uppers.tolist() == pytest.approx(uppers)
    assert math.isnan(chart.companion.values[2])  # one reading has no spread


def test_sigma_is_unbiased():
    rng = np.random.default_rng(5)
    found = {"moving": [], "range": [], "sd": []}
    piece = np.repeat(np.arange(10), 4)
    for _ in range(300):
        values = rng.normal(0, 1, size=40)
        found["moving"].append(individuals(values).sigma)
        found["range"].append(mean_range(values, piece).sigma)
        found["sd"].append(mean_sd(values, piece).sigma)
    for name, sigmas in found.items():
        error = np.std(sigmas, ddof=1) / math.sqrt(len(sigmas))
        assert abs(np.mean(sigmas) - 1) < 4 * error, name


@settings(max_examples=40, deadline=None)
@given(readings, st.floats(-100, 100), st.floats(0.1, 50))
def test_shift_and_scale(values, shift, scale):
    plain = individuals(values)
    moved = individuals(np.array(values) * scale + shift)
    tolerance = 1e-7 * (1 + abs(plain.upper) * scale + abs(shift))
    assert moved.center == pytest.approx(plain.center * scale + shift, abs=tolerance)
    assert moved.upper == pytest.approx(plain.upper * scale + shift, abs=tolerance)
    assert moved.sigma == pytest.approx(plain.sigma * scale, rel=1e-6, abs=tolerance)


@settings(max_examples=40, deadline=None)
@given(readings)
def test_order_backwards_and_twice(values):
    plain = individuals(values)
    assert individuals(values[::-1]).upper == pytest.approx(plain.upper)  # moving ranges do not mind
    sd_based = Setting(limits=LimitRule("prediction"))
    shuffled = np.random.default_rng(1).permutation(values)
    assert individuals(shuffled, sd_based).upper == pytest.approx(individuals(values, sd_based).upper)


@settings(max_examples=30, deadline=None)
@given(readings, st.randoms())
def test_subgroups_do_not_mind_order_within(values, random):
    values = values[: len(values) // 3 * 3]
    if len(values) < 6 or np.ptp(values) < 0.01:
        return
    groups = [values[i : i + 3] for i in range(0, len(values), 3)]
    if max(np.ptp(group) for group in groups) < 0.01:
        return
    labels = np.repeat(np.arange(len(groups)), 3)
    plain = mean_sd(values, labels)
    for group in groups:
        random.shuffle(group)
    assert mean_sd(np.ravel(groups), labels).upper == pytest.approx(plain.upper)


def test_many_series_are_each_as_if_alone():
    rng = np.random.default_rng(6)
    parts = {f"s{i}": rng.normal(i, 1 + i, size=5 + 3 * i) for i in range(12)}
    frame = pl.DataFrame(
        {"series": [n for n, v in parts.items() for _ in v], "value": np.concatenate(list(parts.values()))}
    )
    mixed = frame.sample(fraction=1.0, shuffle=True, seed=3)
    for setting in (Setting(), Setting(baseline=Baseline(2, 6)), Setting(limits=LimitRule("guaranteed"))):
        for name, chart in individuals_table(frame, setting).charts().items():
            alone = individuals(parts[name], setting)
            assert (chart.center, chart.upper) == pytest.approx((alone.center, alone.upper))
            np.testing.assert_allclose(chart.values, parts[name])
    # rows of a series need not stand together: their order within the series is what counts
    charts = individuals_table(mixed).charts()
    for name in parts:
        own = mixed.filter(pl.col("series") == name)["value"].to_numpy()
        assert charts[name].upper == pytest.approx(individuals(own).upper)


def test_baseline_takes_only_its_points():
    values = [*TRADE, 400.0, 500.0]
    chart = individuals(values, Setting(baseline=Baseline(1, 10)))
    assert chart.upper == pytest.approx(individuals(TRADE).upper)
    assert chart.values.size == 12
    later = individuals(values, Setting(baseline=Baseline(3, 10)))
    assert later.center == pytest.approx(np.mean(TRADE[2:]))
    assert later.companion.center == pytest.approx(np.mean(np.abs(np.diff(TRADE[2:]))))
    without = individuals(values, Setting(baseline=Baseline(1, 10, left_out=(4,))))
    steps = np.abs(np.diff(TRADE))
    assert without.companion.center == pytest.approx(np.mean(np.delete(steps, [2, 3])))


def test_given_center_and_sigma_are_used():
    chart = individuals([1.0], Setting(center=0.0, sigma=2.0))
    assert (chart.lower, chart.upper) == pytest.approx((-6.0, 6.0))
    values, piece = vanes()
    chart = mean_range(values, piece, Setting(center=33.0, sigma=2.0))
    assert chart.upper == pytest.approx(33 + 6 / math.sqrt(5))
    assert chart.companion.center == pytest.approx(2 * d2(5))
    assert mean_sd(values, piece, Setting(sigma=2.0)).companion.center == pytest.approx(2 * c4(5))


def test_robust_baseline_shrugs_off_an_outlier():
    rng = np.random.default_rng(7)
    clean = rng.normal(50, 2, size=60)
    spoiled = clean.copy()
    spoiled[[10, 40]] = 500.0
    robust, plain = individuals(spoiled, Setting(robust=True)), individuals(spoiled)
    assert abs(robust.center - 50) < 1 and 1.2 < robust.sigma < 3
    assert plain.sigma > 10
    steps = np.abs(np.diff(spoiled))
    assert robust.sigma == pytest.approx(np.median(steps) / factors(2).median_range)


def test_resolution_is_a_floor_for_sigma():
    chart = individuals([5.0] * 6, Setting(resolution=0.1))
    assert chart.sigma == pytest.approx(0.1 / math.sqrt(12))
    assert any("raised" in warning for warning in chart.warnings)
    fine = individuals(TRADE, Setting(resolution=0.1))
    assert fine.sigma == pytest.approx(individuals(TRADE).sigma)


def test_few_points_are_said_to_be_few():
    assert any("10 points only" in warning for warning in individuals(TRADE).warnings)
    assert individuals(TRADE * 3).warnings == ()


@pytest.mark.parametrize(
    "values, words",
    [
        ([1.0], "at least 2 are needed"),
        ([], "at least 1"),
        ([5.0, 5.0, 5.0], "spread is zero"),
        ([0.1 + 0.2, 0.3, 0.3, 0.1 + 0.2], "spread is zero"),
        ([1.0, float("nan")], "reading 2 is nan"),
        ([1.0, float("inf"), 3.0], "reading 2 is inf"),
        (["a", "b"], "not a number"),
        ([[1.0, 2.0], [3.0, 4.0]], "2 dimensions"),
    ],
)
def test_bad_readings(values, words):
    with pytest.raises(StatisticsError, match=words):
        individuals(values)


def test_bad_subgroups():
    with pytest.raises(StatisticsError, match="one label a reading"):
        mean_sd([1.0, 2.0], ["a"])
    with pytest.raises(StatisticsError, match="at most 100"):
        mean_sd(np.arange(101.0), ["a"] * 101)
    with pytest.raises(StatisticsError, match="are needed"):
        mean_range([1.0, 2.0, 3.0], [1, 2, 3])


@pytest.mark.parametrize(
    "bad", [{"sigma": 0.0}, {"sigma": -1.0}, {"center": math.nan}, {"resolution": 0.0}, {"sigma": math.inf}]
)
def test_bad_settings(bad):
    with pytest.raises(StatisticsError):
        Setting(**bad)


def test_a_bad_series_does_not_stop_the_others():
    frame = pl.DataFrame({"series": ["a", "a", "b", "b", "c"], "value": [1.0, 2.0, 5.0, 5.0, 1.0]})
    table = individuals_table(frame)
    assert list(table.charts()) == ["a"]
    reasons = dict(table.levels.select("series", "reason").iter_rows())
    assert "spread is zero" in reasons["b"] and "at least 2" in reasons["c"]


def test_one_limit_of_many_sizes_is_that_of_the_most_typical_subgroup():
    """Plain loop over ragged sizes; thousands of series, asked several times over."""
    rng = np.random.default_rng(17)
    sizes = rng.integers(2, 7, (3000, 12))
    frame = pl.DataFrame(
        {
            "series": np.repeat(np.arange(3000), sizes.sum(axis=1)),
            "subgroup": np.concatenate([np.repeat(np.arange(12), row) for row in sizes]),
            "value": rng.standard_normal(int(sizes.sum())),
        }
    )
    for _ in range(5):
        table = subgroup_table(frame, spread="range")
    uppers = table.points["upper"].to_numpy().reshape(3000, 12)
    for row in range(0, 3000, 101):
        away = [abs(size - sizes[row].mean()) for size in sizes[row]]
        assert table.levels["upper"][row] == uppers[row][away.index(min(away))]

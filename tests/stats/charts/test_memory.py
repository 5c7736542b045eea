"""EWMA and CUSUM against printed values, plain recursions and exact run lengths."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.stats.charts.memory import (
    CusumDesign,
    EwmaDesign,
    cusum,
    cusum_signals,
    cusum_sum,
    cusum_table,
    ewma,
    ewma_signals,
    ewma_table,
)
from qc.stats.errors import StatisticsError
from qc.stats.numbers.setting import Setting

PUBLISHED = Path(__file__).parents[2] / "published"
MEMORY = json.loads((PUBLISHED / "charts_memory.json").read_text("utf-8"))
WORKED = json.loads((PUBLISHED / "charts_worked.json").read_text("utf-8"))
KNOWN = Setting(center=0.0, sigma=1.0)
SIX = [0.5, -0.2, 1.1, 0.9, 1.4, 1.8]

values = st.lists(st.floats(-5, 5).map(lambda x: round(x, 2)), min_size=1, max_size=60)


def plain_cusum(z, k, start=0.0):
    high, low, out = start, start, []
    for x in z:
        high, low = max(0.0, high + x - k), max(0.0, low - x - k)
        out.append((high, low))
    return np.array(out).T


def plain_ewma(x, weight, center):
    level, out = center, []
    for value in x:
        level = weight * value + (1 - weight) * level
        out.append(level)
    return np.array(out)


def test_handbook_cusum():
    item = MEMORY["B2"]
    given_ = item["inputs"]
    sigma = given_["sigma_xbar"]
    design = CusumDesign(given_["k"] / sigma, given_["h"] / sigma)
    chart = cusum(item["data"], Setting(center=given_["target"], sigma=sigma), design)
    np.testing.assert_allclose(chart.values["high"] * sigma, item["recomputed"]["S_hi"], atol=1e-9)
    np.testing.assert_allclose(chart.values["low"] * sigma, item["recomputed"]["S_lo"], atol=1e-9)
    assert chart.values["high"][12] * sigma == pytest.approx(item["published"]["S_hi_13"], abs=1e-9)
    assert [s.point for s in chart.signals] == item["recomputed"]["signals_hi"]
    assert chart.signals[0].point == item["published"]["first_signal_index"]
    # the point after the last zero, and the mean deviation since then
    assert {s.start for s in chart.signals} == {13}
    assert chart.signals[0].size == pytest.approx(np.mean(item["data"][12:14]) - 325)


def test_purity_cusum():
    item = MEMORY["B30"]
    given_ = item["inputs"]
    sigma = given_["sigma"]
    design = CusumDesign(given_["K"] / sigma, given_["H"] / sigma)
    chart = cusum(item["data"], Setting(center=given_["target"], sigma=sigma), design)
    np.testing.assert_allclose(chart.values["high"] * sigma, item["recomputed"]["S_H"], atol=1e-9)
    np.testing.assert_allclose(chart.values["low"] * sigma, item["recomputed"]["S_L"], atol=1e-9)
    assert chart.signals == ()


def test_handbook_ewma():
    item = MEMORY["B3"]
    given_ = item["inputs"]
    setting = Setting(center=given_["ewma0"], sigma=given_["s"])
    chart = ewma(item["data"], setting, EwmaDesign(given_["lam"], given_["k"]))
    np.testing.assert_allclose(chart.values, item["recomputed"]["EWMA"][1:], atol=1e-9)
    np.testing.assert_allclose(chart.values, item["published"]["EWMA"][1:], atol=5.1e-3)
    assert chart.upper == pytest.approx(item["recomputed"]["UCL"], abs=1e-9)
    # the handbook truncates 47.41156 to 47.4115
    assert chart.lower == pytest.approx(item["recomputed"]["LCL"], abs=1e-9)
    assert chart.lower == pytest.approx(item["published"]["LCL"], abs=1e-4)
    assert chart.signals == ()
    opening = ewma(item["data"], setting, EwmaDesign(given_["lam"], given_["k"], time_varying=True))
    assert opening.uppers[0] == pytest.approx(item["recomputed"]["UCL_first_time_varying"], abs=1e-9)
    assert opening.upper == pytest.approx(chart.upper)


def test_worked_examples():
    design = EwmaDesign(0.2, 2.86, time_varying=True)
    chart = ewma(SIX, KNOWN, design)
    assert chart.values[-1] == pytest.approx(float(WORKED["T097"]["expected"]), abs=5e-4)
    assert chart.uppers[-1] == pytest.approx(float(WORKED["T098"]["expected"]), abs=5e-4)
    assert cusum(SIX, KNOWN).values["high"][-1] == pytest.approx(float(WORKED["T099"]["expected"]), abs=5e-4)


@settings(max_examples=60, deadline=None)
@given(values, st.floats(0, 1.5), st.booleans())
def test_cusum_against_the_recursion(z, k, fast):
    design = CusumDesign(k, 3.0, fast_start=fast)
    chart = cusum(z, KNOWN, design)
    high, low = plain_cusum(z, k, 1.5 if fast else 0.0)
    np.testing.assert_allclose(chart.values["high"], high, atol=1e-9)
    np.testing.assert_allclose(chart.values["low"], low, atol=1e-9)
    hits = {(i + 1, "above") for i in np.flatnonzero(high > 3 + 1e-9)}
    hits |= {(i + 1, "below") for i in np.flatnonzero(low > 3 + 1e-9)}
    assert {(s.point, s.side) for s in chart.signals} == hits
    for signal in chart.signals:
        total = high if signal.side == "above" else low
        zeros = [i for i in range(signal.point - 1) if total[i] <= 1e-12]
        assert signal.start == (zeros[-1] + 2 if zeros else 1)
        if signal.start > 1 or not fast:
            # from zero on, the sum is the deviations less the reference value
            sign = 1 if signal.side == "above" else -1
            length = signal.point - signal.start + 1
            assert sign * signal.size == pytest.approx(k + total[signal.point - 1] / length, abs=1e-8)


@settings(max_examples=60, deadline=None)
@given(values, st.floats(0.05, 1.0), st.floats(-3, 3))
def test_ewma_against_the_recursion(x, weight, center):
    chart = ewma(x, Setting(center=center, sigma=1.0), EwmaDesign(weight, 1.5))
    smooth = plain_ewma(x, weight, center)
    np.testing.assert_allclose(chart.values, smooth, atol=1e-9)
    for signal in chart.signals:
        side = np.sign(smooth - center)
        begin = signal.point - 1
        while begin > 0 and side[begin - 1] == side[signal.point - 1]:
            begin -= 1
        assert signal.start == begin + 1
        assert signal.size == pytest.approx(np.mean(x[begin : signal.point]) - center, abs=1e-9)


def test_long_series_keep_their_digits():
    rng = np.random.default_rng(1)
    x = 1e6 + rng.normal(size=20_000)
    setting = Setting(center=1e6, sigma=1.0)
    np.testing.assert_allclose(ewma(x, setting).values, plain_ewma(x, 0.2, 1e6), rtol=1e-13)
    high, low = plain_cusum(x - 1e6, 0.5)
    chart = cusum(x, setting)
    np.testing.assert_allclose(chart.values["high"], high, atol=1e-8)
    np.testing.assert_allclose(chart.values["low"], low, atol=1e-8)


def test_time_varying_limits_grow_to_the_fixed_ones():
    chart = ewma(np.zeros(80), KNOWN, EwmaDesign(0.1, 3.0, time_varying=True))
    assert np.all(np.diff(chart.uppers) > 0)
    assert chart.uppers[-1] == pytest.approx(chart.upper, rel=1e-6)
    assert chart.uppers[0] == pytest.approx(3 * 0.1)
    settled = [3 * math.sqrt(0.1 / 1.9 * (1 - 0.9 ** (2 * i))) for i in range(1, 81)]
    np.testing.assert_allclose(chart.uppers, settled)


def test_weight_one_is_an_individuals_chart():
    chart = ewma([0.0, 3.5, 1.0], KNOWN, EwmaDesign(1.0, 3.0))
    assert [s.point for s in chart.signals] == [2] and chart.upper == 3.0


@pytest.mark.parametrize(
    "build, signals, expected",
    [
        # Lucas & Saccucci's two-sided EWMA 0.2 / 2.86 and CUSUM 0.5 / 5 while nothing changes (T100: 465.4)
        (lambda f: ewma_table(f, KNOWN), ewma_signals, 370.9),
        (lambda f: cusum_table(f, KNOWN), lambda t: cusum_signals(t, CusumDesign()), 465.4),
    ],
    ids=["ewma", "cusum"],
)
def test_run_lengths_in_control(build, signals, expected):
    rng = np.random.default_rng(20240501)
    count, longest = 600, 3000
    frame = pl.DataFrame(
        {"series": np.repeat(np.arange(count), longest), "value": rng.normal(size=count * longest)}
    )
    table = build(frame)
    over = (pl.col("value") > pl.col("upper")) | (pl.col("value") < pl.col("lower"))
    if "high" in table.points.columns:
        over = (pl.col("high") > pl.col("upper")) | (pl.col("low") > pl.col("upper"))
    first = table.points.group_by("series", maintain_order=True).agg(run=pl.col("point").filter(over).min())[
        "run"
    ]
    runs = first.fill_null(longest).to_numpy()
    assert abs(runs.mean() - expected) < 4 * runs.std() / math.sqrt(count) + 1
    alone = replace(table, points=table.points.head(longest), levels=table.levels.head(1))
    assert signals(alone)["0"][0].point == runs[0]


def test_many_series_are_each_as_if_alone():
    rng = np.random.default_rng(2)
    parts = {f"s{i}": rng.normal(i, 1, size=4 + i) for i in range(8)}
    frame = pl.DataFrame(
        {"series": [n for n, v in parts.items() for _ in v], "value": np.concatenate(list(parts.values()))}
    )
    for name, chart in ewma_table(frame).charts().items():
        np.testing.assert_allclose(chart.values, ewma(parts[name]).values)
    for name, chart in cusum_table(frame).charts().items():
        np.testing.assert_allclose(chart.values["high"], cusum(parts[name]).values["high"], atol=1e-12)


def test_sum_starts_again_with_each_series():
    steps = np.array([1.0, 1.0, 1.0, -5.0, 2.0])
    assert cusum_sum(steps, np.array([2, 3])).tolist() == [1.0, 2.0, 1.0, 0.0, 2.0]
    assert cusum_sum(steps, np.array([2, 3]), 2.0).tolist() == [3.0, 4.0, 3.0, 0.0, 2.0]


@pytest.mark.parametrize(
    "bad",
    [
        lambda: EwmaDesign(0.0),
        lambda: EwmaDesign(1.1),
        lambda: EwmaDesign(0.2, 0.0),
        lambda: CusumDesign(-0.1),
        lambda: CusumDesign(0.5, 0.0),
        lambda: CusumDesign(0.5, math.inf),
    ],
)
def test_designs_out_of_range(bad):
    with pytest.raises(StatisticsError):
        bad()


def test_constant_series_are_refused():
    with pytest.raises(StatisticsError, match="spread is zero"):
        ewma([1.0, 1.0, 1.0])
    with pytest.raises(StatisticsError, match="spread is zero"):
        cusum([1.0, 1.0, 1.0])

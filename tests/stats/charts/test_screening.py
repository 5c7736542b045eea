"""Phase I screening: nothing is dropped without being listed, and it stops."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.stats.charts.measured import individuals, subgroup_table
from qc.stats.charts.screening import screen, screen_frame
from qc.stats.numbers.baseline import Baseline
from qc.stats.numbers.setting import Setting

VANES = json.loads((Path(__file__).parents[2] / "published" / "charts_measured.json").read_text("utf-8"))[
    "B27"
]


def test_vane_openings():
    """The book deletes 6, 8, 11, 19 for their means and 9 for its range; the means alone give the four."""
    frame = pl.DataFrame({"value": np.ravel(VANES["data"]), "subgroup": np.repeat(np.arange(20), 5)})
    found = screen_frame(frame, Setting(), lambda rows, s: subgroup_table(rows, s, spread="range"))
    assert list(found.left_out) == VANES["recomputed"]["xbar_signals"] and found.settled
    kept = [row for i, row in enumerate(VANES["data"], 1) if i not in found.left_out]
    assert found.chart.center == pytest.approx(np.mean(kept))
    assert found.chart.companion.center == pytest.approx(np.mean(np.ptp(kept, axis=1)))
    assert found.chart.values.size == 20  # all points stay on the chart


def test_clean_readings_are_left_alone():
    values = np.random.default_rng(1).uniform(-1, 1, 40)
    found = screen(values)
    assert found.left_out == () and found.rounds == 1 and found.settled
    assert found.chart.upper == individuals(values).upper


def test_hidden_outliers_come_out_round_by_round():
    values = np.random.default_rng(2).normal(0, 1, 60)
    values[10], values[30] = 200.0, 9.0  # the large one hides the small one
    found = screen(values)
    assert {11, 31} <= set(found.left_out) and found.rounds >= 3
    assert abs(found.chart.center) < 0.5


def test_only_baseline_points_are_left_out():
    values = [*np.random.default_rng(3).normal(0, 1, 30), 50.0]
    found = screen(values, Setting(baseline=Baseline(1, 30)))
    assert 31 not in found.left_out


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(4, 60))
def test_the_end_is_settled_or_said_not_to_be(seed, n):
    values = np.random.default_rng(seed).standard_t(2, size=n)
    found = screen(values)
    outside = np.flatnonzero((values > found.chart.upper) | (values < found.chart.lower)) + 1
    if found.settled:
        assert set(outside) <= set(found.left_out)
    assert len(found.left_out) <= n / 2

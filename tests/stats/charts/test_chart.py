"""Baselines, checked readings and the plain forms of charts and signals."""

import json
import math

import numpy as np
import polars as pl
import pytest

from qc.stats.charts.chart import Chart, Companion, Signal
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers.baseline import Baseline
from qc.stats.numbers.plain import number, numbers, shown
from qc.stats.numbers.readings import as_readings


@pytest.mark.parametrize(
    "text, first, last", [("all", 1, None), (" 12 ", 1, 12), ("3:9", 3, 9), ("4:4", 4, 4)]
)
def test_reading_a_baseline(text, first, last):
    assert Baseline.parse(text) == Baseline(first, last)


@pytest.mark.parametrize("text", ["", "0", "-3", "5:2", "1:2:3", "ten", "1.5", "0:4"])
def test_baselines_that_are_not_known(text):
    with pytest.raises(StatisticsUsageError, match="baseline"):
        Baseline.parse(text)


@pytest.mark.parametrize("baseline", [Baseline(), Baseline(2, 4), Baseline(3), Baseline(1, 5, (2, 4))])
def test_three_views_of_one_baseline(baseline):
    points = pl.DataFrame({"point": range(1, 7)})
    by_column = points.select(baseline.mask(pl.col("point"))).to_series().to_list()
    assert by_column == baseline.select(6).tolist() == [baseline.holds(p) for p in range(1, 7)]


def test_readings_are_copied_as_floats():
    assert as_readings([1, 2], "bore").dtype == np.float64
    assert as_readings(pl.Series([1.5, 2.5])).tolist() == [1.5, 2.5]


@pytest.mark.parametrize(
    "values, words",
    [
        ([1.0, None], "bore, reading 2 is nan"),
        ([1.0, -math.inf], "bore, reading 2 is -inf"),
        ([1.0], "bore has 1 readings: at least 2"),
        (1.0, "0 dimensions"),
        ("abc", "not a number"),
    ],
)
def test_readings_that_will_not_do(values, words):
    with pytest.raises(StatisticsError, match=words):
        as_readings(values, "bore")


def test_what_is_missing_becomes_null():
    assert number(None) is None and number(math.nan) is None and number(np.float64(2)) == 2.0
    assert numbers([1.0, math.inf, 3.0]) == [1.0, None, 3.0]
    assert shown(0.000123456) == "0.00012346" and shown(15.0) == "15"


def test_plain_forms():
    companion = Companion("range", 1.0, 0.0, 2.0, np.array([1.0, math.nan]), uppers=np.array([2.0, 3.0]))
    signal = Signal(2, "beyond-limit", "above", 2, 1.0, None, "s")
    chart = Chart(
        "mean-range", 0.0, -1.0, None, 0.5, np.array([0.0, 1.0]), companion=companion, signals=(signal,)
    )
    plain = json.loads(json.dumps(chart.to_dict(), allow_nan=False))
    assert plain["upper"] is None and plain["companion"]["values"] == [1.0, None]
    assert plain["companion"]["uppers"] == [2.0, 3.0] and "lowers" not in plain
    short = chart.to_dict(points=False)
    assert "values" not in short and "uppers" not in short["companion"]
    assert signal.to_dict()["series"] == "s" and signal.to_dict()["size_sigma"] is None
    sums = Chart("cusum", 0.0, -5.0, 5.0, 1.0, {"high": np.zeros(2), "low": np.ones(2)})
    assert sums.to_dict()["values"] == {"high": [0.0, 0.0], "low": [1.0, 1.0]}

"""Capability as columns against the same, series by series."""

import numpy as np
import polars as pl
import pytest

from qc.stats.capable.columns import capability_columns
from qc.stats.capable.figures import capability
from qc.stats.errors import StatisticsError


def many(rng, count=40):
    """Series of several lengths, levels and spreads, with the table of their levels."""
    series = [
        rng.normal(rng.normal(10, 0.5), rng.uniform(0.2, 1.2), rng.integers(12, 80)) for _ in range(count)
    ]
    return series, pl.DataFrame(
        {
            "series": range(count),
            "n": [x.size for x in series],
            "mean": [x.mean() for x in series],
            "sd": [x.std(ddof=1) for x in series],
            "sigma": [0.9 * x.std(ddof=1) for x in series],
            "stable": [i % 7 != 0 for i in range(count)],
        }
    )


@pytest.mark.parametrize("limits", [{"lower": 8.0, "upper": 12.5}, {"upper": 12.0}, {"lower": 8.5}])
def test_columns_agree_with_one_series_at_a_time(limits):
    series, levels = many(np.random.default_rng(5))
    table = capability_columns(levels, wanted=1.1, **limits)
    assert table.height == levels.height and table["series"].to_list() == list(range(40))
    verdicts = set()
    for readings, row in zip(series, table.iter_rows(named=True), strict=True):
        one = capability(readings, sigma=row["sigma"], stable=row["stable"], wanted=1.1, **limits)
        verdicts.add(row["capable"])
        assert row["capable"] == one.capable
        for name in ("cp", "cpk", "pp", "ppk", "outside_ppm"):
            theirs = getattr(one, name)
            assert row[name] == (None if theirs is None else pytest.approx(theirs, rel=1e-10))
        low, high = one.ppk_interval or (None, None)
        assert (row["ppk_low"], row["ppk_high"]) == (low and pytest.approx(low), high and pytest.approx(high))
    assert {"no", "unproven"} <= verdicts


def test_without_chart_sigma_there_is_no_cp():
    _, levels = many(np.random.default_rng(6))
    table = capability_columns(levels.drop("sigma", "stable"), lower=8, upper=12)
    assert "cp" not in table.columns and table["ppk"].null_count() == int((levels["n"] < 20).sum())


def test_no_spread_is_withheld():
    table = capability_columns(pl.DataFrame({"n": [30], "mean": [1.0], "sd": [0.0]}), upper=2.0)
    assert table["ppk"].to_list() == [None] and table["capable"].to_list() == ["unproven"]


@pytest.mark.parametrize(
    "options, said",
    [
        ({}, "no limit given"),
        ({"upper": 1.0, "wanted": 0.0}, "wanted Ppk 0.0"),
        ({"upper": 1.0, "confidence": 2.0}, "confidence 2.0"),
        ({"lower": 2.0, "upper": 1.0}, "not below"),
    ],
)
def test_bad_options_are_named(options, said):
    _, levels = many(np.random.default_rng(6), 3)
    with pytest.raises(StatisticsError, match=said):
        capability_columns(levels, **options)


def test_missing_column_is_named():
    with pytest.raises(StatisticsError, match="column 'sd' is missing"):
        capability_columns(pl.DataFrame({"n": [30], "mean": [1.0]}), upper=2.0)

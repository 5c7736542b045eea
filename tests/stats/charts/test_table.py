"""Tables of charts: arranging, factors by pair, reasons."""

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.stats.charts.measured import individuals_table
from qc.stats.charts.table import arrange, lengths, limit_factors, positions
from qc.stats.errors import StatisticsError
from qc.stats.numbers.limits import LimitRule


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from("abc"), min_size=1, max_size=30))
def test_arranging_keeps_order_within_and_of_first_appearance(names):
    frame = pl.DataFrame({"series": names, "value": np.arange(len(names), dtype=float)})
    found = arrange(frame)
    expected = [(name, i) for name in dict.fromkeys(names) for i, own in enumerate(names) if own == name]
    assert [(s, int(v)) for s, v in found.select("series", "value").iter_rows()] == expected
    counts = [names.count(name) for name in dict.fromkeys(names)]
    assert lengths(found).tolist() == counts
    assert found["point"].to_list() == [p for count in counts for p in range(1, count + 1)]


@pytest.mark.parametrize("counts", [[2, 1, 3], [1, 4, 2, 6], [1] * 30_000, [5, 2] * 15_000])
def test_positions(counts):
    expected = np.concatenate([np.arange(1, count + 1) for count in counts])
    np.testing.assert_array_equal(positions(np.array(counts)), expected)


def test_factor_of_each_pair():
    rule = LimitRule("prediction")
    found = limit_factors(rule, pl.Series([5.0, 10.0, 5.0, 0.0]), pl.Series([4.0, 9.0, 4.0, 3.0]))
    assert found[0] == found[2] == rule.factor(5, 4) and found[1] == rule.factor(10, 9)
    assert np.isnan(found[3])


@pytest.mark.parametrize(
    "frame, words",
    [
        (pl.DataFrame({"value": []}, schema={"value": pl.Float64}), "no readings"),
        (pl.DataFrame({"value": [1.0, None]}), "reading 2 is None"),
        (pl.DataFrame({"value": [float("nan"), 1.0]}), "reading 1 is nan"),
    ],
)
def test_frames_that_will_not_do(frame, words):
    with pytest.raises(StatisticsError, match=words):
        arrange(frame)


def test_series_may_be_numbers():
    table = individuals_table(pl.DataFrame({"series": [7, 7, 3, 3], "value": [1.0, 2.0, 3.0, 5.0]}))
    assert list(table.charts()) == ["7", "3"]


def test_only_says_why_there_is_no_chart():
    with pytest.raises(StatisticsError, match="spread is zero"):
        individuals_table(pl.DataFrame({"value": [1.0, 1.0]})).only()

from datetime import date, datetime

import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from qc.watch.series.order import ORDER, in_order


def rows(*items):
    names = ("day", "has_time", "measured_at", "tool_count", "row", "serial")
    return pl.DataFrame([dict(zip(names, item, strict=True)) for item in items], infer_schema_length=None)


def test_day_comes_before_everything():
    late = (date(2026, 5, 2), False, datetime(2026, 5, 2), 1, 1, "A")
    early = (date(2026, 5, 1), True, datetime(2026, 5, 1, 15), 9, 9, "Z")
    assert in_order(rows(late, early))["serial"].to_list() == ["Z", "A"]


def test_untimed_rows_come_before_timed_ones_of_the_day():
    timed = (date(2026, 5, 1), True, datetime(2026, 5, 1, 7), 1, 1, "timed")
    untimed = (date(2026, 5, 1), False, datetime(2026, 5, 1), 1, 2, "untimed")
    assert in_order(rows(timed, untimed))["serial"].to_list() == ["untimed", "timed"]


def test_tool_count_then_row_then_serial():
    same = (date(2026, 5, 1), False, datetime(2026, 5, 1))
    frame = rows((*same, 2, 1, "B"), (*same, 1, 9, "C"), (*same, 2, 1, "A"))
    assert in_order(frame)["serial"].to_list() == ["C", "A", "B"]


@given(st.permutations(range(6)))
def test_order_does_not_depend_on_how_rows_came_in(shuffle):
    items = [(date(2026, 5, 1 + n % 3), False, datetime(2026, 5, 1), n, n, f"S{n}") for n in range(6)]
    expected = in_order(rows(*items))
    assert in_order(rows(*[items[i] for i in shuffle])).equals(expected)


def test_names_only_columns_of_the_tidy_table():
    from qc.plan import READING

    assert set(ORDER) <= set(READING)

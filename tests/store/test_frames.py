from datetime import UTC, date, datetime

import polars as pl
import pytest
from sqlalchemy import create_engine, literal, select, text

from qc.column_types import polars_schema
from qc.store.frames import fetch, restored, stored, tidy

COLUMNS = {"s": "str", "i": "int", "f": "float", "b": "bool", "d": "date", "t": "datetime"}
FRAME = pl.DataFrame(
    {
        "s": ["a", None],
        "i": [1, None],
        "f": [0.1, None],
        "b": [True, None],
        "d": [date(2026, 5, 14), None],
        "t": [datetime(2026, 5, 14, 12, 30, 15, 123456, tzinfo=UTC), None],
    },
    schema=polars_schema(COLUMNS),
)


def test_stored_and_restored_are_opposites():
    kept = stored(FRAME, COLUMNS)
    assert kept.rows() == [("a", 1, 0.1, 1, "2026-05-14", 1778761815123456), (None,) * 6]
    assert restored(kept, COLUMNS).equals(FRAME)


def test_tidy_orders_types_and_fills():
    rows = tidy(pl.DataFrame({"f": [1, 2], "s": ["", "x"], "other": [0, 0]}), COLUMNS)
    assert rows.schema == FRAME.schema
    assert rows.rows() == [(None, None, 1.0, None, None, None), ("x", None, 2.0, None, None, None)]


@pytest.mark.parametrize("frame", [pl.DataFrame(), pl.DataFrame({"x": []}), FRAME.clear()])
def test_no_rows_stay_no_rows(frame):
    assert tidy(frame, COLUMNS).equals(FRAME.clear())


def test_a_frame_without_any_of_the_columns_keeps_its_height():
    assert tidy(pl.DataFrame({"other": [1, 2, 3]}), COLUMNS).height == 3


def test_fetching_keeps_types_also_for_no_rows_and_over_block_borders(monkeypatch):
    monkeypatch.setattr("qc.store.frames._AT_ONCE", 3)
    numbers = text(
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 10) "
        "SELECT i, i * 0.5 FROM n"
    )
    with create_engine("sqlite://").connect() as conn:
        found = fetch(conn, numbers, {"i": "int", "f": "float"})
        none = fetch(conn, select(literal(1), literal("x")).where(literal(1) == 2), {"i": "int", "s": "str"})
    assert found["i"].to_list() == list(range(1, 11))
    assert found["f"].sum() == 27.5
    assert none.schema == {"i": pl.Int64, "s": pl.String}


def test_a_column_may_be_empty_in_one_block_and_full_in_the_next(monkeypatch):
    monkeypatch.setattr("qc.store.frames._AT_ONCE", 1)
    with create_engine("sqlite://").connect() as conn:
        found = fetch(conn, text("SELECT NULL, NULL UNION ALL SELECT 'a', 1.5"), {"s": "str", "f": "float"})
    assert found.rows() == [(None, None), ("a", 1.5)]

"""The frames ingest works on: the tidy columns of the plan plus where each row came from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import polars as pl

from qc.plan import EVENT, HELD, READING

ORIGIN: dict[str, str] = {
    "file": "str",
    "cell": "str",  # address of the figure as a person looks for it
    "card": "str",  # card id
    "day_text": "str",  # the date as typed
    "bad": "str",  # JSON object of other cells that could not be read: our name -> text as typed
    "hint": "str",  # what the adaptor saw that a doubt needs: "per side", "joined=14.052"
}
"""Columns beside READING and EVENT while a sheet is being checked; they stay with a held row."""

INDEX = "_index"
"""Number of a row among all rows of its upload."""

PART = "_part"
"""Number of the sheet of the upload that a row came from."""

Schema = dict[str, pl.DataType | type[pl.DataType]]

_TYPES: Schema = {
    "str": pl.String,
    "int": pl.Int64,
    "float": pl.Float64,
    "bool": pl.Boolean,
    "date": pl.Date,
    "datetime": pl.Datetime("us", "UTC"),
}


def polars_schema(columns: Mapping[str, str]) -> Schema:
    """Return the polars types of named columns, for example of `qc.plan.READING`."""
    return {name: _TYPES[kind] for name, kind in columns.items()}


READING_ROW = {**READING, **ORIGIN}
EVENT_ROW = {**EVENT, **ORIGIN}
READING_SCHEMA = polars_schema(READING_ROW)
EVENT_SCHEMA = polars_schema(EVENT_ROW)
HELD_SCHEMA = polars_schema(HELD)


def reading_frame(rows: Sequence[Mapping[str, object]]) -> pl.DataFrame:
    """Return unfolded readings as a frame; a column that a row leaves out is null."""
    return _frame(rows, READING_SCHEMA)


def event_frame(rows: Sequence[Mapping[str, object]]) -> pl.DataFrame:
    """Return unfolded events as a frame; a column that a row leaves out is null."""
    return _frame(rows, EVENT_SCHEMA)


def held_frame(rows: Sequence[Mapping[str, object]]) -> pl.DataFrame:
    """Return held rows as a frame."""
    return _frame(rows, HELD_SCHEMA)


def _frame(rows: Sequence[Mapping[str, object]], schema: Schema) -> pl.DataFrame:
    if not rows:
        return pl.DataFrame(schema=schema)
    return pl.from_dicts(rows, schema=schema)

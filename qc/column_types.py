"""The column types that `qc.plan.columns` names, as polars has them; apart, so that the names stay light."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

Schema = dict[str, pl.DataType | type[pl.DataType]]

POLARS: Schema = {
    "str": pl.String,
    "int": pl.Int64,
    "float": pl.Float64,
    "bool": pl.Boolean,
    "date": pl.Date,
    "datetime": pl.Datetime("us", "UTC"),
}


def polars_schema(columns: Mapping[str, str]) -> Schema:
    """Return the polars types of named columns, for example of `qc.plan.READING`."""
    return {name: POLARS[kind] for name, kind in columns.items()}

"""Between the store's plain columns and polars frames, in bulk and without a Python object per row."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import polars as pl
from sqlalchemy import Connection, Select

from qc.column_types import POLARS, Schema, polars_schema
from qc.store.tables import MOST_NAMES

_STORED: Schema = {
    "str": pl.String,
    "int": pl.Int64,
    "float": pl.Float64,
    "bool": pl.Int64,
    "date": pl.String,
    "datetime": pl.Int64,
    "bytes": pl.Binary,
}
_AT_ONCE = 500  # rows; more live tuples than this wake the garbage collector, which doubles the time


def tidy(frame: pl.DataFrame, columns: Mapping[str, str]) -> pl.DataFrame:
    """Return exactly these columns, in order and typed; missing ones and empty texts become null.

    Parameters
    ----------
    frame : polars.DataFrame
        Rows with some of the columns; others are left out.
    columns : mapping of str to str
        Name to type, as `qc.plan.READING` gives them.

    Examples
    --------
    >>> tidy(pl.DataFrame({"a": ["", "x"]}), {"a": "str", "n": "int"}).rows()
    [(None, None), ('x', None)]
    """
    if frame.is_empty():  # a constant column would give it a row
        return pl.DataFrame(schema=polars_schema(columns))
    typed = [
        (_emptied(name) if kind == "str" else pl.col(name).cast(POLARS[kind]))
        if name in frame.columns
        else pl.lit(None, POLARS[kind]).alias(name)
        for name, kind in columns.items()
    ]
    return frame.with_columns(typed).select(list(columns))


def stored(frame: pl.DataFrame, columns: Mapping[str, str]) -> pl.DataFrame:
    """Turn days, moments and yes/no of a tidy frame into what the tables hold."""
    return frame.with_columns(_to_stored(name, kind) for name, kind in columns.items())


def restored(frame: pl.DataFrame, columns: Mapping[str, str]) -> pl.DataFrame:
    """Turn what the tables hold back into days, moments and yes/no."""
    return frame.with_columns(_from_stored(name, kind) for name, kind in columns.items())


def fetch(
    conn: Connection, statement: Select[Any], columns: Mapping[str, str], *, many: bool = False
) -> pl.DataFrame:
    """Run a query and return its rows as stored, column by column.

    Parameters
    ----------
    conn : sqlalchemy.Connection
        An open connection.
    statement : sqlalchemy.Select
        What to read; it must select exactly `columns`, in their order.
    columns : mapping of str to str
        Name to type, as `qc.plan` names types; moments come as integers, days as text.
    many : bool
        Whether it may be very many rows: a server is asked then how many it expects.
    """
    schema = {name: _STORED[kind] for name, kind in columns.items()}
    if many and conn.dialect.name == "postgresql":
        from qc.store.postgresql import fetch_as_arrow

        found = fetch_as_arrow(conn, statement, list(columns))
        if found is not None:
            return found.cast(pl.Schema(schema))
    result = conn.execute(statement)
    cursor: Any = result.cursor  # the driver's own cursor: SQLAlchemy's rows would cost as much again
    parts = []
    try:
        while rows := cursor.fetchmany(_AT_ONCE):
            parts.append(_block(rows, columns))
    finally:
        result.close()
    return pl.concat(parts, rechunk=True) if parts else pl.DataFrame(schema=schema)


def in_parts(names: Iterable[str]) -> list[list[str]]:
    """Return names, each once and in order, in lists short enough for one IN (...); at least one list.

    Examples
    --------
    >>> in_parts(["b", "a", "b"]), in_parts([])
    ([['a', 'b']], [[]])
    """
    own = sorted(set(names))
    return [own[first : first + MOST_NAMES] for first in range(0, len(own), MOST_NAMES)] or [[]]


def _block(rows: Sequence[Sequence[Any]], columns: Mapping[str, str]) -> pl.DataFrame:
    values = zip(*rows, strict=True)
    return pl.DataFrame(
        [
            pl.Series(name, column, dtype=_STORED[kind])
            for (name, kind), column in zip(columns.items(), values, strict=True)
        ]
    )


def _emptied(name: str) -> pl.Expr:
    text = pl.col(name).cast(pl.String)
    return pl.when(text != "").then(text).alias(name)


def _to_stored(name: str, kind: str) -> pl.Expr:
    if kind == "date":
        return pl.col(name).dt.to_string("%Y-%m-%d")
    return pl.col(name).cast(_STORED[kind]) if kind in {"bool", "datetime"} else pl.col(name)


def _from_stored(name: str, kind: str) -> pl.Expr:
    if kind == "date":
        return pl.col(name).str.to_date("%Y-%m-%d")
    return pl.col(name).cast(POLARS[kind]) if kind in {"bool", "datetime"} else pl.col(name)

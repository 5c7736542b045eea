"""Rows carried from one database of a store into another: from the file to a server, and back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, Table, insert, select

from qc.store.errors import StoreError
from qc.store.postgresql import put_rows
from qc.store.tables import metadata

_AT_ONCE = 5_000  # rows in memory between the two; chosen


def carry_rows(source: Connection, target: Connection) -> None:
    """Copy every row of a store; both connections see one state, and the target ends its own transaction.

    Parameters
    ----------
    source : sqlalchemy.Connection
        A reading connection.
    target : sqlalchemy.Connection
        The writing connection of another store that holds nothing yet.

    Raises
    ------
    StoreError
        Something is in the target already.
    """
    for table in metadata.sorted_tables:
        if target.execute(select(*table.primary_key).limit(1)).first() is not None:
            raise StoreError(
                f"{target.engine.url.render_as_string()} holds rows already (table {table.name}). Nothing "
                "was changed. Name an empty database or schema, so that nothing of anybody is written over."
            )
    for table in metadata.sorted_tables:  # a row comes after those it names
        for rows in _blocks(source, table):
            if target.dialect.name == "postgresql":
                put_rows(target, table, rows)
            else:
                target.execute(insert(table), [dict(zip(table.c.keys(), row, strict=True)) for row in rows])


def _blocks(source: Connection, table: Table) -> Iterator[Sequence[Sequence[Any]]]:
    """Yield all rows of a table in the order of their keys, some thousand at a time."""
    streamed = source.execution_options(stream_results=True, max_row_buffer=_AT_ONCE)
    with streamed.execute(select(table).order_by(*table.primary_key)) as found:
        yield from found.partitions(_AT_ONCE)

"""Many rows at once: into a server by its COPY, out of it as Arrow."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any

import polars as pl
from sqlalchemy import Connection, Select, Table, text

from qc.store.errors import StoreUnavailable
from qc.store.postgresql.refused import said_by_server

MANY = 20_000
"""Rows from which on a second connection, which takes hundredths of a second, is worth it; measured."""

SHARES = "qc_shares_its_state"
"""Option of a connection whose questions all see one state, which another connection may be let see too."""


def put_rows(
    conn: Connection, table: Table, rows: Iterable[Sequence[Any]], columns: Sequence[str] = ()
) -> None:
    """Write rows into a table of a server, past the statements of an INSERT.

    Parameters
    ----------
    conn : sqlalchemy.Connection
        The writing connection.
    table : sqlalchemy.Table
        Where to.
    rows : iterable of sequence
        The values, in the order of `columns`.
    columns : sequence of str
        Names of the columns; empty stands for all of the table.

    Raises
    ------
    StoreUnavailable
        The server refuses, in its own words.
    """
    driver: Any = conn.dialect.loaded_dbapi
    names = ", ".join(f'"{name}"' for name in columns or table.c.keys())
    cursor: Any = conn.connection.cursor()
    try:
        with cursor.copy(f'COPY "{table.name}" ({names}) FROM STDIN') as into:
            for row in rows:
                into.write_row(row)
    except driver.Error as error:  # SQLAlchemy does not see what goes past it
        name = conn.engine.url.set(drivername="postgresql").render_as_string()
        told = said_by_server(name, error.sqlstate or "22000", str(error))
        raise StoreUnavailable(told or f"The store {name} answered: {error}.") from error
    finally:
        cursor.close()


def fetch_as_arrow(conn: Connection, statement: Select[Any], names: Sequence[str]) -> pl.DataFrame | None:
    """Run a query by a connection that hands over Arrow, and return its rows; None where it is not worth it.

    The second connection is let see the very state that `conn` sees (``pg_export_snapshot``), and nothing of
    what `conn` may have written or laid over the tables: so only a connection that says it shares its state
    is asked.

    Parameters
    ----------
    conn : sqlalchemy.Connection
        The connection that would be asked otherwise.
    statement : sqlalchemy.Select
        What to read.
    names : sequence of str
        Names for its columns.
    """
    if not conn.get_execution_options().get(SHARES) or _rows_expected(conn, statement) < MANY:
        return None
    try:
        from adbc_driver_postgresql import dbapi
    except ModuleNotFoundError:  # without it the same rows come one by one
        return None
    state = conn.exec_driver_sql("SELECT pg_export_snapshot()").scalar_one()
    address = conn.engine.url.set(drivername="postgresql").render_as_string(hide_password=False)
    with dbapi.connect(address) as other, other.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        cursor.execute(f"SET TRANSACTION SNAPSHOT '{state}'")
        cursor.execute(_plain(conn, statement))
        found = pl.DataFrame(cursor.fetch_arrow())
    return found.rename(dict(zip(found.columns, names, strict=True)))


def _rows_expected(conn: Connection, statement: Select[Any]) -> int:
    """Return how many rows the server expects; a wrong guess costs time only."""
    question = _plain(conn, statement).replace(":", "\\:")
    asked: Any = conn.execute(text(f"EXPLAIN (FORMAT JSON) {question}")).scalar()
    plans = json.loads(asked) if isinstance(asked, str) else asked
    return int(plans[0]["Plan"]["Plan Rows"])


def _plain(conn: Connection, statement: Select[Any]) -> str:
    """Return a query as one text, its values written into it by the dialect."""
    own: Any = type(conn.dialect)
    dialect = own(paramstyle="named")  # where per cent signs are what they are
    return str(statement.compile(dialect=dialect, compile_kwargs={"literal_binds": True}))

"""Many rows at once: into a server by its COPY, out of it as Arrow."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Connection, Table

from qc.store.errors import StoreUnavailable
from qc.store.postgresql.refused import said_by_server


def put_rows(conn: Connection, table: Table, rows: Iterable[Sequence[Any]]) -> None:
    """Write whole rows into a table of a server; a third of the work of an INSERT of many.

    Parameters
    ----------
    conn : sqlalchemy.Connection
        The writing connection.
    table : sqlalchemy.Table
        Where to.
    rows : iterable of sequence
        The values of all columns, in the order of the table.

    Raises
    ------
    StoreUnavailable
        The server refuses, in its own words.
    """
    driver: Any = conn.dialect.loaded_dbapi
    names = ", ".join(f'"{name}"' for name in table.c.keys())
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

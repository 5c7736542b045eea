"""Each value is one that its column can hold: SQLite takes any, put there behind the program's back."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import BigInteger, Column, Connection, Double, Integer, LargeBinary, Table, Text, text

from qc.store.tables import KEPT, metadata

_LARGEST = 1.7976931348623157e308  # IEEE 754 double: whatever is larger is infinite
_TOLD = 5  # rows named for each column; more say nothing new


def faults_of_values(conn: Connection) -> Iterator[str]:
    """Yield a sentence for each value that its column cannot hold: infinite, of another kind, or missing."""
    present = set(conn.execute(text("SELECT name FROM sqlite_master WHERE type = 'table'")).scalars())
    for table in metadata.sorted_tables:
        if table.name not in present:
            continue
        columns = {column.name: _odd(column) for column in table.c}
        listed = ", ".join(columns.values())
        anywhere = " OR ".join(columns.values())
        rows = conn.execute(text(f'SELECT rowid, {listed} FROM "{table.name}" WHERE {anywhere}'))
        yield from _told(table, list(columns), rows)


def faults_of_texts(conn: Connection) -> Iterator[str]:
    """Yield a sentence for each text that is no UTF-8; asked byte by byte where reading has failed."""
    plain = conn.connection.driver_connection
    if not isinstance(plain, sqlite3.Connection):
        return
    before, plain.text_factory = plain.text_factory, bytes
    try:
        for table in KEPT:
            names = [column.name for column in table.c if isinstance(column.type, Text)]
            if not names:
                continue
            listed = ", ".join(f'"{name}"' for name in names)
            for row in plain.execute(f'SELECT id, {listed} FROM "{table.name}"'):
                for name, value in zip(names, row[1:], strict=True):
                    if isinstance(value, bytes) and not _is_text(value):
                        yield f"Row {row[0]} of table {table.name} holds no readable text in column {name}."
    finally:
        plain.text_factory = before


def _odd(column: Column[object]) -> str:
    """Return the condition under which a value cannot have been put there by the program."""
    name = f'"{column.name}"'
    allowed = "" if column.nullable else f"{name} IS NULL OR "
    if isinstance(column.type, Double):
        kinds = f"({name} IS NOT NULL AND typeof({name}) NOT IN ('real', 'integer'))"
        return f"({allowed}{kinds} OR abs({name}) > {_LARGEST!r})"
    kind = _kind(column)
    return f"({allowed}({name} IS NOT NULL AND typeof({name}) <> '{kind}'))"


def _kind(column: Column[object]) -> str:
    if isinstance(column.type, Integer | BigInteger):
        return "integer"
    return "blob" if isinstance(column.type, LargeBinary) else "text"


def _told(table: Table, names: list[str], rows: Iterable[Sequence[Any]]) -> Iterator[str]:
    found: dict[str, list[int]] = {}
    for rowid, *odd in rows:
        for name, wrong in zip(names, odd, strict=True):
            if wrong:
                found.setdefault(name, []).append(rowid)
    for name, own in found.items():
        more = f" and {len(own) - _TOLD} more" if len(own) > _TOLD else ""
        listed = ", ".join(map(str, own[:_TOLD]))
        yield (
            f"Table {table.name}, column {name}: row {listed}{more} holds what can be no value of it. "
            "Put back the last backup (`qc restore`)."
        )


def _is_text(value: bytes) -> bool:
    try:
        value.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True

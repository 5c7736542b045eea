"""The store as it stood once an entry was written: what came later is not there, whoever asks and whatever.

Every kept table is shadowed, on the connection of this database alone, by a view of the same name that ends
at the entry. So each question of the store is asked of that past in the words it always has, and nothing has
to remember to leave the rest out. What can be worked out again (verdicts, signals, states) stands in tables
of that connection, filled by whoever works it out.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from typing import NoReturn

from sqlalchemy import Connection, func, select, text
from sqlalchemy.engine import URL

from qc.store.chain import moment_of
from qc.store.database import Database
from qc.store.errors import StoreError
from qc.store.tables import KEPT, entry, origin, place, reading, signal, state, verdict

_FIXED = ("rates %", "pace %", "noise %", "course %")
"""States that are fixed once by month or period, or carry a digest of what they rest on: those of a day that
is past are among them still."""


class KnownThen(StoreError):
    """Something was to be written where a past day is only looked at."""


class CutDatabase(Database):
    """A database that ends at an entry; it can be read, and nothing can be written to it.

    Parameters
    ----------
    url : sqlalchemy.URL
        Where the database is.
    last : int
        Number of the last entry that is seen; 0 stands for none.
    refusal : str
        What is said to whoever wants to write.
    """

    def __init__(self, url: URL, last: int, refusal: str) -> None:
        super().__init__(url)
        self.last, self.refusal = last, refusal
        # views and tables of a connection are seen by it alone: all threads share it, one at a time
        self._alone = threading.RLock()
        self._connection: Connection | None = None

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give the connection, as it sees the past."""
        with self._alone, self._said():
            if self._connection is None:
                self._connection = self.engine.connect()
                with self._connection.begin():
                    _shadow(self._connection, self.last, sqlite=self.sqlite)
            if self._connection.in_transaction():
                yield self._connection
                return
            with self._connection.begin():
                yield self._connection

    def writing(self) -> NoReturn:
        """Refuse: the past is looked at, not changed.

        Raises
        ------
        KnownThen
            Always.
        """
        self._refuse()
        with self.reading() as conn:
            yield conn

    def _refuse(self) -> None:
        raise KnownThen(self.refusal)

    @contextmanager
    def filling(self) -> Iterator[Connection]:
        """Give the connection to whoever puts there what was worked out; nobody else ever sees it."""
        with self.reading() as conn:
            yield conn

    def close(self) -> None:
        """Close the connection; what it saw goes with it."""
        with self._alone:
            if self._connection is not None:
                self._connection.close()
                self._connection = None
        super().close()


def read_last_by(conn: Connection, micros: int) -> int:
    """Return the number of the last entry made by a moment; 0 where there was none.

    Entries follow each other in time, but for those of older programs that handed in as of a past day: what
    lies before the entry found belongs to what was known then, whatever date it bears.
    """
    return int(conn.execute(select(func.max(entry.c.id)).where(entry.c.at <= micros)).scalar() or 0)


@dataclass(frozen=True, slots=True)
class LateReadings:
    """How many readings of days up to one came in after an entry, and between which moments, UTC."""

    readings: int
    first: datetime
    last: datetime


def read_handed_in_later(conn: Connection, number: int, until: date) -> LateReadings | None:
    """Return what was measured up to a day and came in after an entry, None where nothing did."""
    late = (
        select(func.count(), func.min(reading.c.entry), func.max(reading.c.entry))
        .join_from(reading, origin, reading.c.origin == origin.c.id)
        .where(reading.c.entry > number, reading.c.replaces.is_(None), origin.c.day <= until.isoformat())
    )
    count, first, last = conn.execute(late).one()
    if not count:
        return None
    at = {row.id: row.at for row in conn.execute(select(entry).where(entry.c.id.in_((first, last))))}
    return LateReadings(int(count), moment_of(at[first]), moment_of(at[last]))


def _shadow(conn: Connection, last: int, *, sqlite: bool) -> None:
    """Lay a view over each kept table, and an empty table over each that can be worked out again."""
    home = "main" if sqlite else str(conn.execute(select(func.current_schema())).scalar_one())
    # asked of the whole tables, before the views lie over them: cards bear no number of an entry
    cards = conn.execute(select(func.max(reading.c.origin)).where(reading.c.entry <= last)).scalar() or 0
    ends = {entry.name: f"id <= {last:d}", origin.name: f"id <= {cards:d}"}
    for table in KEPT:
        if table is place:
            continue
        columns = ", ".join(f'"{column.name}"' for column in table.c)
        # the sign keeps the index of entries out of the way: every question has a better one
        end = ends.get(table.name, f"+entry <= {last:d}")
        _run(
            conn,
            f'CREATE TEMP VIEW "{table.name}" AS SELECT {columns} FROM "{home}"."{table.name}" WHERE {end}',
        )
    fixed = " OR ".join(f"key LIKE '{name}'" for name in _FIXED)
    for table in (verdict, signal, state):
        kept = fixed if table is state else "1 = 0"
        _run(conn, f'CREATE TEMP TABLE "{table.name}" AS SELECT * FROM "{home}"."{table.name}" WHERE {kept}')


def _run(conn: Connection, statement: str) -> None:
    conn.execute(text(statement.replace(":", r"\:")))

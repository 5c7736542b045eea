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
from qc.store.tables import (
    KEPT,
    entry,
    held_event,
    origin,
    place,
    reading,
    sheet,
    signal,
    state,
    verdict,
)

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
class LateAnswered:
    """Readings that a sheet brought as held rows: how many, when it came, when they were answered (UTC)."""

    readings: int
    came: datetime
    answered: datetime


@dataclass(frozen=True, slots=True)
class LateReadings:
    """What of the days up to one was accepted after an entry.

    Attributes
    ----------
    readings : int
        All of them.
    first, last : datetime or None
        Between which moments, UTC, those came in that were accepted with their sheet; None where none was.
    answered : tuple of LateAnswered
        Those that a sheet had brought as held rows, in order of their answers.
    """

    readings: int
    first: datetime | None
    last: datetime | None
    answered: tuple[LateAnswered, ...] = ()


def read_handed_in_later(conn: Connection, number: int, until: date) -> LateReadings | None:
    """Return what was measured up to a day and accepted after an entry, None where nothing was."""
    late = (reading.c.entry > number, reading.c.replaces.is_(None), origin.c.day <= until.isoformat())
    waited = reading.c.entry.in_(select(held_event.c.entry))
    with_sheet = (
        select(func.count(), func.min(reading.c.entry), func.max(reading.c.entry))
        .join_from(reading, origin, reading.c.origin == origin.c.id)
        .where(*late, ~waited)
    )
    count, first, last = conn.execute(with_sheet).one()
    by_answer = (
        select(func.count(), sheet.c.entry, reading.c.entry)
        .join_from(reading, origin, reading.c.origin == origin.c.id)
        .join(sheet, origin.c.sheet == sheet.c.id)
        .where(*late, waited)
        .group_by(sheet.c.entry, reading.c.entry)
        .order_by(reading.c.entry, sheet.c.entry)
    )
    rows = conn.execute(by_answer).all()
    if not count and not rows:
        return None
    numbers = {first, last, *(one for _, came, answered in rows for one in (came, answered))} - {None}
    moments = select(entry.c.id, entry.c.at).where(entry.c.id.in_(numbers))
    at = {row.id: moment_of(row.at) for row in conn.execute(moments)}
    own = tuple(LateAnswered(int(many), at[came], at[answered]) for many, came, answered in rows)
    total = int(count) + sum(one.readings for one in own)
    return LateReadings(total, at.get(first), at.get(last), own)


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

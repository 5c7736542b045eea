"""What a store can be asked about itself: its chain, what it told, whether all is as it was accepted."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path

from sqlalchemy import Connection, func, select

from qc.plain import JsonObject
from qc.store.chain import Entry, entries_of, last_entry, micros_of, moment_of
from qc.store.database import Database
from qc.store.keeping import (
    LateReadings,
    ToldRecord,
    carry_rows,
    faults_of_store,
    read_handed_in_later,
    read_last_by,
    read_told,
    read_told_signals,
)
from qc.store.sheetfiles import SheetFiles
from qc.store.states import read_states
from qc.store.tables import entry

REPORTS = "reports"
"""The folder of a workshop in which the reports of its months lie."""

JUDGEMENTS = "judged"
"""The state that counts how often verdicts were saved: not each is an entry, and the board must see it."""


class ProvenStore:
    """The verbs of a store that read what proves it; see `qc.store.Store`."""

    def __init__(self, folder: Path, database: Database, files: SheetFiles) -> None:
        self.folder = folder
        self._database = database
        self._files = files

    def told(self, series: Sequence[str] | None = None, *, until: datetime | None = None) -> list[ToldRecord]:
        """Return what was told last of each series, or by a moment: the verdict without its points."""
        with self._database.reading() as conn:
            return read_told(conn, series, until)

    def told_signals(
        self, series: str, *, before: int | None = None, days: tuple[date, date] | None = None
    ) -> list[tuple[date, list[JsonObject]]]:
        """Return the signals of a series with the day, each time they were told otherwise, oldest first.

        With `before` only what had been told when saying number `before` was said, with `days` only what was
        told from one day to another.
        """
        with self._database.reading() as conn:
            return read_told_signals(conn, series, before, days)

    def entries(self, since: int = 0) -> list[Entry]:
        """Return the entries after number `since`, oldest first."""
        with self._database.reading() as conn:
            return entries_of(conn, since)

    def last_by(self, when: datetime) -> int:
        """Return the number of the last entry made by a moment, 0 where there was none."""
        with self._database.reading() as conn:
            return read_last_by(conn, micros_of(when))

    def handed_in_later(self, number: int, until: date) -> LateReadings | None:
        """Return what was measured up to a day and came in after entry `number`, None where nothing did."""
        with self._database.reading() as conn:
            return read_handed_in_later(conn, number, until)

    def newest_moment(self) -> datetime | None:
        """Return the latest moment of any entry, None before any."""
        with self._database.reading() as conn:
            at = conn.execute(select(func.max(entry.c.at))).scalar()
        return None if at is None else moment_of(at)

    def verify(self) -> list[str]:
        """Work out every hash again; returns a sentence for each thing that is wrong."""
        lying = self._files.lying()
        with self._database.reading() as conn:
            return faults_of_store(conn, self._files, lying, self.folder / REPORTS, self._database.sqlite)

    @property
    def on_server(self) -> bool:
        """Whether the rows are in a server's database, not in a file of the folder."""
        return not self._database.sqlite

    def carry_into(self, other: ProvenStore) -> None:
        """Copy every row into another store, which holds nothing yet; the sheets are copied by the caller.

        Within `other.writing()` it can be verified there before it is kept.

        Raises
        ------
        StoreError
            The other one holds rows.
        """
        with self._database.reading() as here, other._database.writing() as there:
            carry_rows(here, there)

    def begun(self) -> datetime | None:
        """Return the moment of the first entry, None before any."""
        with self._database.reading() as conn:
            at = conn.execute(select(entry.c.at).order_by(entry.c.id).limit(1)).scalar()
        return None if at is None else moment_of(at)

    def hashes(self) -> list[str]:
        """Return the hashes of all entries, oldest first; one that was noted must stay among them."""
        with self._database.reading() as conn:
            return [str(one) for one in conn.execute(select(entry.c.hash).order_by(entry.c.id)).scalars()]

    def head(self) -> str:
        """Return the hash of the newest entry, 64 digits; empty where there is none."""
        with self._database.reading() as conn:
            number, last = last_entry(conn)
        return last if number else ""

    def pulse(self) -> tuple[int, int]:
        """Return what changes with every change: number of the last entry, count of judgements."""
        with self._database.reading() as conn:
            return last_entry(conn)[0], judgements(conn)


def judgements(conn: Connection) -> int:
    """Return how often verdicts were saved."""
    return int(read_states(conn, [JUDGEMENTS]).get(JUDGEMENTS, 0))

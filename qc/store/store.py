"""The store of a workshop: one class that names the verbs, each done in a module of its own."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Any

import polars as pl
from sqlalchemy import select

from qc.plain import JsonObject
from qc.sayings import Said, Saying, SignalState
from qc.store import pieces as few
from qc.store import queries, said, verdicts
from qc.store.corrected import CorrectedStore
from qc.store.database import Database, read_url, sqlite_url
from qc.store.errors import StoreUnavailable
from qc.store.intake import NewSheet, SheetCount, add_sheets, entered
from qc.store.keeping import (
    MARK,
    ClosedMonth,
    Grounds,
    adopt_what_was_kept,
    close_month,
    read_closed_months,
    tell,
)
from qc.store.kept_back import PiecesStore
from qc.store.location import OWN_FILE, private_folder, refuse_network_share
from qc.store.people import PeopleStore
from qc.store.plans import VersionedStore, record_text
from qc.store.proven import JUDGEMENTS, judgements
from qc.store.records import SheetRecord, SignalRecord, VerdictRecord
from qc.store.sheetfiles import SheetFiles, refuse_new_beside
from qc.store.states import put_states, read_states
from qc.store.tables import mapping_version, sheet
from qc.store.unread import NewUnread, UnreadStore, keep_unread

FILE = "qc.db"


def open_store(folder: Path, *, url: str | None = None) -> Store:
    """Open the store of a workshop folder; makes it, or brings its tables up to date, where needed.

    Parameters
    ----------
    folder : Path
        The workshop folder; sheets are kept in it in any case.
    url : str, optional
        Address of a PostgreSQL database to use instead of ``qc.db`` in the folder.

    Raises
    ------
    StoreError
        The folder is on a network share, cannot be written, or holds a store of a newer program.
    """
    refuse_network_share(folder)
    try:
        private_folder(folder)
        files = SheetFiles(folder / "sheets")
        if url is None:
            refuse_new_beside(folder / FILE, files)
            (folder / FILE).touch(OWN_FILE)  # the log beside it takes its rights
    except OSError as error:
        raise StoreUnavailable(
            f"{folder} cannot be written ({error.strerror}). Mend its permissions."
        ) from error
    database = Database(sqlite_url(folder / FILE) if url is None else read_url(url))
    database.migrate()
    return Store(folder, database, files)


class Store(CorrectedStore, PeopleStore, PiecesStore, UnreadStore, VersionedStore):
    """Everything a workshop keeps. Make one with `open_store`; it may be used from several threads.

    Parameters
    ----------
    folder : Path
        The workshop folder.
    database : Database
        Migrated.
    files : SheetFiles
        The sheets beside it.
    """

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections; the store can be opened again at any time."""
        self._database.close()

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Make everything done in this block, in this thread, one transaction: all of it is kept, or none.

        What is looked up inside still holds when it is written, since nobody else writes meanwhile.
        """
        with self._database.writing():
            yield

    @contextmanager
    def impatient(self, seconds: float) -> Iterator[None]:
        """Wait for other writers only so long in this block: who reads has an answer without writing."""
        with self._database.impatient(seconds):
            yield

    # --- sheets and their rows

    def add_sheets(
        self,
        items: Sequence[NewSheet],
        *,
        who: str,
        when: datetime,
        mappings: Callable[[], str] | None = None,
        unread: Sequence[NewUnread] = (),
    ) -> list[SheetCount]:
        """Take in sheets in one transaction, all or none; durable on the disk when this returns.

        Parameters
        ----------
        items : sequence of NewSheet
            Sheets with the rows that were read from them.
        who, when
            Code of the person who uploads, and the moment of entry, with a time zone.
        mappings : callable, optional
            Gives the text of the mappings they were read with, while no other writer can come between; kept
            as a version before them.
        unread : sequence of NewUnread
            Sheets of the same hand-in that could not be read, kept with them.

        Returns
        -------
        list of SheetCount
            One for each sheet; a held row that still waits is counted as held again, but kept once.
        """
        with self._database.writing() as conn:
            if mappings is not None:
                record_text(conn, mapping_version, mappings(), who, when)
            counts = add_sheets(conn, self._files, items, who, when)
            keep_unread(conn, self._files, unread, who, when)  # after: taking in sweeps what is half there
        self._files.accepted([*(item.hash for item in items), *(item.hash for item in unread)])
        return counts

    def readings(
        self,
        *,
        stage: str | None = None,
        characteristics: Sequence[str] | None = None,
        serials: Sequence[str] | None = None,
        since: date | None = None,
        until: date | None = None,
        models: Sequence[str | None] | None = None,
    ) -> pl.DataFrame:
        """Return the columns of `qc.plan.READING` and `id` in order of entry, replaced readings left out.

        `since` and `until` are measured days, both included; empty texts are null, None a missing model.
        """
        with self._database.reading() as conn:
            return queries.read_readings(conn, stage, characteristics, serials, since, until, models)

    def recent_readings(self, kinds: Iterable[queries.Kind]) -> pl.DataFrame:
        """Return the newest readings of each (stage, characteristic, model, most); as quick in a large store.

        Kind after kind, each in order of entry.
        """
        with self._database.reading() as conn:
            return queries.read_recent(conn, kinds)

    def readings_by_id(self, ids: Sequence[int]) -> pl.DataFrame:
        """Return readings by their ids, replaced ones too."""
        with self._database.reading() as conn:
            return queries.read_by_id(conn, ids)

    def events(
        self,
        kind: str | Sequence[str] | None = None,
        *,
        serials: Sequence[str] | None = None,
        subjects: Sequence[str] | None = None,
        since: date | None = None,
        until: date | None = None,
    ) -> pl.DataFrame:
        """Return events in order of entry: the columns of `qc.plan.EVENT` and `id`."""
        kinds = [kind] if isinstance(kind, str) else kind
        with self._database.reading() as conn:
            return queries.read_events(conn, kinds, serials, subjects, since, until)

    def pieces(self, serials: Sequence[str] | None = None) -> pl.DataFrame:
        """Return pieces seen so far: `serial`, `model`, `first_day`, `shipped` (day or null)."""
        with self._database.reading() as conn:
            return queries.read_pieces(conn, serials)

    def recent_pieces(self, most: int) -> pl.DataFrame:
        """Return `serial` and `model` of the pieces on the newest `most` cards."""
        with self._database.reading() as conn:
            return few.read_recent_pieces(conn, most)

    def news(self, mark: tuple[int, int, int] = (0, 0, 0)) -> few.News:
        """Return what came in after a mark, and the mark to ask with the next time."""
        with self._database.reading() as conn:
            return few.read_news(conn, mark)

    def waiting(self, mark: few.JudgedUpTo) -> few.Waiting | None:
        """Return what was accepted after a mark and waits to be judged, None where nothing does."""
        with self._database.reading() as conn:
            return few.read_waiting(conn, mark)

    def reached(self) -> few.JudgedUpTo:
        """Return the mark that holds once everything accepted so far is judged."""
        with self._database.reading() as conn:
            return few.read_reached(conn)

    def measured_kinds(self) -> list[tuple[str, str, str]]:
        """Return stage, characteristic and model of everything ever measured, each once."""
        with self._database.reading() as conn:
            return few.measured_kinds(conn)

    def counted_kinds(
        self, *, until: date | None = None, after: int = 0
    ) -> list[tuple[str, str, str | None, int]]:
        """Return stage, characteristic, model and how many readings stand: of days, of cards after a mark."""
        with self._database.reading() as conn:
            return few.counted_kinds(conn, until, after)

    def serials_before(
        self, stage: str, characteristics: Sequence[str], serials: Sequence[str], day: date
    ) -> set[str]:
        """Return those of the serials of which one of the characteristics was measured before a day."""
        with self._database.reading() as conn:
            return few.serials_before(conn, stage, characteristics, serials, day)

    def serials_on(self, gauge: str, day: date) -> set[str]:
        """Return the serials measured with a gauge on a day."""
        with self._database.reading() as conn:
            return few.serials_on(conn, gauge, day)

    def serials_known(self, stage: str, day: date, saying: int) -> set[str]:
        """Return the serials of a day at a stage that were on record when saying number `saying` was said."""
        with self._database.reading() as conn:
            return few.serials_known(conn, stage, day, saying)

    def around(self, serials: Sequence[str], *, until: date) -> pl.DataFrame:
        """Return what was recorded around the readings of some pieces: who, gauge, tool, batch, day."""
        with self._database.reading() as conn:
            return few.read_around(conn, serials, until)

    def means(self, serials: Sequence[str], *, until: date) -> pl.DataFrame:
        """Return the mean of each figure of some pieces, with the first day it was measured."""
        with self._database.reading() as conn:
            return few.read_means(conn, serials, until)

    def sheets(self) -> list[SheetRecord]:
        """Return the sheets in order of entry."""
        with self._database.reading() as conn:
            return queries.read_sheets(conn)

    def has_sheet(self, digest: str) -> bool:
        """Tell whether a sheet with this hash was taken in."""
        with self._database.reading() as conn:
            return conn.execute(select(sheet.c.id).where(sheet.c.hash == digest)).scalar() is not None

    def entered(self, entered_as: str) -> str:
        """Return the hash of the sheet that was typed at the bench under an id, empty where there is none."""
        with self._database.reading() as conn:
            return entered(conn, entered_as)

    def sheet_bytes(self, digest: str) -> bytes:
        """Return a sheet as it was handed in, byte for byte."""
        return self._files.read(digest)

    def sheet_files(self) -> list[str]:
        """Return the names of the sheets that lie on the disk, whether or not an entry names them."""
        return sorted(self._files.lying().whole)

    # --- months

    def close_month(self, month: str, files: Mapping[str, str], *, who: str, when: datetime) -> int:
        """Keep the hashes of the files that are the report of a month for good; returns the entry's number.

        Raises
        ------
        StoreError
            The month is closed already, or no file is named.
        """
        with self._database.writing() as conn:
            return close_month(conn, month, files, who, when)

    def closed_months(self) -> list[ClosedMonth]:
        """Return the months that were closed, in the order in which that was done."""
        with self._database.reading() as conn:
            return read_closed_months(conn)

    # --- verdicts and signals

    def save_verdicts(
        self,
        found: Iterable[Mapping[str, Any]],
        *,
        as_of: date,
        states: Mapping[str, Any] | None = None,
        afresh: bool = False,
        told: Grounds | None = None,
    ) -> None:
        """Keep what judging found, all or none of it; what is told by it stays for good, see `told`.

        Parameters
        ----------
        found : iterable of mapping
            Verdicts, ``SeriesVerdict.to_dict()``; the signals in them are kept as well.
        as_of : date
            The day judged by.
        states : mapping of str to anything, optional
            Small values to be kept along with them, see `set_states`.
        afresh : bool
            Drop all verdicts kept so far; signals, what was said of them and what was told stay.
        told : Grounds, optional
            What the verdicts rest on; else the store as it stands.
        """
        bodies, values = list(found), states or {}
        with self._database.writing() as conn:
            adopt_what_was_kept(conn, as_of, told)
            if afresh:
                verdicts.forget_verdicts(conn)
            verdicts.save_verdicts(conn, bodies, as_of)
            put_states(conn, {JUDGEMENTS: judgements(conn) + 1, **values})
            tell(conn, bodies, as_of, told, values.get(MARK), afresh)

    def verdicts(
        self, as_of: date | None = None, *, series: Sequence[str] | None = None
    ) -> list[VerdictRecord]:
        """Return the newest verdict of each series, not later than `as_of` where it is given."""
        with self._database.reading() as conn:
            return verdicts.read_verdicts(conn, as_of, series)

    def judged_day(self) -> date | None:
        """Return the newest day of which a verdict is kept, None before any."""
        with self._database.reading() as conn:
            return verdicts.read_judged_day(conn)

    def signals(
        self, *, series: str | None = None, states: Collection[SignalState] | None = None
    ) -> list[SignalRecord]:
        """Return signals with what was said of them, those judged first before the others."""
        with self._database.reading() as conn:
            return verdicts.read_signals(conn, series, states)

    def say(self, about: str, saying: Saying, *, when: datetime) -> int:
        """Add what a person says, an entry of the chain; returns its number.

        Parameters
        ----------
        about : str
            The id of a signal or, for a decision of a lead, the series: ``stage/characteristic/family``.
        saying : Saying
            What is said; a decision names its first and last piece.
        when : datetime
            The moment, with a time zone.

        Raises
        ------
        StoreError
            There is no such signal, or a decision leaves a piece open.
        """
        with self._database.writing() as conn:
            return said.add_saying(conn, about, saying, when)

    def said_of_series(self, series: str | None = None) -> list[Said]:
        """Return what was decided about series, oldest first."""
        with self._database.reading() as conn:
            return said.read_decisions(conn, series)

    # --- small values

    def state(self, key: str, default: Any = None) -> Any:
        """Return a small kept value, `default` where there is none."""
        return self.states([key]).get(key, default)

    def states(self, keys: Iterable[str]) -> JsonObject:
        """Return several small kept values by name; those that were never kept are left out."""
        with self._database.reading() as conn:
            return read_states(conn, keys)

    def set_state(self, key: str, value: Any) -> None:
        """Keep a small value (anything JSON can hold) under a name; not part of the chain."""
        self.set_states({key: value})

    def set_states(self, values: Mapping[str, Any]) -> None:
        """Keep several small values at once."""
        with self._database.writing() as conn:
            put_states(conn, values)

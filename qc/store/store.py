"""The store of a workshop: one class that names the verbs, each done in a module of its own."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import polars as pl
from sqlalchemy import Connection, delete, exists, insert, select

from qc.store import looking, settling, verdicts
from qc.store.chain import Entry, append_entry, entries_of, last_entry, moment_of
from qc.store.database import Database, read_url, sqlite_url
from qc.store.errors import StoreError
from qc.store.intake import NewSheet, SheetCount, add_sheets
from qc.store.location import refuse_network_share
from qc.store.rows import next_id
from qc.store.sheetfiles import SheetFiles, sheet_hash
from qc.store.tables import entry, plan_version, sheet, state
from qc.store.verify import faults_of_store

FILE = "qc.db"
_JUDGED = "judged"  # how often verdicts were saved


@dataclass(frozen=True, slots=True)
class PlanVersion:
    """One text of the plan, as it was met.

    `used` says whether a sheet was taken in under it; a version that was corrected before any sheet came
    never judged anything.
    """

    version: int
    who: str
    when: datetime
    hash: str
    used: bool

    def to_dict(self) -> dict[str, object]:
        """Return plain values, the moment as ISO text."""
        return {**asdict(self), "when": self.when.isoformat()}


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
        folder.mkdir(parents=True, exist_ok=True)
        files = SheetFiles(folder / "sheets")
    except OSError as error:
        raise StoreError(f"{folder} cannot be written ({error.strerror}). Mend its permissions.") from error
    database = Database(sqlite_url(folder / FILE) if url is None else read_url(url))
    database.migrate()
    return Store(folder, database, files)


class Store:
    """Everything a workshop keeps. Make one with `open_store`; it may be used from several threads.

    Parameters
    ----------
    folder : Path
        The workshop folder.
    database : Database
        The database, migrated.
    files : SheetFiles
        The sheets beside it.
    """

    def __init__(self, folder: Path, database: Database, files: SheetFiles) -> None:
        self.folder = folder
        self._database = database
        self._files = files

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections; the store can be opened again at any time."""
        self._database.close()

    # --- sheets and their rows

    def add_sheets(self, items: Sequence[NewSheet], *, who: str, when: datetime) -> list[SheetCount]:
        """Take in sheets in one transaction, all or none; durable on the disk when this returns.

        Parameters
        ----------
        items : sequence of NewSheet
            Sheets with the rows that were read from them.
        who : str
            Code of the person who uploads.
        when : datetime
            Moment of entry, with a time zone.

        Returns
        -------
        list of SheetCount
            One for each sheet. Rows that the store has already are counted as known and change nothing;
            a held row that still waits is counted as held again, but kept once.
        """
        with self._database.writing() as conn:
            return add_sheets(conn, self._files, items, who, when)

    def readings(
        self,
        *,
        stage: str | None = None,
        characteristics: Sequence[str] | None = None,
        serials: Sequence[str] | None = None,
        since: date | None = None,
        until: date | None = None,
    ) -> pl.DataFrame:
        """Return readings in order of entry: the columns of `qc.plan.READING` and `id`.

        Replaced readings are left out; `since` and `until` are measured days, both included; texts that
        are empty are null.
        """
        with self._database.reading() as conn:
            return looking.read_readings(conn, stage, characteristics, serials, since, until)

    def recent_readings(self, stage: str, characteristic: str, model: str | None, most: int) -> pl.DataFrame:
        """Return the newest `most` readings of a characteristic and model; as quick in a large store."""
        with self._database.reading() as conn:
            return looking.read_recent(conn, stage, characteristic, model, most)

    def readings_by_id(self, ids: Sequence[int]) -> pl.DataFrame:
        """Return readings by their ids, replaced ones too."""
        with self._database.reading() as conn:
            return looking.read_by_id(conn, ids)

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
            return looking.read_events(conn, kinds, serials, subjects, since, until)

    def pieces(self, serials: Sequence[str] | None = None) -> pl.DataFrame:
        """Return pieces seen so far: `serial`, `model`, `first_day`, `shipped` (day or null)."""
        with self._database.reading() as conn:
            return looking.read_pieces(conn, serials)

    def held(self, open_only: bool = True, *, ids: Sequence[int] | None = None) -> pl.DataFrame:
        """Return held rows: the columns of `qc.plan.HELD`, `id`, `state`, `entered` and `who`."""
        with self._database.reading() as conn:
            return looking.read_held(conn, open_only, ids)

    def settle_held(
        self,
        held_ids: Sequence[int],
        state: str,
        *,
        who: str,
        when: datetime,
        readings: pl.DataFrame | None = None,
        events: pl.DataFrame | None = None,
        replaces: int | None = None,
        note: str = "",
    ) -> list[int]:
        """Close held rows for good.

        Parameters
        ----------
        held_ids : sequence of int
            Open held rows.
        state : str
            ``accepted`` (with the mended rows in `readings` or `events`) or ``dropped``.
        who, when
            Person and moment.
        readings, events : polars.DataFrame, optional
            The rows as mended and checked; those already known are not stored again.
        replaces : int, optional
            A reading that the mended one corrects.
        note : str
            Why, in words.

        Returns
        -------
        list of int
            Ids of the new readings.
        """
        empty = pl.DataFrame()
        rows = (empty if readings is None else readings, empty if events is None else events)
        with self._database.writing() as conn:
            return settling.settle_held(conn, held_ids, state, who, when, *rows, replaces, note)

    def replace_reading(
        self, old_id: int, row: pl.DataFrame, *, who: str, when: datetime, why: str = ""
    ) -> int:
        """Put a corrected reading in the place of an old one, which stays on record; returns the new id."""
        with self._database.writing() as conn:
            return settling.replace_reading(conn, old_id, row, who, when, why)

    def sheets(self) -> pl.DataFrame:
        """Return the sheets: `id`, `sheet` (hash), `file`, `card`, `size`, `entered`, `who`, `entry`."""
        with self._database.reading() as conn:
            return looking.read_sheets(conn)

    def has_sheet(self, digest: str) -> bool:
        """Tell whether a sheet with this hash was taken in."""
        with self._database.reading() as conn:
            return conn.execute(select(sheet.c.id).where(sheet.c.hash == digest)).scalar() is not None

    def sheet_bytes(self, digest: str) -> bytes:
        """Return a sheet as it was handed in, byte for byte."""
        return self._files.read(digest)

    # --- the plan

    def record_plan(self, text: str, *, who: str, when: datetime) -> int:
        """Keep a text of the plan as a new version unless it is the newest already; returns its number."""
        digest = sheet_hash(text.encode("utf-8"))
        newest = select(plan_version.c.id, plan_version.c.hash).order_by(plan_version.c.id.desc()).limit(1)
        with self._database.reading() as conn:
            found = conn.execute(newest).first()
        if found is not None and found.hash == digest:
            return int(found.id)
        with self._database.writing() as conn:
            found = conn.execute(newest).first()
            if found is not None and found.hash == digest:
                return int(found.id)
            version = next_id(conn, plan_version)
            number = last_entry(conn)[0] + 1
            row = {"id": version, "entry": number, "hash": digest, "text": text}
            conn.execute(insert(plan_version), row)
            append_entry(conn, "plan", who, when, f"version {version}", ["plan_version"])
            return version

    def plan_versions(self) -> list[PlanVersion]:
        """Return the versions of the plan, oldest first."""
        named = plan_version.c.id, plan_version.c.hash, entry.c.who, entry.c.at, entry.c.id.label("entry")
        statement = select(*named).join(entry, entry.c.id == plan_version.c.entry)
        with self._database.reading() as conn:
            rows = conn.execute(statement.order_by(plan_version.c.id)).all()
            ends = [row.entry for row in rows[1:]] + [last_entry(conn)[0] + 1]
            used = [
                conn.execute(select(exists().where(sheet.c.entry.between(row.entry, end - 1)))).scalar()
                for row, end in zip(rows, ends, strict=True)
            ]
        return [
            PlanVersion(row.id, row.who, moment_of(row.at), row.hash, bool(one))
            for row, one in zip(rows, used, strict=True)
        ]

    def plan_text(self, version: int | None = None) -> str:
        """Return a text of the plan, the newest where no version is named."""
        statement = select(plan_version.c.text).order_by(plan_version.c.id.desc()).limit(1)
        if version is not None:
            statement = statement.where(plan_version.c.id == version)
        with self._database.reading() as conn:
            text = conn.execute(statement).scalar()
        if text is None:
            known = "none yet" if version is None else f"no version {version}"
            raise StoreError(f"The store has {known} of the plan.")
        return str(text)

    # --- verdicts and signals

    def save_verdicts(self, found: Iterable[Mapping[str, Any]], *, as_of: date) -> None:
        """Keep verdicts (``SeriesVerdict.to_dict()``) of a day and the signals in them."""
        with self._database.writing() as conn:
            verdicts.save_verdicts(conn, found, as_of)
            _put(conn, _JUDGED, _got(conn, _JUDGED, 0) + 1)

    def verdicts(
        self, as_of: date | None = None, *, series: Sequence[str] | None = None
    ) -> list[dict[str, Any]]:
        """Return the newest verdict of each series, not later than `as_of` where it is given."""
        with self._database.reading() as conn:
            return verdicts.read_verdicts(conn, as_of, series)

    def forget_verdicts(self) -> None:
        """Drop all verdicts, to judge everything anew; signals and what was said of them stay."""
        with self._database.writing() as conn:
            verdicts.forget_verdicts(conn)
            _put(conn, _JUDGED, _got(conn, _JUDGED, 0) + 1)

    def signals(
        self, *, series: str | None = None, states: Sequence[str] | None = None
    ) -> list[dict[str, Any]]:
        """Return signals with their state (open, in-hand, closed, closed-false) and their events."""
        with self._database.reading() as conn:
            return verdicts.read_signals(conn, series, states)

    def say_of_signal(
        self,
        found: str,
        what: str,
        *,
        who: str,
        when: datetime,
        cause: str = "",
        action: str = "",
        text: str = "",
    ) -> None:
        """Add to the life of a signal: in-hand, closed, closed-false, reopened or comment."""
        said = {"cause": cause, "action": action, "text": text}
        with self._database.writing() as conn:
            verdicts.say_of_signal(conn, found, what, who, when, said)

    # --- keeping

    def entries(self, since: int = 0) -> list[Entry]:
        """Return the entries after number `since`, oldest first."""
        with self._database.reading() as conn:
            return entries_of(conn, since)

    def verify(self) -> list[str]:
        """Work out every hash again; returns a sentence for each thing that is wrong."""
        with self._database.reading() as conn:
            return faults_of_store(conn, self._files, self._database.sqlite)

    def pulse(self) -> tuple[int, int]:
        """Return what changes with every change: number of the last entry, count of judgements."""
        with self._database.reading() as conn:
            return last_entry(conn)[0], int(_got(conn, _JUDGED, 0))

    def state(self, key: str, default: Any = None) -> Any:
        """Return a small kept value, `default` where there is none."""
        with self._database.reading() as conn:
            return _got(conn, key, default)

    def set_state(self, key: str, value: Any) -> None:
        """Keep a small value (anything JSON can hold) under a name; not part of the chain."""
        with self._database.writing() as conn:
            _put(conn, key, value)


def _got(conn: Connection, key: str, default: Any) -> Any:
    found = conn.execute(select(state.c.value).where(state.c.key == key)).scalar()
    return default if found is None else json.loads(found)


def _put(conn: Connection, key: str, value: Any) -> None:
    kept = json.dumps(value, ensure_ascii=False, allow_nan=False)
    conn.execute(delete(state).where(state.c.key == key))
    conn.execute(insert(state), {"key": key, "value": kept})

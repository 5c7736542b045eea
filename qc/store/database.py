"""The database behind a store: connecting, migrating, and one writer at a time.

SQLite through Python's own ``sqlite3`` only. A second copy of SQLite in the same process (as some fast
readers bring along) would drop the file locks of the first when it closes the file (SQLite documentation,
"How To Corrupt An SQLite Database File", section on POSIX advisory locks), so none is ever imported.
"""

from __future__ import annotations

import re
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, select, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import DBAPIError, IntegrityError, NoSuchModuleError
from sqlalchemy.util import LRUCache

from qc.store.errors import StoreError, StoreInDoubt, StoreUnavailable
from qc.store.postgresql import SHARES, in_doubt, make_durable, said_by_server
from qc.store.tables import HEAD, entry

PATIENCE_S = 60  # how long a writer waits for another to finish
CONNECT_S = 10  # how long a server may take to answer at all; chosen: a person sits before it
_MIGRATIONS = Path(__file__).parent / "migrations"
_ONE_STATE: dict[str, Any] = {"isolation_level": "REPEATABLE READ", SHARES: True}
_LOCK = 7_113_207  # any fixed number: PostgreSQL's lock for migrations of this program
_MOST_COMPILED = 1_000  # statements; chosen: more than the store knows


class Database:
    """An engine that knows how to begin reading and how to begin writing.

    Parameters
    ----------
    url : sqlalchemy.URL
        Where the database is.
    """

    def __init__(self, url: URL) -> None:
        self.url = url
        self.sqlite = url.get_backend_name() == "sqlite"
        self.patience_s = float(PATIENCE_S)
        self.engine = _engine(url, self.sqlite)
        self._open = _OpenWriting()
        if self.sqlite:
            _set_up_sqlite(self.engine, lambda: self.patience_s)

    @property
    def name(self) -> str:
        """How to name the database in a message: its file, or its address without the password."""
        if self.sqlite:
            return str(self.url.database)
        return self.url.set(drivername="postgresql").render_as_string(hide_password=True)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that sees one unchanging state until the block ends.

        Inside `writing`, in the same thread, it is the writing one: what is looked up there still holds when
        it is written.
        """
        already = self._open.conn or self._open.steady
        if already is not None:
            yield already
            return
        with self._said(), self.engine.connect() as plain:
            # by itself each statement of a server would see what was committed before it
            conn = plain if self.sqlite else plain.execution_options(**_ONE_STATE)
            with conn.begin():
                yield conn

    @contextmanager
    def steady(self) -> Iterator[None]:
        """Let every question of this thread see one state of the database until the block ends."""
        inside = self._open.conn or self._open.steady
        with self.reading() as conn:
            if inside is None:
                conn.execute(select(entry.c.id).limit(1))  # the state seen is that of the first question
            before, self._open.steady = self._open.steady, conn
            try:
                yield
            finally:
                self._open.steady = before

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give the only connection that may write; what it wrote is on the disk when the block has ended.

        A block inside another one, in the same thread, is part of it: all of it is kept or none.

        Raises
        ------
        StoreUnavailable
            Another writer did not finish in time, the disk is full, or the file may not be written.
        StoreInDoubt
            The server broke off just while it made this durable, and does not answer since.
        """
        if self._open.conn is not None:
            yield self._open.conn
            return
        with self._said(writes=True), self.engine.connect() as plain:
            conn = plain.execution_options(qc_writes=True)
            with conn.begin() as begun:
                if not self.sqlite:
                    conn.execute(text(f"SET LOCAL lock_timeout = {int(self.patience_s * 1000)}"))
                    conn.execute(text(f'LOCK TABLE "{entry.name}" IN EXCLUSIVE MODE'))
                self._open.conn = conn
                try:
                    yield conn
                finally:
                    self._open.conn = None
                if not self.sqlite and not make_durable(conn, begun, self.engine):
                    raise StoreInDoubt(in_doubt(self.name))

    def migrate(self) -> None:
        """Bring the tables up to date; makes them in a new database.

        Raises
        ------
        StoreError
            The store was made by a newer program; nothing stays connected then.
        """
        try:
            self._migrate()
        except BaseException:
            self.close()  # a server would go on counting us among those connected
            raise

    def _migrate(self) -> None:
        with self._said(), self.engine.connect() as conn:
            found = _version(conn)
        if found == HEAD:
            return
        with self._said(), self.engine.connect() as plain:
            conn = plain.execution_options(qc_writes=True)
            with conn.begin():
                if not self.sqlite:
                    conn.execute(text(f"SELECT pg_advisory_xact_lock({_LOCK})"))
                found = _version(conn)
                if found is not None and not _counts(found):
                    raise StoreError(_sentence(self.name, f"malformed number of its tables, {found!r:.40}"))
                if found is not None and found > HEAD:
                    raise StoreError(
                        f"{self.name} was written by a newer version of this program (tables {found}, "
                        f"known up to {HEAD}). Install that version; nothing was changed."
                    )
                if found is None and inspect(conn).has_table("entry"):
                    # a new store has no tables, and one that is made has its number with the first of them
                    raise StoreError(_sentence(self.name, "malformed: its tables have lost their number"))
                if found is None and not self.sqlite:
                    self._refuse_letters(conn)
                if found != HEAD:
                    _upgrade(conn)

    def _refuse_letters(self, conn: Connection) -> None:
        """Raise where a server's database cannot keep every letter."""
        letters = conn.exec_driver_sql("SHOW server_encoding").scalar()
        if letters != "UTF8":
            raise StoreError(
                f"{self.name} keeps its texts as {letters}, which lacks letters. Nothing was changed. Have a "
                "database made with ENCODING 'UTF8'."
            )

    def write_anew(self, *tables: str) -> None:
        """Write tables of a server anew, so that nothing that was replaced stands in their files any more.

        Raises
        ------
        StoreUnavailable
            Somebody reads in them all the while.
        """
        with self._said(), self.engine.connect() as plain:
            conn = plain.execution_options(isolation_level="AUTOCOMMIT")
            conn.exec_driver_sql(f"SET lock_timeout = {int(self.patience_s * 1000)}")
            conn.exec_driver_sql(f"VACUUM (FULL) {', '.join(tables)}")
            conn.exec_driver_sql("RESET lock_timeout")

    def empty_log(self) -> None:
        """Write the log of a file into it and cut it off, so that no replaced page stands there any more.

        Raises
        ------
        StoreUnavailable
            The disk is full.
        """
        with self._said(), self.engine.connect() as conn:
            plain = conn.connection.driver_connection  # within a transaction it would do nothing
            if isinstance(plain, sqlite3.Connection):
                plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    @contextmanager
    def impatient(self, seconds: float) -> Iterator[None]:
        """Wait for other writers only so long in this block: who reads has an answer without writing."""
        before, self.patience_s = self.patience_s, seconds
        try:
            yield
        finally:
            self.patience_s = before

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()

    @contextmanager
    def _said(self, *, writes: bool = False) -> Iterator[None]:
        try:
            yield
        except IntegrityError:
            raise  # a fault of ours, not of the surroundings
        except DBAPIError as error:
            said = str(error.orig)
            if not self.sqlite:
                told = said_by_server(self.name, getattr(error.orig, "sqlstate", None), said)
                raise StoreUnavailable(told or _sentence(self.name, said)) from error
            kind = StoreError if _damaged(said) else StoreUnavailable
            raise kind(_sentence(self.name, said)) from error
        except sqlite3.OperationalError as error:
            raise StoreUnavailable(_sentence(self.name, str(error))) from error
        except UnicodeDecodeError as error:
            # the very words by which the file says how it is made, or what is wrong with them
            raise StoreError(_sentence(self.name, "malformed text")) from error
        except OSError as error:
            if not writes:
                raise
            # a sheet beside the database: the same disk, the same rights
            where = error.filename or self.name
            raise StoreUnavailable(
                f"{where} cannot be written ({error.strerror}). Make room, or mend the permissions."
            ) from error


class _Compiled(LRUCache[Any, Any]):
    """Statements as compiled for SQLite, for every store that this process opens.

    An engine has a cache of its own, so each opening of a store would compile all its statements anew. The
    first part of a key is the engine's dialect: within one process they are alike, since SQLite is the same.
    """

    def get(self, key: Any, default: Any = None) -> Any:
        return super().get(key[1:], default)

    def __setitem__(self, key: Any, value: Any) -> None:
        super().__setitem__(key[1:], value)


_COMPILED = _Compiled(_MOST_COMPILED)


class _OpenWriting(threading.local):
    """The writing connection of this thread, and the one of a steady look, while their blocks last."""

    conn: Connection | None = None
    steady: Connection | None = None


def sqlite_url(file: Path) -> URL:
    """Return the address of an SQLite file."""
    return URL.create("sqlite", database=str(file))


def read_url(text_url: str) -> URL:
    """Parse a database address.

    Raises
    ------
    StoreError
        The address cannot be read, or names a database this program does not know.
    """
    try:
        url = make_url(text_url)
    except Exception as error:
        raise StoreError("The database address cannot be read; write postgresql://user@host/name.") from error
    if url.get_backend_name() not in {"sqlite", "postgresql"}:
        raise StoreError(f"A store can be sqlite or postgresql, not {url.get_backend_name()}.")
    return url.set(drivername="postgresql+psycopg") if url.drivername == "postgresql" else url


def _engine(url: URL, sqlite: bool) -> Engine:
    """Make the engine; a connection given back is rolled back, so that no lock outlives its use."""
    if not sqlite:
        try:
            own = {} if "connect_timeout" in url.query else {"connect_timeout": CONNECT_S}
            return create_engine(url, pool_pre_ping=True, connect_args=own)
        except (ModuleNotFoundError, NoSuchModuleError) as error:
            raise StoreError(
                "PostgreSQL needs the extra packages: install this program with `[postgres]`."
            ) from error
    return create_engine(
        url,
        connect_args={"timeout": PATIENCE_S},
        pool_reset_on_return="rollback",
        execution_options={"compiled_cache": _COMPILED},
    )


def _set_up_sqlite(engine: Engine, patience_s: Callable[[], float]) -> None:
    @event.listens_for(engine, "connect")
    def connect(connection: sqlite3.Connection, _: Any) -> None:
        connection.isolation_level = None  # we say BEGIN ourselves, see below
        connection.execute(f"PRAGMA busy_timeout = {int(PATIENCE_S * 1000)}")
        _use_log(connection)
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA temp_store = MEMORY")

    @event.listens_for(engine, "begin")
    def begin(conn: Connection) -> None:
        # a writer takes the lock at once: upgrading a reader's lock later could fail half-way
        writes = conn.get_execution_options().get("qc_writes", False)
        if writes:
            conn.exec_driver_sql(f"PRAGMA busy_timeout = {int(patience_s() * 1000)}")
        conn.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _use_log(connection: sqlite3.Connection) -> None:
    """Switch to the write-ahead log; SQLite does not wait by itself when two do so at the same instant."""
    for _ in range(max(1, int(PATIENCE_S * 10))):
        try:
            mode = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        except sqlite3.OperationalError as error:
            if "locked" not in str(error):
                raise
            time.sleep(0.1)
            continue
        if mode != "wal":
            raise StoreUnavailable(
                "The store's disk cannot keep a write-ahead log; move the workshop folder."
            )
        return
    raise StoreUnavailable("Another program keeps the store locked; close it and try again.")


def _version(conn: Connection) -> str | None:
    if not inspect(conn).has_table("alembic_version"):
        return None
    return conn.execute(text("SELECT version_num FROM alembic_version")).scalar()


def _counts(version: object) -> bool:
    """Whether this is the number of a migration, from 0001 on, and not what a damaged file says."""
    return isinstance(version, str) and re.fullmatch(r"(?!0000)[0-9]{4}", version, re.ASCII) is not None


def _upgrade(conn: Connection) -> None:
    from alembic import command  # 0.2 s; only a new or an old store pays for it
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = conn
    command.upgrade(config, "head")


def _damaged(said: str) -> bool:
    return "not a database" in said or "malformed" in said


def _sentence(name: str, said: str) -> str:
    if "locked" in said:
        return f"Another program keeps {name} locked. Let it finish, or close it, and try again."
    if "disk is full" in said or "disk I/O" in said:
        return f"The disk of {name} is full or failing ({said}). Make room and try again."
    if "readonly" in said or "unable to open" in said:
        return f"{name} cannot be opened for writing ({said}). Mend the permissions of the workshop folder."
    if _damaged(said):
        return f"{name} is damaged or is no store ({said}). Put back the last backup of the workshop folder."
    return f"The store {name} answered: {said}."

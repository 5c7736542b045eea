"""Does the store still hold what was accepted? Every hash is worked out again."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, func, select, text

from qc.store.chain import START, Entry, content_hash, contents, entries_of
from qc.store.errors import StoreError
from qc.store.keeping.retold import faults_of_told
from qc.store.sheetfiles import SheetFiles, sheet_hash
from qc.store.tables import KEPT, sheet

_AT_ONCE = 50  # entries hashed in one go: bounds the memory, whatever the size of the store
_EMPTY = content_hash({})


def faults_of_store(conn: Connection, files: SheetFiles, sqlite: bool) -> list[str]:
    """Return a sentence for everything that is not as it was accepted; an empty list where all is well."""
    entries = entries_of(conn)
    return [
        *(_damage(conn) if sqlite else ()),
        *(_guards(conn) if sqlite else ()),
        *_chain(entries),
        *_rows(conn, entries),
        *_strays(conn, len(entries)),
        *_sheets(conn, files),
        *faults_of_told(conn),
    ]


def _damage(conn: Connection) -> Iterator[str]:
    for row in conn.execute(text("PRAGMA integrity_check")).scalars():
        if row != "ok":
            yield f"The database file is damaged: {row}."
    for row in conn.execute(text("PRAGMA foreign_key_check")):
        yield f"Row {row[1]} of table {row[0]} names a row of {row[2]} that is not there."


def _guards(conn: Connection) -> Iterator[str]:
    present = set(conn.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).scalars())
    for table in KEPT:
        for verb in ("update", "delete"):
            if f"{table.name}_no_{verb}" not in present:
                yield f"The guard against {verb} on table {table.name} was taken away."


def _chain(entries: list[Entry]) -> Iterator[str]:
    before = START
    for number, entry in enumerate(entries, start=1):
        if entry.id != number:
            yield f"Entry {number} is missing; the next one is {_named(entry)}."
            return
        if entry.before != before:
            yield f"{_named(entry)} does not follow the entry before it: one of the two was altered."
        if entry.hash != entry.own_hash():
            yield f"{_named(entry)} was altered after it was made."
        before = entry.hash


def _rows(conn: Connection, entries: list[Entry]) -> Iterator[str]:
    for at in range(0, len(entries), _AT_ONCE):
        block = entries[at : at + _AT_ONCE]
        found = contents(conn, block[0].id, block[-1].id)
        for entry in block:
            if found.get(entry.id, _EMPTY) != entry.content:
                yield f"{_named(entry)}: its rows are not those that were accepted."


def _strays(conn: Connection, last: int) -> Iterator[str]:
    # origins and places name no entry: they are hashed with the readings that name them
    for table in (one for one in KEPT if "entry" in one.c):
        count = conn.execute(
            select(func.count()).select_from(table).where((table.c.entry > last) | (table.c.entry < 1))
        ).scalar_one()
        if count:
            yield f"{count} rows of table {table.name} belong to no entry."


def _sheets(conn: Connection, files: SheetFiles) -> Iterator[str]:
    for row in conn.execute(select(sheet.c.hash, sheet.c.file, sheet.c.entry).order_by(sheet.c.id)):
        try:
            data = files.read(row.hash)
        except StoreError:
            yield f"The sheet {row.file} (entry {row.entry}) is missing: no file sheets/{row.hash}."
            continue
        except OSError as error:
            yield f"The sheet {row.file} (entry {row.entry}) cannot be read: {error.strerror}."
            continue
        if sheet_hash(data) != row.hash:
            yield f"The sheet {row.file} (entry {row.entry}) was altered: sheets/{row.hash}."


def _named(entry: Entry) -> str:
    about = f", {entry.note}" if entry.note else ""
    return f"Entry {entry.id} ({entry.kind} by {entry.who} on {entry.when:%Y-%m-%d}{about})"

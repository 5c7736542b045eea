"""Does the store still hold what was accepted? Every hash is worked out again."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from polars.exceptions import PolarsError
from sqlalchemy import Connection, func, select, text
from sqlalchemy.exc import SQLAlchemyError

from qc.store.chain import START, Entry, content_hash, contents, entries_of, rows_by_entry
from qc.store.errors import StoreError
from qc.store.keeping.closed import faults_of_reports
from qc.store.keeping.erased import contents_since_erased
from qc.store.keeping.guards import faults_of_guards
from qc.store.keeping.persons import faults_of_persons
from qc.store.keeping.retold import faults_of_told
from qc.store.keeping.values import faults_of_texts, faults_of_values
from qc.store.postgresql import faults_of_building
from qc.store.sheetfiles import Lying, SheetFiles, SheetNotPlain, sheet_hash
from qc.store.tables import KEPT, origin, reading, sheet, unread

_AT_ONCE = 50
"""Entries hashed in one go; more would save nothing."""

_ROWS_AT_ONCE = 10_000
"""Rows hashed in one go, one entry may have more: a part of a history has as many; chosen, some twenty
megabytes. It bounds the memory, whatever the size of the store."""

_EMPTY = content_hash({})
_NAMED = 3  # sheets without an entry that are named one by one
UNREADABLE = (
    *(ValueError, TypeError, KeyError, OverflowError),
    *(zlib.error, PolarsError, SQLAlchemyError, sqlite3.Error),
)
"""What reading answers where a row holds what no row of ours can hold."""


def faults_of_store(
    conn: Connection, files: SheetFiles, lying: Lying, reports: Path, sqlite: bool
) -> list[str]:
    """Return a sentence for everything that is not as it was accepted; an empty list where all is well.

    Parameters
    ----------
    conn : sqlalchemy.Connection
        A reading connection.
    files : SheetFiles
        The sheets.
    lying : Lying
        What lay among them before `conn` began to read, so that a sheet that comes in meanwhile is no stray.
    reports : pathlib.Path
        The folder in which the reports of closed months lie.
    sqlite : bool
        Whether the database is one file of SQLite.
    """
    found: list[str] = []
    if sqlite:
        found += _tried("The database file", _damage(conn))
        found += _tried("What the database is built of", faults_of_guards(conn))
        found += _tried("The values of the database", faults_of_values(conn))
    else:
        found += _tried("What the database is built of", faults_of_building(conn))
    before = len(found)
    try:
        entries = entries_of(conn)
    except UNREADABLE as error:
        found.append(f"The entries cannot be read ({_why(error)}). {_RESTORE}")
    else:
        found += _chain(entries)
        found += _rows(conn, entries)
        found += _tried("The rows of the tables", _strays(conn, len(entries)))
    found += _tried("The list of sheets", _sheets(conn, files))
    found += _tried("The list of sheets", _unnamed(conn, lying))
    found += _tried("What was told", faults_of_told(conn))
    found += _tried("The list of closed months", faults_of_reports(conn, reports))
    found += _tried("The list of people", faults_of_persons(conn))
    if sqlite and len(found) > before:
        found += _tried("The texts of the database", faults_of_texts(conn))
    return found


_RESTORE = "Put back the last backup (`qc restore`)."


def _tried(what: str, faults: Iterable[str]) -> Iterator[str]:
    """Yield faults; where even looking for them fails, that is one."""
    try:
        yield from faults
    except UNREADABLE as error:
        yield f"{what} cannot be read to the end ({_why(error)}). {_RESTORE}"


def _why(error: BaseException) -> str:
    said = str(getattr(error, "orig", None) or error).splitlines()
    return said[0] if said and said[0] else type(error).__name__


def _damage(conn: Connection) -> Iterator[str]:
    for row in conn.execute(text("PRAGMA integrity_check")).scalars():
        if row != "ok":
            yield f"The database file is damaged: {row}."
    for row in conn.execute(text("PRAGMA foreign_key_check")):
        yield f"Row {row[1]} of table {row[0]} names a row of {row[2]} that is not there."


def _chain(entries: list[Entry]) -> Iterator[str]:
    before = START
    for number, entry in enumerate(entries, start=1):
        if entry.id != number:
            yield f"Entry {number} is missing; the next one is {_named(entry)}."
            return
        if entry.before != before:
            yield f"{_named(entry)} does not follow the entry before it: one of the two was altered."
        if _own_hash(entry) != entry.hash:
            yield f"{_named(entry)} was altered after it was made."
        before = entry.hash


def _own_hash(entry: Entry) -> str:
    try:
        return entry.own_hash()
    except UNREADABLE:
        return ""


def _rows(conn: Connection, entries: list[Entry]) -> Iterator[str]:
    for block in _blocks(conn, [*_since_erased(conn, entries)]):
        try:
            found = contents(conn, block[0].id, block[-1].id)
        except UNREADABLE:  # one row spoils the whole block: each entry by itself
            yield from _one_by_one(conn, block)
            continue
        for entry in block:
            if found.get(entry.id, _EMPTY) != entry.content:
                yield f"{_named(entry)}: its rows are not those that were accepted."


def _blocks(conn: Connection, entries: list[Entry]) -> Iterator[list[Entry]]:
    """Yield the entries in order, as many together as have few enough rows."""
    try:
        sizes = rows_by_entry(conn)
    except UNREADABLE:
        sizes = {}  # what cannot be counted is named where it is read
    block: list[Entry] = []
    rows = 0
    for entry in entries:
        own = sizes.get(entry.id, 0)
        if block and (len(block) == _AT_ONCE or rows + own > _ROWS_AT_ONCE):
            yield block
            block, rows = [], 0
        block.append(entry)
        rows += own
    if block:
        yield block


def _since_erased(conn: Connection, entries: list[Entry]) -> Iterator[Entry]:
    """Yield the entries with what their rows hash to since names were taken out of them, and nothing else."""
    try:
        erased = contents_since_erased(conn)
    except UNREADABLE:
        erased = {}  # the entry of the erasure is named as one whose rows cannot be read
    for entry in entries:
        yield replace(entry, content=erased[entry.id]) if entry.id in erased else entry


def _one_by_one(conn: Connection, entries: list[Entry]) -> Iterator[str]:
    for entry in entries:
        try:
            found = contents(conn, entry.id, entry.id)
        except UNREADABLE as error:
            yield (
                f"{_named(entry)}: its rows are not those that were accepted, they cannot even be read "
                f"({_why(error)})."
            )
            continue
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
    named = select(reading.c.id).where(reading.c.origin == origin.c.id).exists()
    count = conn.execute(select(func.count()).select_from(origin).where(~named)).scalar_one()
    if count:
        yield f"{count} rows of table origin belong to no reading."


def _sheets(conn: Connection, files: SheetFiles) -> Iterator[str]:
    taken: set[str] = set()
    for table in (sheet, unread):
        for row in conn.execute(select(table.c.hash, table.c.file, table.c.entry).order_by(table.c.id)):
            if row.hash not in taken:
                yield from _as_handed_in(files, row.hash, f"The sheet {row.file} (entry {row.entry})")
            taken.add(row.hash)


def _as_handed_in(files: SheetFiles, digest: str, name: str) -> Iterator[str]:
    """Yield what is wrong with one sheet on the disk, whatever stands in its row."""
    try:
        data = files.read(digest)
    except SheetNotPlain as error:
        yield f"{name} cannot be read. {error}"
        return
    except StoreError:
        yield f"{name} is missing: no file sheets/{digest}."
        return
    except OSError as error:
        yield f"{name} cannot be read: {error.strerror}."
        return
    if sheet_hash(data) != digest:
        yield f"{name} was altered: sheets/{digest}."


def _unnamed(conn: Connection, lying: Lying) -> Iterator[str]:
    """Yield sheets that no entry names; what an interrupted upload left is known as that and no fault."""
    named = {row.hash for table in (sheet, unread) for row in conn.execute(select(table.c.hash))}
    strays = sorted(lying.whole - lying.announced - named)
    if len(strays) > _NAMED:
        yield (
            f"{len(strays)} files in sheets/ are named by no entry, the first is {strays[0]}: the database "
            f"was emptied or is not the one of these sheets. {_RESTORE}"
        )
        return
    for name in strays:
        yield (
            f"The file sheets/{name} is named by no entry: it was put there by hand, or its entry is gone. "
            "Compare with the last backup; upload it again if it is a sheet of yours, else take it away."
        )


def _named(entry: Entry) -> str:
    about = f", {entry.note}" if entry.note else ""
    return f"Entry {entry.id} ({entry.kind} by {entry.who} on {entry.when:%Y-%m-%d}{about})"

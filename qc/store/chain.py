"""The chain of entries: each holds the hash of what it brought and of the entry before.

Whoever changes, adds or removes a row behind the program's back breaks the hash of its entry; whoever mends
that hash breaks every later one.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

import polars as pl
from sqlalchemy import Connection, Select, case, func, select
from sqlalchemy.sql.elements import ColumnElement

from qc.plan import PLACE
from qc.sayings import OF_SERIES
from qc.store.frames import fetch
from qc.store.tables import (
    FIGURE,
    HAPPENING,
    ORIGIN,
    entry,
    erasure,
    event,
    held,
    held_event,
    judgement,
    mapping_version,
    month_file,
    origin,
    person_event,
    piece_event,
    place,
    plan_version,
    reading,
    sheet,
    signal_event,
    taken_back,
    told,
    unread,
    unread_event,
)

START = "0" * 64
"""What the first entry names as the entry before."""

EntryKind = Literal[
    "sheet",
    "mend",
    "asked",
    "correction",
    "withdrawal",
    "undo",
    "plan",
    "mapping",
    "signal",
    "series",
    "piece",
    "month",
    "person",
    "erasure",
    "unread",
    "verdict",
]
"""What an entry brought: a sheet, mended rows, what was asked about a mend, a corrected reading, one taken
back, a decision about a held row taken back, a plan, what headings of benches mean, words on a signal,
series or piece, the report of a closed month, a person's coming, role or leaving, a name taken out of
earlier texts, a sheet that waits for its layout or was put away, or what the program told after it had
judged."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Entry:
    """One accepted change.

    Attributes
    ----------
    id : int
        1, 2, 3 ... without gaps.
    kind : str
        An `EntryKind`.
    who : str
        Code of the person.
    when : datetime
        Moment of entry, UTC.
    note : str
        What it was about, in words: a file name, a reason.
    content, before, hash : str
        SHA-256 of the rows it brought, of the entry before, and of the entry itself.
    """

    id: int
    kind: str
    who: str
    when: datetime
    note: str
    content: str
    before: str
    hash: str

    def to_dict(self) -> dict[str, object]:
        """Return plain values, the moment as ISO text."""
        return {**asdict(self), "when": self.when.isoformat()}

    def own_hash(self) -> str:
        """Return the hash that this entry must have."""
        parts = [self.id, self.kind, self.who, micros_of(self.when), self.note, self.content, self.before]
        return _sha(parts)


def last_entry(conn: Connection) -> tuple[int, str]:
    """Return number and hash of the newest entry; 0 and `START` in an empty store."""
    row = conn.execute(select(entry.c.id, entry.c.hash).order_by(entry.c.id.desc()).limit(1)).first()
    return (0, START) if row is None else (row.id, row.hash)


def next_entry(conn: Connection) -> int:
    """Return the number that the next change will have."""
    return last_entry(conn)[0] + 1


def append_entry(
    conn: Connection, kind: EntryKind, who: str, when: datetime, note: str, tables: Sequence[str]
) -> Entry:
    """Close a change: hash the rows that name the next entry, and write that entry.

    Parameters
    ----------
    conn : sqlalchemy.Connection
        The writing connection; its rows with ``entry = last + 1`` are what is being accepted.
    kind, who, when, note
        As in `Entry`.
    tables : sequence of str
        The tables in which there are such rows.
    """
    return append_entries(conn, kind, who, when, [note], tables)[0]


def append_entries(
    conn: Connection, kind: EntryKind, who: str, when: datetime, notes: Sequence[str], tables: Sequence[str]
) -> list[Entry]:
    """Close several changes of one kind, an entry for each note, as `append_entry` closes one.

    The rows of the first name ``last + 1``, those of the second ``last + 2``, and so on; all are read and
    all entries written at once.
    """
    last, before = last_entry(conn)
    found = contents(conn, last + 1, last + len(notes), tables)
    signed: list[Entry] = []
    for number, note in enumerate(notes, last + 1):
        content = found.get(number, content_hash({}))
        unsigned = Entry(number, kind, who, when, note, content, before, "")
        signed.append(replace(unsigned, hash=unsigned.own_hash()))
        before = signed[-1].hash
    rows = [
        {**{k: v for k, v in asdict(one).items() if k != "when"}, "at": micros_of(when)} for one in signed
    ]
    conn.execute(entry.insert(), rows)
    return signed


def entries_of(conn: Connection, since: int = 0) -> list[Entry]:
    """Return the entries after number `since`, oldest first."""
    rows = conn.execute(select(entry).where(entry.c.id > since).order_by(entry.c.id))
    return [Entry(r.id, r.kind, r.who, moment_of(r.at), r.note, r.content, r.before, r.hash) for r in rows]


def contents(conn: Connection, first: int, last: int, tables: Sequence[str] | None = None) -> dict[int, str]:
    """Return the hash of the rows of each entry from `first` to `last`, read from the database.

    Writing and verifying both come here, so what is hashed is what the database gives back.
    """
    found: dict[int, dict[str, dict[str, pl.Series]]] = {}
    for name, (statement, number, columns) in _STATEMENTS.items():
        if tables is not None and name not in tables:
            continue
        within = statement.where(number.between(first, last)).order_by(number)
        frame = fetch(conn, within.order_by(statement.selected_columns["id"]), columns)
        for (key,), rows in frame.group_by("entry", maintain_order=True):
            found.setdefault(int(str(key)), {})[name] = rows.drop("entry").to_dict()
    return {key: content_hash(rows) for key, rows in found.items()}


def content_hash(rows: Mapping[str, Mapping[str, list[Any] | pl.Series]]) -> str:
    """Return the hash of rows given as table to column to values.

    Columns in which nothing stands are left out, so that a column that a later release adds does not change
    the hash of what was accepted before. It is that of one JSON text with tables and columns in the order of
    their names; only one column of it is ever there at once.
    """
    digest = hashlib.sha256(b"{")
    for number, (table, columns) in enumerate(sorted(rows.items())):
        digest.update(f"{',' if number else ''}{_json(table)}:{{".encode("ascii"))
        begun = ""
        for name in sorted(columns):
            values = columns[name]
            values = values.to_list() if isinstance(values, pl.Series) else values
            if any(v is not None for v in values):
                digest.update(f"{begun}{_json(name)}:{_json(values)}".encode("ascii"))
                begun = ","
        digest.update(b"}")
    digest.update(b"}")
    return digest.hexdigest()


def rows_by_entry(conn: Connection) -> dict[int, int]:
    """Return how many rows each entry brought, of the tables that take many; others have a few an entry."""
    found: dict[int, int] = {}
    for table in (reading, event, held):
        counted = select(table.c.entry, func.count()).group_by(table.c.entry)
        for number, rows in conn.execute(counted):
            found[number] = found.get(number, 0) + rows
    return found


def moment_of(micros: int) -> datetime:
    """Turn stored microseconds into a moment, exactly."""
    return _EPOCH + timedelta(microseconds=micros)


def micros_of(when: datetime) -> int:
    """Turn a moment into the microseconds that are stored."""
    return (when - _EPOCH) // timedelta(microseconds=1)


def _sha(value: object) -> str:
    return hashlib.sha256(_json(value).encode("ascii")).hexdigest()


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False, default=bytes.hex)


_Named = tuple[Select[Any], ColumnElement[Any], dict[str, str]]


def _plain(table: Any, **kinds: str) -> _Named:
    columns = {column.name: kinds.get(column.name, "str") for column in table.c}
    return select(*table.c), table.c.entry, columns


def _reading_content() -> _Named:
    """Hash a reading as the one row it came as, however many tables it is kept in."""
    own = {"id": "int", "entry": "int", "replaces": "int", "fingerprint": "bytes", **FIGURE}
    shared = {**ORIGIN, **PLACE}
    statement = (
        select(
            *(reading.c[name] for name in own),
            *(origin.c[name] for name in ORIGIN),
            *(place.c[name] for name in PLACE),
            origin.c.sheet,
        )
        .join_from(reading, origin, reading.c.origin == origin.c.id)
        .join(place, reading.c.place == place.c.id)
    )
    return statement, reading.c.entry, {**own, **shared, "sheet": "int"}


def _signal_event_content() -> _Named:
    """Hash the two serials of a decision about a series as its cause and action.

    There they stood when the first decisions were accepted, and a hash cannot be made anew. What a decision
    has in those columns now is hashed in exchange, so that nothing can be put there unseen.
    """
    own: dict[str, ColumnElement[Any]] = {column.name: column for column in signal_event.c}
    decided = signal_event.c.what.in_(OF_SERIES)
    for old, new in (("cause", "first_serial"), ("action", "last_serial")):
        was, now = signal_event.c[old], signal_event.c[new]
        own[old] = case((decided, now), else_=was).label(old)
        own[new] = case((decided, func.nullif(was, "")), else_=now).label(new)
    columns = {name: "int" if name in {"id", "entry"} else "str" for name in own}
    return select(*own.values()), signal_event.c.entry, columns


_ROW = {"id": "int", "entry": "int", "sheet": "int", "fingerprint": "bytes"}
_STATEMENTS: dict[str, _Named] = {
    "sheet": _plain(sheet, id="int", entry="int", size="int"),
    "unread": _plain(unread, id="int", entry="int", size="int"),
    "unread_event": _plain(unread_event, id="int", entry="int", unread="int"),
    "reading": _reading_content(),
    "event": _plain(event, **_ROW, replaces="int", **HAPPENING),
    "held": _plain(held, **_ROW, row="int"),
    "held_event": _plain(held_event, id="int", entry="int", held="int"),
    "taken_back": _plain(
        taken_back, id="int", entry="int", reading="int", event="int", decision="int", waits_as="int"
    ),
    "plan_version": _plain(plan_version, id="int", entry="int"),
    "mapping_version": _plain(mapping_version, id="int", entry="int"),
    "signal_event": _signal_event_content(),
    "piece_event": _plain(piece_event, id="int", entry="int"),
    "month_file": _plain(month_file, id="int", entry="int"),
    "person_event": _plain(person_event, id="int", entry="int"),
    "erasure": _plain(erasure, id="int", entry="int", plan="int"),
    "judgement": _plain(
        judgement, id="int", entry="int", plan="int", readings="int", events="int", upto="int"
    ),
    "told": _plain(told, id="int", entry="int", as_in="int", body="bytes"),
}

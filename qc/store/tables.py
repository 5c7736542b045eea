"""The tables of the store.

One **entry** stands for one accepted change: who, when, and the hash of everything it brought, chained to
the entry before. Rows name their entry and are never changed or deleted afterwards; the database itself
refuses it. Only `verdict`, `signal` and `state`, which can be worked out again from the rows, are rewritten;
what was told by them stays in `judgement` and `told`. What must be forgettable (names, passwords, who is
signed in) stands in `person` and `session`; the history in `person_event` keeps hashes of it, salted.

A reading is kept in three parts, since most of a sheet says the same thing over and over: `origin` (which
piece, what, when, by whom, with what), `place` (where on the piece) and `reading` (the figure). The view
``all_readings`` joins them for anyone who looks in with a database tool.

Moments are whole microseconds since 1970 UTC, days ISO text, yes and no 1 and 0: the same in every dialect.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
)
from sqlalchemy.schema import SchemaItem

from qc.plan import EVENT, HELD, PLACE
from qc.store.fingerprint import DAY_BYTES, HASH_BYTES

HEAD = "0012"
"""The newest migration; a store that says so needs no Alembic to be opened."""

MOST_NAMES = 10_000
"""Values in one IN (...); longer lists are asked for in parts.

A statement may carry 32,766 variables in SQLite (its documentation, "Implementation Limits For SQLite",
item 9) and 65,535 in PostgreSQL (its documentation, "PostgreSQL Limits").
"""

metadata = MetaData()

_NUMBER = BigInteger().with_variant(Integer, "sqlite")  # SQLite keeps its row number only in an INTEGER
_TYPES = {
    "str": Text,
    "int": BigInteger,
    "float": Double,
    "bool": Integer,
    "date": Text,
    "datetime": BigInteger,
}


def _key() -> Column[int]:
    return Column("id", _NUMBER, primary_key=True, autoincrement=False)


def _entry_key() -> ForeignKey:
    # checked at the commit: an entry holds the hash of its rows, so it is written after them
    return ForeignKey("entry.id", deferrable=True, initially="DEFERRED")


def _entry() -> Column[int]:
    return Column("entry", _NUMBER, _entry_key(), nullable=False)


def _sheet(nullable: bool = True) -> Column[int]:
    return Column("sheet", _NUMBER, ForeignKey("sheet.id"), nullable=nullable)


def _mark() -> Column[bytes]:
    return Column("fingerprint", LargeBinary(DAY_BYTES + HASH_BYTES), nullable=False)


def _accepted(name: str, *parts: SchemaItem) -> Table:
    """Return a table whose rows name the entry they came with, found by it when that is verified."""
    return Table(name, metadata, _key(), _entry(), *parts, Index(f"{name}_entry", "entry"))


ORIGIN: dict[str, str] = {
    "tab": "str",
    "measured_at": "datetime",
    "offset_min": "int",
    "has_time": "bool",
    "day": "date",
    "entered_at": "datetime",
    "serial": "str",
    "model": "str",
    "stage": "str",
    "characteristic": "str",
    "unit": "str",
    "person": "str",
    "gauge": "str",
    "tool": "str",
    "batch": "str",
    "air_c": "float",
    "method": "str",
}
"""What many readings of a sheet have in common."""

FIGURE: dict[str, str] = {
    "repeat": "int",
    "value": "float",
    "text": "str",
    "tool_count": "int",
    "note": "str",
    "row": "int",
    "column": "str",
}
"""What each reading has for itself."""

HAPPENING: dict[str, str] = {name: kind for name, kind in EVENT.items() if name != "sheet"}
"""The columns of an event; its sheet is a reference."""

WAITING: dict[str, str] = {name: kind for name, kind in HELD.items() if name not in {"sheet", "file"}}
"""The columns of a held row; its sheet is a reference, and the sheet knows its file."""

entry = Table(
    "entry",
    metadata,
    _key(),
    Column("kind", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("at", BigInteger, nullable=False),
    Column("note", Text, nullable=False),
    Column("content", Text, nullable=False),
    Column("before", Text, nullable=False),
    Column("hash", Text, nullable=False, unique=True),
)

sheet = _accepted(
    "sheet",
    Column("hash", Text, nullable=False, unique=True),
    Column("file", Text, nullable=False),
    Column("card", Text, nullable=False),
    Column("size", BigInteger, nullable=False),
    Column("entered_as", Text),  # of what was typed at the bench: the id that the tablet gave it
    Index("sheet_entered_as", "entered_as", unique=True),
)

unread = _accepted(  # a sheet whose layout nobody has shown yet
    "unread",
    Column("hash", Text, nullable=False, unique=True),
    Column("file", Text, nullable=False),
    Column("size", BigInteger, nullable=False),
    Column("refusal", Text, nullable=False),
)

unread_event = _accepted(
    "unread_event",
    Column("unread", _NUMBER, ForeignKey("unread.id"), nullable=False),
    Column("state", Text, nullable=False),
    Column("note", Text, nullable=False),
)

place = Table("place", metadata, _key(), *(Column(name, _TYPES[kind]) for name, kind in PLACE.items()))

origin = Table(
    "origin",
    metadata,
    _key(),
    _sheet(),
    *(Column(name, _TYPES[kind]) for name, kind in ORIGIN.items()),
    Index("origin_what", "stage", "characteristic", "model"),
    Index("origin_made", "stage", "characteristic", "day"),
    Index("origin_serial", "serial"),
    Index("origin_day", "day"),
)

reading = _accepted(
    "reading",
    Column("origin", _NUMBER, ForeignKey("origin.id"), nullable=False),
    Column("place", _NUMBER, ForeignKey("place.id"), nullable=False),
    *(Column(name, _TYPES[kind], nullable=name != "value") for name, kind in FIGURE.items()),
    Column("replaces", _NUMBER, ForeignKey("reading.id")),
    _mark(),
    Index("reading_origin", "origin"),
    Index("reading_fingerprint", "fingerprint"),
)
# few rows replace another: an index of those alone keeps "which ones are replaced" free of charge. PostgreSQL
# has it so by its migration; said here too, it would have every command load that dialect.
Index("reading_replaces", reading.c.replaces, sqlite_where=reading.c.replaces.is_not(None))

event = _accepted(
    "event",
    _sheet(),
    *(Column(name, _TYPES[kind]) for name, kind in HAPPENING.items()),
    Column("replaces", _NUMBER, ForeignKey("event.id")),
    _mark(),
    Index("event_kind", "kind", "day"),
    Index("event_serial", "serial"),
    Index("event_subject", "subject"),
    Index("event_fingerprint", "fingerprint"),
)

held = _accepted(
    "held",
    _sheet(nullable=False),
    *(
        Column(name, _TYPES[kind], nullable=name not in {"reasons", "proposal", "typed"})
        for name, kind in WAITING.items()
    ),
    _mark(),
    Index("held_sheet", "sheet"),
    Index("held_fingerprint", "fingerprint"),
)

held_event = _accepted(
    "held_event",
    Column("held", _NUMBER, ForeignKey("held.id"), nullable=False, unique=True),
    Column("state", Text, nullable=False),
    Column("note", Text, nullable=False),
)

taken_back = _accepted(
    "taken_back",
    # one of the three is named: what was accepted, or decided, and holds no longer
    Column("reading", _NUMBER, ForeignKey("reading.id"), unique=True),
    Column("event", _NUMBER, ForeignKey("event.id"), unique=True),
    Column("decision", _NUMBER, ForeignKey("held_event.id"), unique=True),
    Column("waits_as", _NUMBER, ForeignKey("held.id")),  # the held row that waits again
)

plan_version = Table(
    "plan_version",
    metadata,
    _key(),
    _entry(),
    Column("hash", Text, nullable=False),
    Column("text", Text, nullable=False),
)

mapping_version = _accepted(
    "mapping_version",
    Column("hash", Text, nullable=False),
    Column("text", Text, nullable=False),
)

verdict = Table(
    "verdict",
    metadata,
    Column("series", Text, primary_key=True),
    Column("as_of", Text, primary_key=True),
    Column("body", LargeBinary, nullable=False),
)

signal = Table(
    "signal",
    metadata,
    Column("id", Text, primary_key=True),
    Column("series", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("first_as_of", Text, nullable=False),
    Column("last_as_of", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("number", Integer),
    Index("signal_series", "series"),
)

signal_event = _accepted(
    "signal_event",
    Column("signal", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("cause", Text, nullable=False),
    Column("action", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("first_serial", Text),  # of a decision about a series: where it begins and ends
    Column("last_serial", Text),
    Column("outcome", Text),  # of a closing: mended or stays
    Column("from_serial", Text),  # the first piece after a mend
    Column("role", Text),  # of who said it
    Index("signal_event_signal", "signal"),
)

piece_event = _accepted(
    "piece_event",
    Column("serial", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("stage", Text, nullable=False),  # of the figure it was on the list for; empty where for none
    Column("characteristic", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("rests_on", Text, nullable=False),  # what was known then, in one line
    Column("text", Text, nullable=False),
    Index("piece_event_serial", "serial"),
)

month_file = _accepted(
    "month_file",
    Column("month", Text, nullable=False),
    Column("file", Text, nullable=False),
    Column("hash", Text, nullable=False),
)

person_event = _accepted(
    "person_event",
    Column("code", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("mark", Text),  # salted hash of the name, or of what a person signs in with
    Index("person_event_code", "code"),
)

erasure = _accepted(
    "erasure",
    Column("code", Text, nullable=False),  # whose name was taken out of a text of the plan
    Column("plan", _NUMBER, ForeignKey("plan_version.id"), nullable=False),
    Column("hash", Text, nullable=False),  # of the new text
    Column("content", Text, nullable=False),  # what the entry of that text hashes to from now on
)

person = Table(
    "person",
    metadata,
    Column("code", Text, primary_key=True),
    Column("name", Text),
    Column("salt", Text),
    Column("pin", Text),  # all three as hashes
    Column("password", Text),
    Column("once", Text),
    Column("once_until", BigInteger),
    Column("failures", BigInteger, nullable=False),
    Column("locked_until", BigInteger),
)

session = Table(
    "session",
    metadata,
    Column("digest", Text, primary_key=True),  # of the cookie, which stands nowhere
    Column("code", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("begun", BigInteger, nullable=False),
    Column("seen", BigInteger, nullable=False),
)

judgement = _accepted(
    "judgement",
    Column("how", Text, nullable=False),
    Column("program", Text, nullable=False),  # fingerprint of the statistics
    Column("plan", _NUMBER, ForeignKey("plan_version.id")),
    Column("readings", _NUMBER, nullable=False),  # the newest card, event and entry that were looked at
    Column("events", _NUMBER, nullable=False),
    Column("upto", _NUMBER, nullable=False),
    Column("mark", Text),  # up to where all is judged, as it is kept among the states
)

told = _accepted(
    "told",
    Column("series", Text, nullable=False),
    Column("day", Text, nullable=False),
    Column("verdict", Text, nullable=False),  # hash of the whole verdict, its points included
    Column("state", Text, nullable=False),  # hash of how far the series was judged
    Column("as_in", _NUMBER, ForeignKey("told.id")),  # the row that said the same and has the body
    Column("body", LargeBinary),
    Index("told_series", "series", "id"),
)

state = Table("state", metadata, Column("key", Text, primary_key=True), Column("value", Text, nullable=False))

incoming = Table(
    "incoming",
    MetaData(),
    _mark(),
    prefixes=["TEMPORARY"],
)
"""Fingerprints of one upload, for as long as it takes to look them up."""

KEPT: tuple[Table, ...] = (
    entry,
    sheet,
    unread,
    unread_event,
    place,
    origin,
    reading,
    event,
    held,
    held_event,
    taken_back,
    plan_version,
    mapping_version,
    signal_event,
    piece_event,
    month_file,
    person_event,
    erasure,
    judgement,
    told,
)
"""Tables whose rows are never changed or deleted."""

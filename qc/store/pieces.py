"""What judging asks of a few pieces: what is new, what was recorded around them, what was measured before.

Judging follows the rows and is not one transaction with them, so whatever came between (a power cut, a lock,
a full disk) may have kept it from being done. The mark is kept with the verdicts; what is newer waits.

Every question here is answered from an index by serial, by day or by number, so that the answer takes as long
in a store of ten million readings as in one of ten thousand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any, Self

import polars as pl
from sqlalchemy import Connection, Select, exists, func, select
from sqlalchemy.sql.elements import ColumnElement

from qc.plain import JsonObject
from qc.sayings import OF_SERIES, REMARKS
from qc.store.chain import moment_of
from qc.store.frames import fetch, in_parts, restored
from qc.store.queries import gone_readings
from qc.store.rows import last_id
from qc.store.tables import entry, event, origin, plan_version, reading, signal, signal_event, taken_back

AROUND: dict[str, str] = {
    "serial": "str",
    "model": "str",
    "stage": "str",
    "characteristic": "str",
    "day": "date",
    "person": "str",
    "gauge": "str",
    "tool": "str",
    "batch": "str",
}
"""What was recorded around readings."""


UNKNOWN = -1
"""Stands for an entry or a plan version in a mark made before marks told of them."""

PLAN, TOLD = "plan", "verdict"
QUIET = (TOLD, "piece", "month", "person", "erasure", "unread", "asked")
"""Kinds of entries that bring nothing to judge: what was told, words on pieces and people, closed months,
sheets that nobody could read, what was asked about a mend."""


@dataclass(frozen=True, slots=True)
class JudgedUpTo:
    """How far a workshop is judged, or how far it goes: the newest card, event, entry and plan version."""

    readings: int = 0
    events: int = 0
    entry: int = 0
    plan: int = 0

    @classmethod
    def of(cls, kept: Any) -> Self:
        """Read what was kept: names and numbers, two numbers in older stores, nothing before any judging."""
        if isinstance(kept, Mapping):
            return cls(**{name: int(kept[name]) for name in ("readings", "events", "entry", "plan")})
        return cls(int(kept[0]), int(kept[1]), UNKNOWN, UNKNOWN) if kept else cls()

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Waiting:
    """What was accepted after a mark.

    Attributes
    ----------
    since : datetime
        Moment of the oldest of it, UTC.
    newest : datetime or None
        Moment of the newest sheet or saying; None where only the plan changed.
    series : frozenset of str
        Series of which something was decided, or of a signal of which something was said that counts.
    everything : bool
        Whether every series waits: the plan changed, or the mark does not tell.
    now : JudgedUpTo
        The mark that holds once all of it is judged.
    """

    since: datetime
    newest: datetime | None
    series: frozenset[str]
    everything: bool
    now: JudgedUpTo


@dataclass(frozen=True, slots=True)
class News:
    """What came into the store after a mark.

    Attributes
    ----------
    readings : polars.DataFrame
        `stage`, `characteristic`, `model`, `serial`, `day` of the readings that came, and of those that were
        replaced or taken back.
    events : polars.DataFrame
        `kind`, `serial`, `subject`, `stage`, `day`, of those taken back too.
    mark : tuple of int
        To be given the next time: the newest card, event and entry.
    """

    readings: pl.DataFrame
    events: pl.DataFrame
    mark: tuple[int, int, int]


def read_news(conn: Connection, mark: tuple[int, int, int]) -> News:
    """Return what came in after `mark`; (0, 0, 0) stands for everything."""
    columns = {name: AROUND[name] for name in ("stage", "characteristic", "model", "serial", "day")}
    own = [origin.c[name] for name in columns]
    fresh = fetch(conn, select(*own).where(origin.c.id > mark[0]), columns, many=True)
    newer, older = reading.alias(), reading.alias()
    replaced = (
        select(*own)
        .join(older, older.c.origin == origin.c.id)
        .join(newer, newer.c.replaces == older.c.id)
        .where(newer.c.replaces.is_not(None), newer.c.origin > mark[0])
    )
    since = taken_back.c.entry > mark[2]
    withdrawn = (
        select(*own)
        .join(reading, reading.c.origin == origin.c.id)
        .join(taken_back, taken_back.c.reading == reading.c.id)
        .where(since)
    )
    parts = [fresh, *(fetch(conn, one, columns) for one in (replaced, withdrawn))]
    readings = restored(pl.concat(parts), columns).unique()
    happened = {"kind": "str", "serial": "str", "subject": "str", "stage": "str", "day": "date"}
    asked = select(*(event.c[n] for n in happened))
    undone = asked.join(taken_back, taken_back.c.event == event.c.id).where(since)
    events = pl.concat([fetch(conn, one, happened) for one in (asked.where(event.c.id > mark[1]), undone)])
    return News(readings, restored(events, happened), read_mark(conn))


def read_mark(conn: Connection) -> tuple[int, int, int]:
    """Return the mark after which everything is news: the one writer numbers all of it upwards."""
    return last_id(conn, origin), last_id(conn, event), last_id(conn, entry)


def read_reached(conn: Connection) -> JudgedUpTo:
    """Return the mark that holds once everything accepted so far is judged."""
    version = conn.execute(select(func.max(plan_version.c.id))).scalar() or 0
    # what was told is no news to judge: judging anew by the same mark comes to the same mark
    newest = conn.execute(select(func.max(entry.c.id)).where(entry.c.kind != TOLD)).scalar() or 0
    return JudgedUpTo(last_id(conn, origin), last_id(conn, event), newest, version)


def read_waiting(conn: Connection, mark: JudgedUpTo) -> Waiting | None:
    """Return what waits after a mark, None where nothing does."""
    now = read_reached(conn)
    # without a reading there is no series that a plan could change
    everything = bool(now.readings) and (now.plan > mark.plan or mark.entry == UNKNOWN)
    newer = entry.c.id > max(mark.entry, 0)
    kinds = QUIET if everything else (*QUIET, PLAN)  # no word on a piece or a person changes a series
    since = conn.execute(select(func.min(entry.c.id)).where(newer, entry.c.kind.not_in(kinds))).scalar()
    if mark.entry == UNKNOWN:
        since = _oldest_row(conn, mark) or now.entry
        if not everything:
            return None
    if since is None:
        return None
    rows = select(func.max(entry.c.at)).where(newer, entry.c.kind.not_in((*QUIET, PLAN)))
    newest = conn.execute(rows).scalar()
    return Waiting(
        since=moment_of(conn.execute(select(entry.c.at).where(entry.c.id == since)).scalar_one()),
        newest=None if newest is None else moment_of(newest),
        series=_said_of(conn, mark),
        everything=everything,
        now=now,
    )


def measured_kinds(conn: Connection) -> list[tuple[str, str, str]]:
    """Return stage, characteristic and model of everything that was ever measured, each once."""
    what = origin.c.stage, origin.c.characteristic, origin.c.model
    return [tuple(row) for row in conn.execute(select(*what).distinct())]


def counted_kinds(conn: Connection, until: date | None, after: int) -> list[tuple[str, str, str | None, int]]:
    """Return stage, characteristic, model and how many readings of it stand.

    Of those measured by `until`, of the cards that came in after card number `after`.
    """
    what = origin.c.stage, origin.c.characteristic, origin.c.model
    replaced = select(reading.c.replaces).where(reading.c.replaces.is_not(None))
    rows = (
        select(*what, func.count())
        .join_from(reading, origin, reading.c.origin == origin.c.id)
        .where(origin.c.id > after, reading.c.id.not_in(replaced))
        .group_by(*what)
    )
    if until is not None:
        rows = rows.where(origin.c.day <= until.isoformat())
    return [(stage, name, model, count) for stage, name, model, count in conn.execute(rows)]


def serials_before(
    conn: Connection, stage: str, characteristics: Sequence[str], serials: Sequence[str], day: date
) -> set[str]:
    """Return those of the serials that had been measured before a day."""
    found: set[str] = set()
    for part in in_parts(serials):
        statement = select(origin.c.serial, origin.c.stage, origin.c.characteristic).where(
            origin.c.serial.in_(part), origin.c.day < day.isoformat(), _stands()
        )
        rows = conn.execute(statement.distinct())
        found |= {r.serial for r in rows if r.stage == stage and r.characteristic in characteristics}
    return found


def serials_on(conn: Connection, gauge: str, day: date) -> set[str]:
    """Return the serials measured with a gauge on a day."""
    statement = select(origin.c.serial, origin.c.gauge).where(origin.c.day == day.isoformat()).distinct()
    return {row.serial for row in conn.execute(statement) if row.gauge == gauge and row.serial}


def serials_known(conn: Connection, stage: str, day: date, saying: int) -> set[str]:
    """Return the serials measured at a stage on a day that were on record when something was said."""
    said = select(signal_event.c.entry).where(signal_event.c.id == saying).scalar_subquery()
    statement = (
        select(origin.c.serial, origin.c.stage)
        .join(reading, reading.c.origin == origin.c.id)
        .where(origin.c.day == day.isoformat(), reading.c.entry < said)
    )
    return {row.serial for row in conn.execute(statement.distinct()) if row.stage == stage and row.serial}


def read_around(conn: Connection, serials: Sequence[str], until: date) -> pl.DataFrame:
    """Return what was recorded around the readings of some pieces, in order of entry (columns `AROUND`)."""
    return _of_serials(conn, select(*(origin.c[n] for n in AROUND), origin.c.id), serials, until, AROUND)


def read_means(conn: Connection, serials: Sequence[str], until: date) -> pl.DataFrame:
    """Return the mean of each figure of some pieces, with what it is and the first day it was measured."""
    keys = [origin.c[name] for name in ("serial", "model", "stage", "characteristic")]
    columns = {**{column.name: "str" for column in keys}, "day": "date", "mean": "float"}
    statement = (
        select(*keys, func.min(origin.c.day), func.avg(reading.c.value))
        .join(reading, reading.c.origin == origin.c.id)
        .where(reading.c.id.not_in(gone_readings()), origin.c.day <= until.isoformat())
        .group_by(*keys)
    )
    parts = [fetch(conn, statement.where(origin.c.serial.in_(part)), columns) for part in in_parts(serials)]
    return restored(pl.concat(parts), columns).sort(
        "serial", "stage", "characteristic", "day", maintain_order=True
    )


def read_recent_pieces(conn: Connection, most: int) -> pl.DataFrame:
    """Return `serial` and `model` of the pieces on the newest `most` cards, each once."""
    columns = {"serial": "str", "model": "str"}
    newest = select(origin.c.serial, origin.c.model).order_by(origin.c.id.desc()).limit(most)
    rows = fetch(conn, newest, columns).filter(pl.col("serial").is_not_null())
    return rows.group_by("serial", maintain_order=True).agg(pl.col("model").drop_nulls().first())


def _stands() -> ColumnElement[bool]:
    """Leave out cards of which every reading has been replaced or taken back."""
    newer = reading.alias()
    replaced = exists(select(newer.c.id).where(newer.c.replaces == reading.c.id))
    withdrawn = exists(select(taken_back.c.id).where(taken_back.c.reading == reading.c.id))
    return exists(select(reading.c.id).where(reading.c.origin == origin.c.id, ~replaced, ~withdrawn))


def _of_serials(
    conn: Connection,
    statement: Select[tuple[object, ...]],
    serials: Sequence[str],
    until: date,
    columns: dict[str, str],
) -> pl.DataFrame:
    """Ask a question about the cards of some pieces up to a day that still stand, in order of entry."""
    typed = {**columns, "id": "int"}
    parts = []
    for part in in_parts(serials):
        asked = statement.where(origin.c.serial.in_(part), origin.c.day <= until.isoformat())
        parts.append(fetch(conn, asked.where(_stands()), typed))
    return restored(pl.concat(parts).sort("id", maintain_order=True).drop("id"), columns)


def _oldest_row(conn: Connection, mark: JudgedUpTo) -> int | None:
    """Return the entry of the first card or event after a mark that does not tell of entries."""
    cards = select(func.min(reading.c.entry)).join(origin, reading.c.origin == origin.c.id)
    found = (
        conn.execute(cards.where(origin.c.id > mark.readings)).scalar(),
        conn.execute(select(func.min(event.c.entry)).where(event.c.id > mark.events)).scalar(),
    )
    return min((number for number in found if number is not None), default=None)


def _said_of(conn: Connection, mark: JudgedUpTo) -> frozenset[str]:
    newer = signal_event.c.entry > max(mark.entry, 0)
    decided = select(signal_event.c.signal).where(newer, signal_event.c.what.in_(OF_SERIES))
    about = exists().where(
        signal_event.c.signal == signal.c.id,
        newer,
        signal_event.c.what.not_in((*OF_SERIES, *REMARKS)),
    )
    said = select(signal.c.series).where(about)
    return frozenset(row[0] for one in (decided, said) for row in conn.execute(one))

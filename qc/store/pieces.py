"""What judging asks of a few pieces: what is new, what was recorded around them, what was measured before.

Every question here is answered from an index by serial, by day or by number, so that the answer takes as long
in a store of ten million readings as in one of ten thousand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl
from sqlalchemy import Connection, Select, exists, func, select
from sqlalchemy.orm import aliased
from sqlalchemy.sql.elements import ColumnElement

from qc.store.frames import fetch, in_parts, restored
from qc.store.rows import last_id
from qc.store.tables import event, origin, reading

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


@dataclass(frozen=True, slots=True)
class News:
    """What came into the store after a mark.

    Attributes
    ----------
    readings : polars.DataFrame
        `stage`, `characteristic`, `model`, `serial`, `day` of the readings that came, and of those replaced.
    events : polars.DataFrame
        `kind`, `serial`, `subject`, `stage`, `day`.
    mark : tuple of int
        To be given the next time.
    """

    readings: pl.DataFrame
    events: pl.DataFrame
    mark: tuple[int, int]


def read_news(conn: Connection, mark: tuple[int, int]) -> News:
    """Return what came in after `mark`; (0, 0) stands for everything."""
    columns = {name: AROUND[name] for name in ("stage", "characteristic", "model", "serial", "day")}
    own = [origin.c[name] for name in columns]
    fresh = fetch(conn, select(*own).where(origin.c.id > mark[0]), columns)
    newer, older = aliased(reading), aliased(reading)
    replaced = (
        select(*own)
        .join(older, older.c.origin == origin.c.id)
        .join(newer, newer.c.replaces == older.c.id)
        .where(newer.c.replaces.is_not(None), newer.c.origin > mark[0])
    )
    readings = restored(pl.concat([fresh, fetch(conn, replaced, columns)]), columns).unique()
    happened = {"kind": "str", "serial": "str", "subject": "str", "stage": "str", "day": "date"}
    events = fetch(conn, select(*(event.c[n] for n in happened)).where(event.c.id > mark[1]), happened)
    return News(readings, restored(events, happened), read_mark(conn))


def read_mark(conn: Connection) -> tuple[int, int]:
    """Return the mark after which everything is news: the one writer numbers cards and events upwards."""
    return last_id(conn, origin), last_id(conn, event)


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


def read_around(conn: Connection, serials: Sequence[str], until: date) -> pl.DataFrame:
    """Return what was recorded around the readings of some pieces, in order of entry (columns `AROUND`)."""
    return _of_serials(conn, select(*(origin.c[n] for n in AROUND), origin.c.id), serials, until, AROUND)


def read_means(conn: Connection, serials: Sequence[str], until: date) -> pl.DataFrame:
    """Return the mean of each figure of some pieces, with what it is and the first day it was measured."""
    keys = [origin.c[name] for name in ("serial", "model", "stage", "characteristic")]
    columns = {**{column.name: "str" for column in keys}, "day": "date", "mean": "float"}
    replaced = select(reading.c.replaces).where(reading.c.replaces.is_not(None))
    statement = (
        select(*keys, func.min(origin.c.day), func.avg(reading.c.value))
        .join(reading, reading.c.origin == origin.c.id)
        .where(reading.c.id.not_in(replaced), origin.c.day <= until.isoformat())
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
    """Leave out cards of which every reading has been replaced."""
    newer = aliased(reading)
    replaced = exists(select(newer.c.id).where(newer.c.replaces == reading.c.id))
    return exists(select(reading.c.id).where(reading.c.origin == origin.c.id, ~replaced))


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

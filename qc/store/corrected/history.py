"""What became of readings: each that ever came in, whether it stands, and what is in its place."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

import polars as pl
from sqlalchemy import Connection, Select, and_, or_, select

from qc.column_types import Schema
from qc.store.chain import moment_of
from qc.store.frames import in_parts
from qc.store.queries import read_by_id
from qc.store.records import WaitedRecord
from qc.store.tables import MOST_NAMES, entry, event, held, held_event, origin, reading, sheet, taken_back

STANDS, CORRECTED, TAKEN_BACK = "stands", "corrected", "taken back"

_BECAME: Schema = {
    "id": pl.Int64,
    "state": pl.String,
    "by": pl.Int64,
    "changed_by": pl.String,
    "changed_at": pl.Datetime("us", "UTC"),
    "why": pl.String,
}


def read_history(conn: Connection, serials: Sequence[str] | None, ids: Sequence[int] | None) -> pl.DataFrame:
    """Return readings with what became of each, in order of entry; see `Store.history`."""
    wanted = set(ids or ())
    for part in in_parts(serials or ()):
        own = select(reading.c.id).join(origin, reading.c.origin == origin.c.id)
        wanted.update(conn.execute(own.where(origin.c.serial.in_(part))).scalars())
    every = sorted(wanted)
    parts = [every[first : first + MOST_NAMES] for first in range(0, len(every), MOST_NAMES)] or [[]]
    became = [row for part in parts for row in _became(conn, part)]
    changed = pl.DataFrame(became, schema=_BECAME, orient="row")
    return (
        pl.concat([read_by_id(conn, part) for part in parts])
        .sort("id")
        .join(changed, on="id", how="left", maintain_order="left")
        .with_columns(pl.col("state").fill_null(STANDS))
    )


def read_put_right_since(conn: Connection, number: int, until: date) -> list[int]:
    """Return the ids of readings known to entry `number` that were replaced or taken back after it.

    Only those measured up to a day; in order of entry.
    """
    known = (
        select(reading.c.id)
        .join_from(reading, origin, reading.c.origin == origin.c.id)
        .where(reading.c.entry <= number, origin.c.day <= until.isoformat())
    )
    newer = reading.alias().c
    replaced = select(newer.replaces).where(newer.entry > number, newer.replaces.is_not(None))
    gone = select(taken_back.c.reading).where(taken_back.c.entry > number, taken_back.c.reading.is_not(None))
    found = known.where(or_(reading.c.id.in_(replaced), reading.c.id.in_(gone))).order_by(reading.c.id)
    return list(conn.execute(found).scalars())


def read_waited(conn: Connection, ids: Sequence[int], *, events: bool = False) -> dict[int, WaitedRecord]:
    """Return when the sheet of accepted rows came that had waited as held rows, and as what they waited."""
    found: dict[int, WaitedRecord] = {}
    nearest: dict[int, tuple[bool, bool]] = {}
    for first in range(0, len(ids), MOST_NAMES):
        part = list(ids[first : first + MOST_NAMES])
        for row in conn.execute(_waited(part, events=events)):
            # a decision about several rows is one entry: each accepted row waited as that of its own cell
            fits = (row.own_row == row.row, row.own_column == row.column)
            if row.id not in found or fits > nearest[row.id]:
                serial = json.loads(row.typed).get("serial") if row.typed else None
                nearest[row.id] = fits
                found[row.id] = WaitedRecord(row.held, moment_of(row.at), serial or "")
    return found


def _waited(ids: Sequence[int], *, events: bool) -> Select[Any]:
    """Return each accepted row beside the held rows of its sheet that the decision it came with settled."""
    own, came = (event if events else reading), entry.alias()
    cells = (own.c.row.label("own_row"), own.c.column.label("own_column"), held.c.row, held.c.column)
    what = select(own.c.id, *cells, held.c.id.label("held"), held.c.typed, came.c.at)
    with_home = what.select_from(own if events else own.join(origin, reading.c.origin == origin.c.id))
    home = event.c.sheet if events else origin.c.sheet
    return (
        with_home.join(held_event, held_event.c.entry == own.c.entry)
        .join(held, and_(held.c.id == held_event.c.held, held.c.sheet == home))
        .join(sheet, sheet.c.id == held.c.sheet)
        .join(came, came.c.id == sheet.c.entry)
        .where(own.c.id.in_(list(ids)))
        .order_by(own.c.id, held.c.id)
    )


def read_decided(conn: Connection, most: int) -> list[tuple[int, datetime, str]]:
    """Return the held rows decided about last and not undone, the newest first, with moment and person."""
    statement = (
        select(held_event.c.held, entry.c.at, entry.c.who)
        .join_from(held_event, entry, entry.c.id == held_event.c.entry)
        .outerjoin(taken_back, taken_back.c.decision == held_event.c.id)
        .where(taken_back.c.id.is_(None), entry.c.kind == "mend")
        .order_by(held_event.c.id.desc())
        .limit(most)
    )
    return [(row.held, moment_of(row.at), row.who) for row in conn.execute(statement)]


def _became(conn: Connection, ids: Sequence[int]) -> list[tuple[object, ...]]:
    """Return of the readings that stand no longer what is in their place, who changed it, when and why."""
    what = entry.c.who, entry.c.at, entry.c.note
    gone = select(taken_back.c.reading, *what).join(entry, taken_back.c.entry == entry.c.id)
    newer = select(reading.c.replaces, *what, reading.c.id).join(entry, reading.c.entry == entry.c.id)
    rows = [*conn.execute(gone.where(taken_back.c.reading.in_(ids)))]
    # one that was taken back and brought in again by a correction is corrected: that comes last and counts
    rows += conn.execute(newer.where(reading.c.replaces.in_(ids)))
    return list({row[0]: _row(*row) for row in rows}.values())


def _row(old: int, who: str, at: int, why: str, by: int | None = None) -> tuple[object, ...]:
    return (old, TAKEN_BACK if by is None else CORRECTED, by, who, moment_of(at), why)

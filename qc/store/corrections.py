"""What is put right later: held rows mended or dropped, accepted readings replaced by corrected ones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

import polars as pl
from sqlalchemy import Connection, select

from qc.store.chain import append_entry, next_entry
from qc.store.errors import StoreError
from qc.store.records import HeldState
from qc.store.rows import (
    ACCEPTED,
    DROPPED,
    Rows,
    fresh_rows,
    known_marks,
    write_events,
    write_readings,
    write_settled,
)
from qc.store.tables import held, held_event, origin, reading, sheet


def settle_held(
    conn: Connection,
    held_ids: Sequence[int],
    state: HeldState,
    who: str,
    when: datetime,
    readings: pl.DataFrame,
    events: pl.DataFrame,
    replaces: int | None,
    note: str,
) -> list[int]:
    """Close held rows; with `ACCEPTED` their mended rows come in. Returns the ids of the new readings."""
    if state not in {ACCEPTED, DROPPED}:
        raise StoreError(f"A held row can be {ACCEPTED} or {DROPPED}, not {state!r}.")
    sheets = _open_held(conn, held_ids)
    own = Rows.of(readings, events, pl.DataFrame(), when)
    known = known_marks(conn, [own])
    number = next_entry(conn)
    taken = own.readings.filter(fresh_rows(own.readings, known.readings))
    happened = own.events.filter(fresh_rows(own.events, known.events))
    if replaces is not None:
        _refuse_replaced(conn, replaces)
    ids = write_readings(conn, taken, _sheet_ids(conn, taken, sheets), number, replaces)
    write_events(conn, happened, _sheet_ids(conn, happened, sheets), number)
    write_settled(conn, held_ids, state, note, number)
    append_entry(conn, "mend", who, when, note, ["held_event", "reading", "event"])
    return ids


def replace_reading(
    conn: Connection, old_id: int, row: pl.DataFrame, who: str, when: datetime, why: str
) -> int:
    """Put a corrected reading in the place of an old one, which stays on record."""
    if row.height != 1:
        raise StoreError("A reading is replaced by exactly one row.")
    _refuse_replaced(conn, old_id)
    own = Rows.of(row, pl.DataFrame(), pl.DataFrame(), when).readings
    number = next_entry(conn)
    old = select(origin.c.sheet).join_from(reading, origin, reading.c.origin == origin.c.id)
    old_sheet = conn.execute(old.where(reading.c.id == old_id)).scalar()
    ids = write_readings(conn, own, [old_sheet], number, old_id)
    append_entry(conn, "correction", who, when, why, ["reading"])
    return ids[0]


def _open_held(conn: Connection, held_ids: Sequence[int]) -> dict[str, int]:
    """Return the sheets (hash to id) of held rows; refuses rows that are not there or no longer open."""
    if not held_ids:
        raise StoreError("No held row was named.")
    rows = conn.execute(
        select(held.c.id, held_event.c.state, sheet.c.hash, sheet.c.id)
        .join_from(held, sheet, held.c.sheet == sheet.c.id)
        .outerjoin(held_event, held_event.c.held == held.c.id)
        .where(held.c.id.in_(list(held_ids)))
    ).all()
    missing = sorted(set(held_ids) - {row[0] for row in rows})
    if missing:
        raise StoreError(f"There is no held row {missing[0]}. `qc held list` shows the open ones.")
    closed = [(row[0], row[1]) for row in rows if row[1] is not None]
    if closed:
        raise StoreError(f"The held row {closed[0][0]} is already {closed[0][1]}.")
    return {row[2]: row[3] for row in rows}


def _sheet_ids(conn: Connection, rows: pl.DataFrame, sheets: Mapping[str, int]) -> list[int | None]:
    only = next(iter(sheets.values())) if len(sheets) == 1 else None
    return [sheets.get(digest or "", only) for digest in rows["sheet"]]


def _refuse_replaced(conn: Connection, old_id: int) -> None:
    if conn.execute(select(reading.c.id).where(reading.c.id == old_id)).scalar() is None:
        raise StoreError(f"There is no reading {old_id}.")
    newer = conn.execute(select(reading.c.id).where(reading.c.replaces == old_id)).scalar()
    if newer is not None:
        raise StoreError(f"The reading {old_id} was already replaced, by {newer}. Correct that one.")

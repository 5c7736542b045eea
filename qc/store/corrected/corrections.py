"""What is put right later: accepted readings replaced or taken back, decisions about held rows undone."""

from __future__ import annotations

from datetime import datetime

import polars as pl
from sqlalchemy import Connection, insert, select

from qc.store.chain import append_entry, next_entry
from qc.store.errors import StoreError
from qc.store.queries import read_by_id
from qc.store.rows import Rows, next_id, write_readings
from qc.store.tables import entry, event, held, held_event, origin, reading, taken_back


def replace_reading(
    conn: Connection, old_id: int, row: pl.DataFrame, who: str, when: datetime, why: str
) -> int:
    """Put a corrected reading in the place of an old one, which stays on record; see `Store`."""
    if row.height != 1:
        raise StoreError("A reading is replaced by exactly one row.")
    refuse_replaced(conn, old_id)
    own = Rows.of(row, pl.DataFrame(), pl.DataFrame(), when).readings
    number = next_entry(conn)
    old = select(origin.c.sheet).join_from(reading, origin, reading.c.origin == origin.c.id)
    old_sheet = conn.execute(old.where(reading.c.id == old_id)).scalar()
    ids = write_readings(conn, own, [old_sheet], [number], [old_id])
    append_entry(conn, "correction", who, when, why, ["reading"])
    return ids[0]


def withdraw_reading(conn: Connection, reading_id: int, who: str, when: datetime, why: str) -> None:
    """Take back an accepted reading; it stays on record and counts no more."""
    refuse_replaced(conn, reading_id)
    if conn.execute(select(taken_back.c.id).where(taken_back.c.reading == reading_id)).scalar() is not None:
        raise StoreError(f"The reading {reading_id} was taken back already.")
    row = {"id": next_id(conn, taken_back), "entry": next_entry(conn), "reading": reading_id}
    conn.execute(insert(taken_back), row)
    append_entry(conn, "withdrawal", who, when, why, ["taken_back"])


def undo_decision(conn: Connection, held_id: int, who: str, when: datetime, why: str) -> int:
    """Take back what was decided about a held row; returns the number under which it waits again.

    What a mend brought in is taken back with it; a reading that the mend had replaced stands again, as a copy
    that replaces the mended one.
    """
    decision, settled = _decision(conn, held_id)
    readings = conn.execute(
        select(reading.c.id, reading.c.replaces, origin.c.sheet)
        .join_from(reading, origin, reading.c.origin == origin.c.id)
        .where(reading.c.entry == settled)
    ).all()
    for row in readings:
        _refuse_gone(conn, row.id, held_id)
    events = conn.execute(select(event.c.id).where(event.c.entry == settled)).scalars().all()
    number, first = next_entry(conn), next_id(conn, taken_back)
    waits = conn.execute(select(held).where(held.c.id == held_id)).mappings().one()
    again = {**waits, "id": next_id(conn, held), "entry": number}
    conn.execute(insert(held), again)
    named: list[dict[str, int]] = [{"decision": decision, "waits_as": again["id"]}]
    named += [{"reading": row.id} for row in readings if row.replaces is None]
    named += [{"event": one} for one in events]
    empty = {"reading": None, "event": None, "decision": None, "waits_as": None}
    rows = [{**empty, **one, "id": first + n, "entry": number} for n, one in enumerate(named)]
    conn.execute(insert(taken_back), rows)
    for row in readings:
        if row.replaces is not None:
            before = read_by_id(conn, [row.replaces])
            own = Rows.of(before, pl.DataFrame(), pl.DataFrame(), when).readings
            write_readings(conn, own, [row.sheet], [number], [row.id])
    append_entry(conn, "undo", who, when, why, ["held", "reading", "taken_back"])
    return int(again["id"])


def refuse_replaced(conn: Connection, old_id: int) -> None:
    """Refuse a reading that is not there, or that another has replaced."""
    if conn.execute(select(reading.c.id).where(reading.c.id == old_id)).scalar() is None:
        raise StoreError(f"There is no reading {old_id}. `qc correct SERIAL` lists those of a piece.")
    newer = conn.execute(select(reading.c.id).where(reading.c.replaces == old_id)).scalar()
    if newer is not None:
        raise StoreError(f"The reading {old_id} was already replaced, by {newer}. Correct that one.")


def _decision(conn: Connection, held_id: int) -> tuple[int, int]:
    """Return which row and which entry settled a held row; refuses where that is not to be taken back."""
    decided = conn.execute(
        select(held_event.c.id, held_event.c.entry, entry.c.kind, taken_back.c.waits_as)
        .join_from(held_event, entry, entry.c.id == held_event.c.entry)
        .outerjoin(taken_back, taken_back.c.decision == held_event.c.id)
        .where(held_event.c.held == held_id)
    ).first()
    if decided is None:
        raise StoreError(f"Nothing was decided about a held row {held_id}. See those that wait: qc held list")
    if decided.waits_as is not None:
        raise StoreError(f"That was taken back already; the row waits as row {decided.waits_as}.")
    if decided.kind != "mend":
        raise StoreError(
            f"The row {held_id} came in when its sheet came again. Take its reading back: qc correct"
        )
    return decided.id, decided.entry


def _refuse_gone(conn: Connection, reading_id: int, held_id: int) -> None:
    newer = conn.execute(select(reading.c.id).where(reading.c.replaces == reading_id)).scalar()
    withdrawn = select(taken_back.c.id).where(taken_back.c.reading == reading_id)
    if newer is not None or conn.execute(withdrawn).scalar() is not None:
        told = f"replaced by {newer}" if newer is not None else "taken back"
        raise StoreError(
            f"The row {held_id} became reading {reading_id}, which was {told} since. "
            f"Put that one right: qc correct {newer or reading_id}"
        )

"""Rows on their way into the tables: typed, fingerprinted, compared with what is known, written."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import polars as pl
from sqlalchemy import ARRAY, Column, Connection, LargeBinary, Table, func, insert, literal, select

from qc.plain import FrameRow
from qc.plan import EVENT, HELD, PLACE, READING
from qc.store.errors import StoreError
from qc.store.fingerprint import EVENT_MEANING, READING_MEANING, fingerprints, held_fingerprints
from qc.store.frames import stored, tidy
from qc.store.postgresql import put_rows
from qc.store.records import HeldState
from qc.store.tables import (
    FIGURE,
    HAPPENING,
    ORIGIN,
    WAITING,
    event,
    held,
    held_event,
    incoming,
    origin,
    place,
    reading,
    taken_back,
)

OPEN: Final = "open"
ACCEPTED: Final = "accepted"
DROPPED: Final = "dropped"


@dataclass(slots=True)
class Rows:
    """The rows of one sheet as the tables hold them, with their fingerprints."""

    readings: pl.DataFrame
    events: pl.DataFrame
    held: pl.DataFrame

    @classmethod
    def of(
        cls, readings: pl.DataFrame, events: pl.DataFrame, held_rows: pl.DataFrame, when: datetime
    ) -> Rows:
        """Type and mark rows; raises `StoreError` for an accepted reading without a figure."""
        # when a row came in is what the store saw, whatever the sheet or the reader of it says
        entered = pl.lit(when).cast(pl.Datetime("us", "UTC")).alias("entered_at")
        taken = stored(tidy(readings, READING).with_columns(entered), READING)
        bad = taken.filter(~pl.col("value").is_finite().fill_null(False))
        if bad.height:
            raise StoreError(f"Row {bad['row'][0]} has no figure; such a row must be held, not accepted.")
        happened = stored(tidy(events, EVENT).with_columns(entered), EVENT)
        waiting = tidy(held_rows, HELD).with_columns(pl.col("reasons", "proposal", "typed").fill_null(""))
        marks = held_fingerprints(waiting["table"].to_list(), waiting["typed"].to_list())
        return cls(
            _marked(taken, fingerprints(taken, READING_MEANING)),
            _marked(happened, fingerprints(happened, EVENT_MEANING)),
            _marked(waiting, marks),
        )


@dataclass(slots=True)
class KnownMarks:
    """Fingerprints that the store has; grows while an upload is taken in."""

    readings: set[bytes]
    events: set[bytes]
    held: dict[bytes, HeldState]  # to the state of the held row


def known_marks(conn: Connection, rows: Iterable[Rows], *, standing: bool = False) -> KnownMarks:
    """Look the fingerprints of an upload up by index, so that the size of the store does not matter.

    With `standing`, readings and events that were replaced or taken back do not count as known.
    """
    rows = list(rows)
    readings = {mark for own in rows for mark in own.readings["fingerprint"]}
    events = {mark for own in rows for mark in own.events["fingerprint"]}
    waiting = {mark for own in rows for mark in own.held["fingerprint"]}
    server = conn.dialect.name == "postgresql"
    if server:  # before a server has counted its rows it would read all of them rather than an index
        conn.exec_driver_sql("SET LOCAL enable_seqscan = off")
    else:
        incoming.create(conn, checkfirst=False)
    state = func.coalesce(held_event.c.state, OPEN)
    known = KnownMarks(
        readings={row[0] for row in _looked_up(conn, readings, reading.c.fingerprint, standing=standing)},
        events={row[0] for row in _looked_up(conn, events, event.c.fingerprint, standing=standing)},
        held={row[0]: row[1] for row in _looked_up(conn, waiting, held.c.fingerprint, state)},
    )
    if server:
        conn.exec_driver_sql("SET LOCAL enable_seqscan = on")
    else:
        incoming.drop(conn, checkfirst=False)
    return known


def fresh_rows(frame: pl.DataFrame, known: set[bytes] | dict[bytes, HeldState]) -> pl.Series:
    """Mark the rows that are neither known nor a second copy of a row above; adds them to a known set."""
    seen = set() if isinstance(known, dict) else known  # a held mark is added with its state, by the caller
    marks = []
    for mark in frame["fingerprint"]:
        marks.append(mark not in known and mark not in seen)
        seen.add(mark)
    return pl.Series(marks, dtype=pl.Boolean)


def write_readings(
    conn: Connection,
    rows: pl.DataFrame,
    sheets: Sequence[int | None],
    numbers: Sequence[int],
    replaces: Sequence[int | None],
) -> list[int]:
    """Write readings, each under the entry of its number; returns their ids.

    `replaces` names the reading that each of them corrects.
    """
    if rows.is_empty():
        return []
    rows = rows.with_columns(
        pl.Series("sheet", sheets, dtype=pl.Int64), pl.Series("_entry", numbers, dtype=pl.Int64)
    )
    origins = _keyed(rows, ["_entry", "sheet", *ORIGIN], next_id(conn, origin))
    own = [{name: value for name, value in row.items() if name != "_entry"} for row in origins.dicts]
    _write(conn, origin, own)
    places = _place_ids(conn, rows)
    first = next_id(conn, reading)
    ids = list(range(first, first + rows.height))
    written = rows.select(*FIGURE, "fingerprint").with_columns(
        pl.Series("id", ids),
        pl.Series("entry", numbers, dtype=pl.Int64),
        pl.Series("origin", origins.keys),
        pl.Series("place", places),
        pl.Series("replaces", replaces, dtype=pl.Int64),
    )
    _write(conn, reading, written.to_dicts())
    return ids


def _write(conn: Connection, table: Table, rows: Sequence[FrameRow]) -> None:
    if conn.dialect.name == "postgresql":
        put_rows(conn, table, (tuple(row.values()) for row in rows), list(rows[0]))
    else:
        conn.execute(insert(table), rows)


@dataclass(slots=True)
class _Keyed:
    keys: list[int]  # for each row
    dicts: list[FrameRow]  # the distinct parts, with their id


def _keyed(rows: pl.DataFrame, columns: Sequence[str], first: int) -> _Keyed:
    """Give each distinct combination of some columns a number, in order of first appearance."""
    distinct = rows.select(columns).unique(maintain_order=True).with_row_index("id", first)
    distinct = distinct.with_columns(pl.col("id").cast(pl.Int64))
    joined = rows.select(columns).join(
        distinct, on=list(columns), how="left", nulls_equal=True, maintain_order="left"
    )
    return _Keyed(joined["id"].to_list(), distinct.to_dicts())


def _place_ids(conn: Connection, rows: pl.DataFrame) -> list[int]:
    """Return the number of each row's place, new ones written; there are few, so all of them are read."""
    own = _keyed(rows, list(PLACE), 0)
    names = [place.c[name] for name in PLACE]
    known = {tuple(row[1:]): row[0] for row in conn.execute(select(place.c.id, *names))}
    ids = []
    fresh = []
    number = max(known.values(), default=0)
    for parts in own.dicts:
        key = tuple(parts[name] for name in PLACE)
        if key not in known:
            number += 1
            known[key] = number
            fresh.append({**parts, "id": number})
        ids.append(known[key])
    if fresh:
        conn.execute(insert(place), fresh)
    return [ids[key] for key in own.keys]


def write_events(
    conn: Connection, rows: pl.DataFrame, sheets: Sequence[int | None], numbers: Sequence[int]
) -> None:
    """Write events, each under the entry of its number."""
    if rows.is_empty():
        return
    first = next_id(conn, event)
    written = rows.select(*HAPPENING, "fingerprint").with_columns(
        pl.Series("id", range(first, first + rows.height), dtype=pl.Int64),
        pl.Series("entry", numbers, dtype=pl.Int64),
        pl.Series("sheet", sheets, dtype=pl.Int64),
        pl.lit(None, pl.Int64).alias("replaces"),
    )
    conn.execute(insert(event), written.to_dicts())


def write_held(conn: Connection, rows: pl.DataFrame, sheet_id: int, number: int) -> None:
    """Write held rows under entry `number`."""
    if rows.is_empty():
        return
    first = next_id(conn, held)
    written = rows.select(*WAITING, "fingerprint").with_columns(
        pl.Series("id", range(first, first + rows.height), dtype=pl.Int64),
        pl.lit(number).alias("entry"),
        pl.lit(sheet_id).alias("sheet"),
    )
    conn.execute(insert(held), written.to_dicts())


def write_settled(
    conn: Connection, held_ids: Sequence[int], state: HeldState, note: str, number: int
) -> None:
    """Write what became of held rows."""
    if not held_ids:
        return
    first = next_id(conn, held_event)
    conn.execute(
        insert(held_event),
        [
            {"id": first + n, "entry": number, "held": row, "state": state, "note": note}
            for n, row in enumerate(held_ids)
        ],
    )


def last_id(conn: Connection, table: Table) -> int:
    """Return the greatest number of a table, 0 while it is empty."""
    return int(conn.execute(select(func.coalesce(func.max(table.c.id), 0))).scalar_one())


def next_id(conn: Connection, table: Table) -> int:
    """Return the number after the greatest of a table; only the one writer may ask."""
    return last_id(conn, table) + 1


def _looked_up(
    conn: Connection, marks: set[bytes], column: Column[bytes], state: Any = None, *, standing: bool = False
) -> list[tuple[Any, ...]]:
    """Return the rows of a table that have these marks, whatever their number: an IN would be too long.

    In a file they are joined from a table of their own; a server would know nothing of how large that is, and
    read its whole table instead of an index, so it takes them as one array.
    """
    if not marks:
        return []
    wanted = select(column, *([] if state is None else [state]))
    if conn.dialect.name == "postgresql":
        found = wanted.select_from(column.table)
        found = found.where(column == func.any(literal(sorted(marks), ARRAY(LargeBinary))))
    else:
        conn.execute(incoming.delete())
        conn.execute(insert(incoming), [{"fingerprint": mark} for mark in sorted(marks)])
        found = wanted.join_from(incoming, column.table, column == incoming.c.fingerprint)
    if state is not None:
        found = found.outerjoin(held_event, held_event.c.held == held.c.id).order_by(held.c.id)
    if standing:
        key, gone = (column.table.c.id, column.table.name)
        found = found.where(
            key.not_in(select(column.table.c.replaces).where(column.table.c.replaces.is_not(None))),
            key.not_in(select(taken_back.c[gone]).where(taken_back.c[gone].is_not(None))),
        )
    return [tuple(row) for row in conn.execute(found)]


def _marked(frame: pl.DataFrame, marks: list[bytes]) -> pl.DataFrame:
    return frame.with_columns(pl.Series("fingerprint", marks, dtype=pl.Binary))

"""What the store is asked for: readings, events and pieces as frames, held rows and sheets as records."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

import polars as pl
from sqlalchemy import Column, CompoundSelect, Connection, Select, exists, func, or_, select, union_all
from sqlalchemy.sql.elements import ColumnElement

from qc.column_types import polars_schema
from qc.plan import EVENT, PLACE, READING
from qc.store.chain import moment_of
from qc.store.frames import fetch, in_parts, restored
from qc.store.records import HeldRecord, SheetRecord, reasons_of
from qc.store.rows import OPEN
from qc.store.tables import (
    FIGURE,
    HAPPENING,
    MOST_NAMES,
    ORIGIN,
    entry,
    event,
    held,
    held_event,
    origin,
    place,
    reading,
    sheet,
    taken_back,
)

Kind = tuple[str, str, str | None, int]
"""Stage, characteristic and model (None where no card says one) of readings, and how many are wanted."""


def read_readings(
    conn: Connection,
    stage: str | None = None,
    characteristics: Sequence[str] | None = None,
    serials: Sequence[str] | None = None,
    since: date | None = None,
    until: date | None = None,
    models: Sequence[str | None] | None = None,
) -> pl.DataFrame:
    """Return readings that still stand, with the columns of `READING` and `id`."""
    conditions: list[ColumnElement[bool]] = [] if stage is None else [origin.c.stage == stage]
    if models is not None:
        known = origin.c.model.in_([model for model in models if model is not None])
        conditions.append(or_(known, origin.c.model.is_(None)) if None in models else known)
    if characteristics is not None:
        conditions.append(origin.c.characteristic.in_(list(characteristics)))
    conditions += _between(origin.c.day, since, until)
    if serials is None:
        return _readings_where(conn, conditions, many=True)
    parts = [_readings_where(conn, [*conditions, origin.c.serial.in_(part)]) for part in in_parts(serials)]
    return pl.concat(parts).sort("id")


def read_recent(conn: Connection, kinds: Iterable[Kind]) -> pl.DataFrame:
    """Return the newest readings of some kinds, kind after kind as asked for, newest card of each last.

    Only the index is walked, so the answer takes as long in a large store as in a small one.
    """
    kinds = [(stage, name, model or None, most) for stage, name, model, most in kinds]
    ids = [number for kind in kinds for number in _newest_of(conn, *kind)]
    empty = pl.DataFrame(schema={**polars_schema(READING), "id": pl.Int64})
    if not ids:  # every model of the plan is asked for, and most figures are read on a few of them
        return empty
    parts = [ids[first : first + MOST_NAMES] for first in range(0, len(ids), MOST_NAMES)]
    read = pl.concat([_readings_where(conn, [origin.c.id.in_(part)]) for part in parts]).sort("id")
    of = read.partition_by("stage", "characteristic", "model", as_dict=True, maintain_order=True)
    return pl.concat([empty, *(of[kind[:3]].tail(kind[3]) for kind in kinds if kind[:3] in of)])


def _newest_of(
    conn: Connection, stage: str, characteristic: str, model: str | None, most: int
) -> Iterable[int]:
    what = (origin.c.stage == stage, origin.c.characteristic == characteristic)
    model_is = origin.c.model.is_(None) if model is None else origin.c.model == model
    newest = select(origin.c.id).where(*what, model_is).order_by(origin.c.id.desc()).limit(most)
    return conn.execute(newest).scalars()


def read_by_id(conn: Connection, ids: Sequence[int]) -> pl.DataFrame:
    """Return readings by their ids, replaced ones too."""
    origins = select(reading.c.origin).where(reading.c.id.in_(list(ids)))
    frame = _readings_where(conn, [origin.c.id.in_(origins)], replaced_too=True)
    return frame.filter(pl.col("id").is_in(list(ids)))


def read_events(
    conn: Connection,
    kinds: Sequence[str] | None = None,
    serials: Sequence[str] | None = None,
    subjects: Sequence[str] | None = None,
    since: date | None = None,
    until: date | None = None,
) -> pl.DataFrame:
    """Return events that still stand, with the columns of `EVENT` and `id`."""
    columns = {"id": "int", **HAPPENING, "sheet": "str"}
    statement = (
        select(event.c.id, *(event.c[name] for name in HAPPENING), sheet.c.hash)
        .outerjoin_from(event, sheet, event.c.sheet == sheet.c.id)
        .where(event.c.id.not_in(_gone_events()), *_between(event.c.day, since, until))
        .order_by(event.c.id)
    )
    for column, names in ((event.c.kind, kinds), (event.c.subject, subjects)):
        if names is not None:
            statement = statement.where(column.in_(list(names)))
    asked = (
        [statement]
        if serials is None
        else [statement.where(event.c.serial.in_(part)) for part in in_parts(serials)]
    )
    rows = pl.concat([fetch(conn, one, columns) for one in asked]).sort("id")
    return restored(rows, HAPPENING).select(*EVENT, "id")


def read_held(conn: Connection, open_only: bool = True, ids: Sequence[int] | None = None) -> list[HeldRecord]:
    """Return held rows in order of entry."""
    state = func.coalesce(held_event.c.state, OPEN)
    statement = (
        select(held, sheet.c.hash, sheet.c.file, state.label("state"), entry.c.at, entry.c.who)
        .join_from(held, sheet, held.c.sheet == sheet.c.id)
        .join(entry, held.c.entry == entry.c.id)
        .outerjoin(held_event, held_event.c.held == held.c.id)
        .order_by(held.c.id)
    )
    if open_only:
        statement = statement.where(held_event.c.state.is_(None))
    if ids is not None:
        statement = statement.where(held.c.id.in_(list(ids)))
    return [_held_record(row) for row in conn.execute(statement).mappings()]


def read_open(conn: Connection) -> list[int]:
    """Return the numbers of the held rows that still wait, in order of entry."""
    settled = select(held_event.c.held)
    return list(
        conn.execute(select(held.c.id).where(held.c.id.not_in(settled)).order_by(held.c.id)).scalars()
    )


def read_sheets(conn: Connection) -> list[SheetRecord]:
    """Return the sheets in order of entry."""
    statement = select(sheet, entry.c.at, entry.c.who).join_from(sheet, entry, sheet.c.entry == entry.c.id)
    return [
        SheetRecord(row.id, row.hash, row.file, row.card, row.size, moment_of(row.at), row.who, row.entry)
        for row in conn.execute(statement.order_by(sheet.c.id))
    ]


def read_pieces(conn: Connection, serials: Sequence[str] | None = None) -> pl.DataFrame:
    """Return pieces of which a row stands: `serial`, `model`, `first_day` and `shipped` (day)."""
    columns = {"serial": "str", "model": "str", "first_day": "date"}
    parts = []
    for table, gone in ((origin, _bare_origins()), (event, _gone_events())):
        first = select(table.c.serial, table.c.model, func.min(table.c.day)).where(
            table.c.serial.is_not(None), table.c.id.not_in(gone)
        )
        if serials is not None:
            first = first.where(table.c.serial.in_(list(serials)))
        parts.append(fetch(conn, first.group_by(table.c.serial, table.c.model), columns))
    left = (
        read_events(conn, ["shipped"], serials).group_by("serial").agg(pl.col("day").max().alias("shipped"))
    )
    seen = restored(pl.concat(parts), columns).sort("first_day", nulls_last=True)
    named = pl.col("model").drop_nulls().first()
    return (
        seen.group_by("serial", maintain_order=True)
        .agg(named, pl.col("first_day").min())
        .join(left, on="serial", how="left", maintain_order="left")
    )


def gone_readings() -> CompoundSelect[tuple[int]]:
    """Return the ids of readings that stand no longer: another has replaced them, or they were taken back."""
    return union_all(
        select(reading.c.replaces).where(reading.c.replaces.is_not(None)),
        select(taken_back.c.reading).where(taken_back.c.reading.is_not(None)),
    )


def _gone_events() -> CompoundSelect[tuple[int]]:
    return union_all(
        select(event.c.replaces).where(event.c.replaces.is_not(None)),
        select(taken_back.c.event).where(taken_back.c.event.is_not(None)),
    )


def _bare_origins() -> Select[tuple[int]]:
    """Return what readings had in common of which none stands; asked of the few that are gone."""
    left = reading.alias()
    standing = exists(
        select(left.c.id).where(left.c.origin == reading.c.origin, left.c.id.not_in(gone_readings()))
    )
    return select(reading.c.origin).where(reading.c.id.in_(gone_readings()), ~standing)


def _between(day: Column[Any], since: date | None, until: date | None) -> list[ColumnElement[bool]]:
    """Return the conditions that days lie between two, both included."""
    own = [] if since is None else [day >= since.isoformat()]
    return own if until is None else [*own, day <= until.isoformat()]


def _held_record(row: Mapping[Any, Any]) -> HeldRecord:
    """Read a held row; what its sheet did not have is empty, so that nobody asks twice."""
    return HeldRecord(
        id=row["id"],
        sheet=row["hash"],
        file=row["file"],
        tab=row["tab"] or "",
        row=row["row"],
        column=row["column"] or "",
        cell=row["cell"] or "",
        table=row["table"] or "",
        text=row["text"] or "",
        typed=row["typed"],
        reasons=reasons_of(row["reasons"]),
        proposal=json.loads(row["proposal"]) if row["proposal"] else {},
        state=row["state"],
        entered=moment_of(row["at"]),
        who=row["who"],
    )


def _readings_where(
    conn: Connection, conditions: Sequence[Any], replaced_too: bool = False, *, many: bool = False
) -> pl.DataFrame:
    """Fetch the three parts of readings and join them here; the small parts cross over only once."""
    own = select(reading.c.id, reading.c.origin, reading.c.place, *(reading.c[name] for name in FIGURE))
    if not replaced_too:
        own = own.where(reading.c.id.not_in(gone_readings()))
    shared = select(origin.c.id, sheet.c.hash, *(origin.c[name] for name in ORIGIN))
    shared = shared.outerjoin_from(origin, sheet, origin.c.sheet == sheet.c.id)
    if conditions:
        own = own.where(reading.c.origin.in_(select(origin.c.id).where(*conditions)))
        shared = shared.where(*conditions)
    figures = fetch(conn, own, {"id": "int", "origin": "int", "place": "int", **FIGURE}, many=many)
    origins = fetch(conn, shared, {"origin": "int", "sheet": "str", **ORIGIN}, many=many)
    where = select(place.c.id, *(place.c[name] for name in PLACE))
    places = fetch(conn, where, {"place": "int", **PLACE})
    return (
        figures.sort("id")
        .join(restored(origins, ORIGIN), on="origin", how="left", maintain_order="left")
        .join(places, on="place", how="left", maintain_order="left")
        .select(*READING, "id")
    )

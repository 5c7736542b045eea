"""Figures of pieces at their places: few columns of many readings, to ask about every piece at once."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import polars as pl
from sqlalchemy import Connection, case, exists, func, or_, select

from qc.plan import PLACE
from qc.store.frames import fetch, in_parts, restored
from qc.store.queries import gone_readings
from qc.store.tables import ORIGIN, origin, place, reading

CARRIED = ("serial", "model", "stage", "characteristic", "unit", "day", "person", "gauge", "tool", "batch")
"""What is read of the card a figure stands on, besides what the tuning of an instrument needs."""

_OF_ORIGIN = {name: ORIGIN[name] for name in (*CARRIED, "air_c", "method")}


def read_figures(
    conn: Connection,
    stage: str,
    characteristics: Sequence[str],
    serials: Sequence[str] | None,
    until: date,
) -> pl.DataFrame:
    """Return readings that still stand: `id`, `value`, the parts of the place, the columns of `_OF_ORIGIN`.

    A third of the columns of `read_readings`: with every piece asked about, texts and moments would cost more
    than the figures.
    """
    what = [origin.c.stage == stage, origin.c.characteristic.in_(list(characteristics))]
    own = [origin.c.day <= until.isoformat(), origin.c.serial.is_not(None)]
    # of some pieces the way leads through these: a bare stage would lead through all of its cards. So stage
    # and figure are looked at as texts that no index knows; without them every card of each piece is read
    named = [
        origin.c.stage.concat("") == stage,
        origin.c.characteristic.concat("").in_(list(characteristics)),
    ]
    asked = (
        [[*what, *own]]
        if serials is None
        else [[*own, *named, origin.c.serial.in_(part)] for part in in_parts(serials)]
    )
    figures, origins, many = [], [], serials is None
    for conditions in asked:
        statement = (
            select(reading.c.id, reading.c.origin, reading.c.place, reading.c.value)
            .join(origin, reading.c.origin == origin.c.id)
            .where(*conditions, reading.c.id.not_in(gone_readings()))
        )
        figures.append(
            fetch(
                conn, statement, {"id": "int", "origin": "int", "place": "int", "value": "float"}, many=many
            )
        )
        shared = select(origin.c.id, *(origin.c[name] for name in _OF_ORIGIN)).where(*conditions)
        origins.append(fetch(conn, shared, {"origin": "int", **_OF_ORIGIN}, many=many))
    where = select(place.c.id, *(place.c[name] for name in PLACE))
    places = fetch(conn, where, {"place": "int", **PLACE})
    return (
        pl.concat(figures)
        .sort("id")
        .join(restored(pl.concat(origins), _OF_ORIGIN), on="origin", how="left", maintain_order="left")
        .join(places, on="place", how="left", maintain_order="left")
        .drop("origin", "place")
    )


def read_first_days(
    conn: Connection,
    stage: str,
    characteristics: Sequence[str],
    models: Sequence[str | None],
    until: date,
) -> pl.DataFrame:
    """Return `serial` and first `day` of the pieces one of whose cards names one of some models.

    The database counts, so that a long history is never in memory; ordered by day, then serial.
    """
    named = origin.c.model.in_([model for model in models if model is not None])
    fits = or_(named, origin.c.model.is_(None)) if None in models else named
    standing = exists(
        select(reading.c.id).where(reading.c.origin == origin.c.id, reading.c.id.not_in(gone_readings()))
    )
    asked = (
        select(origin.c.serial, func.min(origin.c.day))
        .where(origin.c.stage == stage, origin.c.characteristic.in_(list(characteristics)))
        .where(origin.c.serial.is_not(None), origin.c.day <= until.isoformat(), standing)
        .group_by(origin.c.serial)
        .having(func.max(case((fits, 1), else_=0)) == 1)
    )
    columns = {"serial": "str", "day": "date"}
    return restored(fetch(conn, asked, columns), columns).sort("day", "serial")


def read_gauged(conn: Connection, gauge: str, first: date, last: date) -> pl.DataFrame:
    """Return what a gauge read between two days, with the newest of them."""
    columns = {"serial": "str", "stage": "str", "characteristic": "str", "day": "date"}
    own = [origin.c[name] for name in columns]
    between = origin.c.day.between(first.isoformat(), last.isoformat())
    standing = exists(
        select(reading.c.id).where(reading.c.origin == origin.c.id, reading.c.id.not_in(gone_readings()))
    )
    asked = select(*own).where(between, origin.c.gauge == gauge, origin.c.serial.is_not(None), standing)
    return restored(fetch(conn, asked, columns), columns)


def read_last_seen(conn: Connection, serials: Sequence[str], until: date) -> pl.DataFrame:
    """Return stage and day of the newest card of each piece."""
    columns = {"serial": "str", "stage": "str", "day": "date", "id": "int"}
    asked = select(origin.c.serial, origin.c.stage, origin.c.day, origin.c.id)
    parts = [
        fetch(conn, asked.where(origin.c.serial.in_(part), origin.c.day <= until.isoformat()), columns)
        for part in in_parts(serials)
    ]
    rows = restored(pl.concat(parts), columns).sort("day", "id", maintain_order=True)
    return rows.unique("serial", keep="last", maintain_order=True).drop("id")


def read_stage_days(conn: Connection, stage: str, until: date) -> pl.DataFrame:
    """Return of each piece the first and the last day on which it was measured at a stage."""
    standing = exists(
        select(reading.c.id).where(reading.c.origin == origin.c.id, reading.c.id.not_in(gone_readings()))
    )
    own = (origin.c.stage == stage, origin.c.day <= until.isoformat(), origin.c.serial.is_not(None))
    columns = {"serial": "str", "first": "date", "last": "date"}
    asked = select(origin.c.serial, func.min(origin.c.day), func.max(origin.c.day)).where(*own, standing)
    return restored(fetch(conn, asked.group_by(origin.c.serial), columns), columns)


def read_bearing(conn: Connection, column: str, name: str, until: date) -> pl.DataFrame:
    """Return the pieces of which a reading that still stands names something: serial and first day."""
    standing = exists(
        select(reading.c.id).where(reading.c.origin == origin.c.id, reading.c.id.not_in(gone_readings()))
    )
    named = (origin.c[column] == name, origin.c.serial.is_not(None), origin.c.day <= until.isoformat())
    asked = select(origin.c.serial, func.min(origin.c.day)).where(*named, standing).group_by(origin.c.serial)
    columns = {"serial": "str", "day": "date"}
    return restored(fetch(conn, asked, columns), columns)


def read_counts(conn: Connection, until: date | None) -> pl.DataFrame:
    """Return how many readings of each stage, characteristic, model and day stand, in that order."""
    columns = {"stage": "str", "characteristic": "str", "model": "str", "day": "date", "readings": "int"}
    what = [origin.c[name] for name in columns if name != "readings"]
    asked = (
        select(*what, func.count())
        .join_from(reading, origin, reading.c.origin == origin.c.id)
        .where(reading.c.id.not_in(gone_readings()))
        .group_by(*what)
    )
    if until is not None:
        asked = asked.where(origin.c.day <= until.isoformat())
    found = restored(fetch(conn, asked, columns), columns)
    return found.sort("stage", "characteristic", "model", "day")

"""What people were told of each series, kept for good: the verdict without its points, and on what it rested.

A verdict is worked out anew whenever its series is judged; what was told before stands here, each time under
an entry of the chain. The points are left out: they come out again of the readings up to the card that is
named. A verdict that says the same as the one before names the row that has the words.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any

from sqlalchemy import Connection, func, insert, select

from qc.plain import JsonObject
from qc.store.chain import append_entry, last_entry, micros_of, moment_of, next_entry
from qc.store.postgresql import by_bytes
from qc.store.rows import last_id, next_id
from qc.store.states import read_states
from qc.store.tables import entry, event, judgement, origin, plan_version, signal, signal_event, told, verdict

JUDGED, AFRESH, ADOPTED = "judged", "afresh", "adopted"
"""How a judgement came about: of what was new, of all from nothing, or found when it was first kept."""

PROGRAM = "program"
"""Stands for the person: nobody judges by hand."""

MARK = "judged up to"
"""The name of the state that says up to where everything is judged."""

COURSE = "course {}"
"""The name of the state that says how far a series is judged."""


@dataclass(frozen=True, slots=True)
class Grounds:
    """What verdicts rest on besides the readings.

    Attributes
    ----------
    when : datetime
        The moment of judging, with a time zone.
    program : str
        Fingerprint of the statistics.
    mark : mapping, optional
        What was looked at: `readings` and `events` (numbers of the newest card and event), `entry`, and
        `plan` (the version). Whatever lacks is the newest in the store.
    """

    when: datetime
    program: str = ""
    mark: Mapping[str, int | None] | None = None


@dataclass(frozen=True, slots=True)
class ToldRecord:
    """What was told of a series at a moment, and on what it rested.

    Attributes
    ----------
    series : str
        ``stage/characteristic/family``.
    day : date
        The day judged by.
    when : datetime
        The moment it was told, UTC.
    entry : int
        The entry of the chain that holds it.
    plan : int or None
        Version of the plan.
    program : str
        Fingerprint of the statistics; empty where it was told before that was kept.
    readings, events, upto : int
        Numbers of the newest card, event and entry that were looked at.
    plain : mapping
        The verdict without its points: limits, estimates, signals with sentence, start, size, suspects.
    verdict, state : str
        SHA-256 of the whole verdict and of how far the series was judged.
    """

    series: str
    day: date
    when: datetime
    entry: int
    plan: int | None
    program: str
    readings: int
    events: int
    upto: int
    plain: Mapping[str, Any]
    verdict: str
    state: str


def hash_of(value: object) -> str:
    """Return the SHA-256 of a value as it is kept: JSON, names in the order they have."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def pack(body: Mapping[str, Any]) -> bytes:
    """Return a verdict without its points, compressed."""
    told_of = {name: value for name, value in body.items() if name != "points"}
    return zlib.compress(json.dumps(told_of, ensure_ascii=False, allow_nan=False).encode("utf-8"), 9)


def unpack(data: bytes) -> JsonObject:
    """Return what `pack` compressed."""
    plain: JsonObject = json.loads(zlib.decompress(data))
    return plain


def tell(
    conn: Connection,
    found: Iterable[Mapping[str, Any]],
    as_of: date,
    grounds: Grounds | None,
    mark: Any,
    afresh: bool,
) -> None:
    """Keep what was just told, after verdicts and states were saved; nothing where nothing is new.

    Parameters
    ----------
    conn : sqlalchemy.Connection
        The writing connection.
    found : iterable of mapping
        Verdicts as plain values.
    as_of : date
        The day judged by.
    grounds : Grounds, optional
        What they rest on; else the store as it stands, at the moment of its newest entry.
    mark : anything, optional
        The mark up to which everything is judged now, where it moves with these verdicts.
    afresh : bool
        Everything was judged from nothing: told again, unless the newest entry has told just that.
    """
    grounds = grounds or Grounds(_last_moment(conn, as_of))
    before = read_last_mark(conn)
    own = _judgement(conn, grounds, AFRESH if afresh else JUDGED)
    own["mark"] = before if mark is None else json.dumps(mark, ensure_ascii=False)
    bodies = list(found)
    states = read_states(conn, [COURSE.format(body["key"]) for body in bodies])
    newest = _newest(conn, [str(body["key"]) for body in bodies])
    rows: list[JsonObject] = []
    moved = before != own["mark"]
    for body in bodies:
        series = str(body["key"])
        row = {
            "series": series,
            "day": as_of.isoformat(),
            "verdict": hash_of(body),
            "state": _hash_of_state(states, series),
        }
        last = newest.get(series)
        as_told = {**row, "plan": own["plan"], "program": own["program"]}
        news = last is None or any(getattr(last, name) != value for name, value in as_told.items())
        moved = moved or news
        if news or afresh:
            rows.append(_worded(conn, row, pack(body), last))
    if moved or (afresh and not _newest_is_afresh(conn)):
        _write(conn, own, rows, grounds.when)


def adopt_what_was_kept(conn: Connection, as_of: date, grounds: Grounds | None) -> None:
    """Tell what a store made before still keeps, once, before its first verdicts are kept this way.

    Else a verdict put there by hand could pass for an old one. Signals get a row each, since a signal may
    outlive the verdict that told of it.
    """
    if conn.execute(select(judgement.c.id).limit(1)).first() is not None:
        return
    rows: list[JsonObject] = []
    for kept in conn.execute(select(verdict).order_by(by_bytes(verdict.c.series), verdict.c.as_of)):
        body = json.loads(zlib.decompress(bytes(kept.body)))
        states = read_states(conn, [COURSE.format(kept.series)])
        row = {"series": kept.series, "day": kept.as_of, "verdict": hash_of(body)}
        rows.append({**row, "state": _hash_of_state(states, kept.series), "as_in": None, "body": pack(body)})
    for one in conn.execute(select(signal).order_by(by_bytes(signal.c.id))):
        seed = {"key": one.series, "id": one.id, "first_as_of": one.first_as_of, "kind": one.kind}
        body = pack({**seed, "signals": [json.loads(one.body)]})
        told_last = {"series": one.series, "day": one.last_as_of, "verdict": "", "state": ""}
        rows.append({**told_last, "as_in": None, "body": body})
    if rows:
        when = _last_moment(conn, as_of) if grounds is None else grounds.when
        marks = read_states(conn, [MARK])
        mark = json.dumps(marks[MARK], ensure_ascii=False) if MARK in marks else None
        _write(conn, {**_judgement(conn, Grounds(when), ADOPTED), "mark": mark}, rows, when)


def read_told(
    conn: Connection, series: Sequence[str] | None = None, until: datetime | None = None
) -> list[ToldRecord]:
    """Return what was told last of each series, by a moment where one is given; in order of the series."""
    newest = select(func.max(told.c.id)).where(told.c.verdict != "").group_by(told.c.series)
    if until is not None:
        newest = newest.join(entry, entry.c.id == told.c.entry).where(entry.c.at <= micros_of(until))
    if series is not None:
        newest = newest.where(told.c.series.in_(list(series)))
    shared = [judgement.c[name] for name in ("plan", "program", "readings", "events", "upto")]
    rows = conn.execute(
        select(told, entry.c.at, *shared)
        .join(entry, entry.c.id == told.c.entry)
        .join(judgement, judgement.c.entry == told.c.entry)
        .where(told.c.id.in_(newest))
        .order_by(by_bytes(told.c.series))
    ).all()
    elsewhere = [row.as_in for row in rows if row.as_in is not None]
    words = {
        r.id: r.body for r in conn.execute(select(told.c.id, told.c.body).where(told.c.id.in_(elsewhere)))
    }
    return [
        ToldRecord(
            series=row.series,
            day=date.fromisoformat(row.day),
            when=moment_of(row.at),
            entry=row.entry,
            plan=row.plan,
            program=row.program,
            readings=row.readings,
            events=row.events,
            upto=row.upto,
            plain=unpack(bytes(row.body if row.as_in is None else words[row.as_in])),
            verdict=row.verdict,
            state=row.state,
        )
        for row in rows
    ]


def read_told_signals(
    conn: Connection,
    series: str,
    before: int | None = None,
    days: tuple[date, date] | None = None,
) -> list[tuple[date, list[JsonObject]]]:
    """Return the signals of a series each time they were told in other words, with the day, oldest first.

    With `before` only what had been told when that saying was said, with `days` only from one to another.
    """
    asked = select(told.c.day, told.c.body).where(told.c.series == series, told.c.body.is_not(None))
    if days is not None:
        first, last = (day.isoformat() for day in days)
        asked = asked.where(told.c.day.between(first, last))
    if before is not None:
        said = select(signal_event.c.entry).where(signal_event.c.id == before).scalar_subquery()
        asked = asked.where(told.c.entry < said)
    rows = conn.execute(asked.order_by(told.c.id))
    return [(date.fromisoformat(row.day), unpack(bytes(row.body))["signals"]) for row in rows]


def _judgement(conn: Connection, grounds: Grounds, how: str) -> JsonObject:
    """Return the row of a judgement, but for its number and entry."""
    mark = grounds.mark or {}
    here = {
        "readings": last_id(conn, origin),
        "events": last_id(conn, event),
        "entry": last_entry(conn)[0],
        "plan": conn.execute(select(func.max(plan_version.c.id))).scalar(),
    }
    seen = {name: here[name] if mark.get(name) is None else mark[name] for name in here}
    return {
        "how": how,
        "program": grounds.program,
        "plan": seen["plan"] or None,
        "readings": seen["readings"],
        "events": seen["events"],
        "upto": seen["entry"],
        "mark": None,
    }


def _newest_is_afresh(conn: Connection) -> bool:
    """Say whether nothing was accepted since all was judged from nothing: the same command, given again."""
    newest = select(judgement.c.entry, judgement.c.how).order_by(judgement.c.id.desc()).limit(1)
    row = conn.execute(newest).first()
    return row is not None and (row.entry, row.how) == (last_entry(conn)[0], AFRESH)


def read_last_mark(conn: Connection) -> str | None:
    """Return the mark as the last judgement left it: one altered since must not become the accepted one."""
    return conn.execute(select(judgement.c.mark).order_by(judgement.c.id.desc()).limit(1)).scalar()


def _newest(conn: Connection, series: Sequence[str]) -> dict[str, Any]:
    """Return the last row of each series with the plan and program of its judgement."""
    last = select(func.max(told.c.id)).where(told.c.series.in_(series), told.c.verdict != "")
    rows = conn.execute(
        select(told, judgement.c.plan, judgement.c.program)
        .join(judgement, judgement.c.entry == told.c.entry)
        .where(told.c.id.in_(last.group_by(told.c.series)))
    )
    return {row.series: row for row in rows}


def _worded(conn: Connection, row: JsonObject, body: bytes, last: Any) -> JsonObject:
    """Add the words to a row, or the number of the row before that has the same ones."""
    if last is None:
        return {**row, "as_in": None, "body": body}
    source = last.id if last.as_in is None else last.as_in
    words = last.body
    if last.as_in is not None:
        words = conn.execute(select(told.c.body).where(told.c.id == source)).scalar_one()
    same = bytes(words) == body
    return {**row, "as_in": source if same else None, "body": None if same else body}


def _write(conn: Connection, own: JsonObject, rows: Sequence[JsonObject], when: datetime) -> None:
    number, first = next_entry(conn), next_id(conn, told)
    conn.execute(insert(judgement), {"id": next_id(conn, judgement), "entry": number, **own})
    if rows:
        numbered = [{"id": first + at, "entry": number, **row} for at, row in enumerate(rows)]
        conn.execute(insert(told), numbered)
    append_entry(conn, "verdict", PROGRAM, when, own["how"], ["judgement", "told"])


def _hash_of_state(states: Mapping[str, Any], series: str) -> str:
    name = COURSE.format(series)
    return hash_of(states[name]) if name in states else ""


def _last_moment(conn: Connection, as_of: date) -> datetime:
    """Return the moment of the newest entry, else midnight of the day judged by."""
    at = conn.execute(select(entry.c.at).order_by(entry.c.id.desc()).limit(1)).scalar()
    return datetime.combine(as_of, time(), UTC) if at is None else moment_of(at)

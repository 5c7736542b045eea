"""What the watch said, and the life of its signals.

Verdicts can be worked out again from the readings, so they are simply rewritten. What people say about a
signal cannot: its events are entries of the chain.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, delete, func, insert, select, update

from qc.store.chain import append_entry, last_entry, moment_of
from qc.store.errors import StoreError
from qc.store.rows import next_id
from qc.store.tables import entry, signal, signal_event, verdict

STATES: dict[str, str] = {
    "in-hand": "in-hand",
    "closed": "closed",
    "closed-false": "closed-false",
    "reopened": "open",
}
"""What was said of a signal, and the state it is in since then; a comment changes nothing."""


def signal_id(series: str, found: Mapping[str, Any]) -> str:
    """Return the id of a signal, the same whenever it is judged again.

    Parameters
    ----------
    series : str
        ``stage/characteristic/family``.
    found : mapping
        A signal as ``SignalResult.to_dict`` (or the list in a verdict) gives it.

    Notes
    -----
    The piece at which it was raised and whether level or spread moved make a signal. The estimated start
    and the difference between `single` and `shift` may change as more pieces come; the signal stays itself.

    Examples
    --------
    >>> first = signal_id("slide/clearance/tenors", {"kind": "single", "raised_serial": "K012"})
    >>> first == signal_id("slide/clearance/tenors", {"kind": "shift", "raised_serial": "K012"})
    True
    """
    aspect = "spread" if found["kind"] == "spread" else "level"
    text = json.dumps([series, aspect, found["raised_serial"]], ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:12]


OF_SERIES = ("freeze", "undo-freeze", "leave-out", "undo-leave-out")
"""What a lead may decide about a whole series; kept beside the life of signals, under the series' key."""


def save_verdicts(conn: Connection, verdicts: Iterable[Mapping[str, Any]], as_of: date) -> None:
    """Keep verdicts (plain values) of a day, and their signals."""
    for body in verdicts:
        series = str(body["key"])
        packed = zlib.compress(json.dumps(body, ensure_ascii=False, allow_nan=False).encode("utf-8"), 6)
        day = as_of.isoformat()
        newest = select(verdict.c.as_of, verdict.c.body).where(verdict.c.series == series)
        before = conn.execute(
            newest.where(verdict.c.as_of <= day).order_by(verdict.c.as_of.desc()).limit(1)
        ).first()
        if before is None or bytes(before.body) != packed:
            here = (verdict.c.series == series) & (verdict.c.as_of == day)
            conn.execute(delete(verdict).where(here))
            conn.execute(insert(verdict), {"series": series, "as_of": day, "body": packed})
        for found in body.get("signals", ()):
            _save_signal(conn, series, found, day)


def forget_verdicts(conn: Connection) -> None:
    """Drop all verdicts before everything is judged anew; what was said of signals stays."""
    conn.execute(delete(verdict))


def read_verdicts(conn: Connection, as_of: date | None, series: Sequence[str] | None) -> list[dict[str, Any]]:
    """Return the newest verdict of each series not after `as_of`."""
    newest = select(verdict.c.series, func.max(verdict.c.as_of).label("as_of")).group_by(verdict.c.series)
    if as_of is not None:
        newest = newest.where(verdict.c.as_of <= as_of.isoformat())
    if series is not None:
        newest = newest.where(verdict.c.series.in_(list(series)))
    last = newest.subquery()
    found = select(verdict.c.body).join(
        last, (verdict.c.series == last.c.series) & (verdict.c.as_of == last.c.as_of)
    )
    rows = conn.execute(found.order_by(verdict.c.series)).scalars()
    return [json.loads(zlib.decompress(bytes(body))) for body in rows]


def read_signals(conn: Connection, series: str | None, states: Sequence[str] | None) -> list[dict[str, Any]]:
    """Return signals: what was found, and `id`, `series`, `state`, `first_as_of`, `last_as_of`, `events`."""
    said: dict[str, list[dict[str, Any]]] = {}
    history = select(signal_event, entry.c.who, entry.c.at).join(entry, entry.c.id == signal_event.c.entry)
    for row in conn.execute(history.order_by(signal_event.c.id)):
        event = {name: getattr(row, name) for name in ("what", "cause", "action", "text", "who")}
        said.setdefault(row.signal, []).append({**event, "when": moment_of(row.at).isoformat()})
    statement = select(signal).order_by(signal.c.first_as_of, signal.c.id)
    if series is not None:
        statement = statement.where(signal.c.series == series)
    found = []
    for row in conn.execute(statement):
        events = said.get(row.id, [])
        state = state_after(events)
        if states is None or state in states:
            own = {"id": row.id, "series": row.series, "state": state}
            days = {"first_as_of": row.first_as_of, "last_as_of": row.last_as_of}
            found.append({**json.loads(row.body), **own, **days, "events": events})
    return found


def state_after(events: Sequence[Mapping[str, Any]]) -> str:
    """Return the state a signal is in after what was said of it, oldest first."""
    return next((STATES[e["what"]] for e in reversed(events) if e["what"] in STATES), "open")


def read_judged_day(conn: Connection) -> date | None:
    """Return the newest day of which a verdict is kept."""
    newest = conn.execute(select(func.max(verdict.c.as_of))).scalar()
    return None if newest is None else date.fromisoformat(newest)


def say_of_signal(
    conn: Connection, found: str, what: str, who: str, when: datetime, said: Mapping[str, str]
) -> None:
    """Add to the life of a signal: a comment, or one of `STATES`; `said` may give cause, action and text."""
    if what not in {*STATES, "comment"}:
        raise StoreError(f"Of a signal one can say {', '.join([*STATES, 'comment'])}, not {what!r}.")
    if conn.execute(select(signal.c.id).where(signal.c.id == found)).scalar() is None:
        raise StoreError(f"There is no signal {found}. `qc signals` lists them.")
    number = last_entry(conn)[0] + 1
    words = {name: said.get(name, "") for name in ("cause", "action", "text")}
    row = {"id": next_id(conn, signal_event), "entry": number, "signal": found, "what": what, **words}
    conn.execute(insert(signal_event), row)
    append_entry(conn, "signal", who, when, what, ["signal_event"])


def say_of_series(
    conn: Connection, series: str, what: str, who: str, when: datetime, said: Mapping[str, str]
) -> int:
    """Record a decision about a series: one of `OF_SERIES`; `said` gives cause, action and text."""
    if what not in OF_SERIES:
        raise StoreError(f"Of a series one can say {', '.join(OF_SERIES)}, not {what!r}.")
    number = last_entry(conn)[0] + 1
    own = next_id(conn, signal_event)
    row = {"id": own, "entry": number, "signal": series, "what": what, **said}
    conn.execute(insert(signal_event), row)
    append_entry(conn, "series", who, when, what, ["signal_event"])
    return own


def said_of_series(conn: Connection, series: str | None = None) -> list[dict[str, Any]]:
    """Return decisions about series, oldest first."""
    statement = select(signal_event, entry.c.who, entry.c.at).join(entry, entry.c.id == signal_event.c.entry)
    statement = statement.where(signal_event.c.what.in_(OF_SERIES)).order_by(signal_event.c.id)
    if series is not None:
        statement = statement.where(signal_event.c.signal == series)
    return [
        {
            **{"id": row.id, "series": row.signal, "what": row.what, "first": row.cause, "last": row.action},
            **{"why": row.text, "who": row.who, "when": moment_of(row.at).isoformat()},
        }
        for row in conn.execute(statement)
    ]


def _save_signal(conn: Connection, series: str, found: Mapping[str, Any], day: str) -> None:
    own = signal_id(series, found)
    body = json.dumps(found, ensure_ascii=False, allow_nan=False)
    known = conn.execute(select(signal.c.last_as_of, signal.c.first_as_of).where(signal.c.id == own)).first()
    if known is None:
        fresh = {"id": own, "series": series, "kind": found["kind"], "body": body}
        conn.execute(insert(signal), {**fresh, "first_as_of": day, "last_as_of": day})
        return
    here = signal.c.id == own
    conn.execute(update(signal).where(here).values(first_as_of=min(day, known.first_as_of)))
    if day >= known.last_as_of:  # judging an earlier day again must not overwrite what is known today
        conn.execute(update(signal).where(here).values(last_as_of=day, kind=found["kind"], body=body))

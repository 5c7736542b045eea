"""What the watch said of series, day by day, and the signals in it.

All of it can be worked out again from the readings, so it is simply rewritten. What people say of a signal
cannot: see `qc.store.said`.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from sqlalchemy import Connection, delete, func, insert, select, update

from qc.sayings import SignalState
from qc.store.postgresql import by_bytes
from qc.store.records import SignalRecord, VerdictRecord
from qc.store.said import read_of_signals
from qc.store.tables import signal, verdict


def signal_id(series: str, kind: str, raised_serial: str) -> str:
    """Return the id of a signal, the same whenever it is judged again.

    Parameters
    ----------
    series : str
        ``stage/characteristic/family``.
    kind, raised_serial : str
        Of the finding: what moved, and the piece at which it was raised.

    Notes
    -----
    The piece at which it was raised and whether level or spread moved make a signal. The estimated start
    and the difference between `single` and `shift` may change as more pieces come; the signal stays itself.

    Examples
    --------
    >>> first = signal_id("slide/clearance/tenors", "single", "K012")
    >>> first == signal_id("slide/clearance/tenors", "shift", "K012")
    True
    """
    aspect = "spread" if kind == "spread" else "level"
    text = json.dumps([series, aspect, raised_serial], ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:12]


def own_id(series: str, found: Mapping[str, Any]) -> str:
    """Return the id of a finding (plain values); one that opens a closed signal anew has the id of that."""
    return signal_id(series, found["kind"], found.get("reopens") or found["raised_serial"])


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
        # most days change few series: a verdict that is as before is not written again
        if before is None or bytes(before.body) != packed:
            here = (verdict.c.series == series) & (verdict.c.as_of == day)
            conn.execute(delete(verdict).where(here))
            conn.execute(insert(verdict), {"series": series, "as_of": day, "body": packed})
        for found in body.get("signals", ()):
            _save_signal(conn, series, found, day)


def forget_verdicts(conn: Connection) -> None:
    """Drop all verdicts before everything is judged anew; what was said of signals stays."""
    conn.execute(delete(verdict))


def read_verdicts(conn: Connection, as_of: date | None, series: Sequence[str] | None) -> list[VerdictRecord]:
    """Return the newest verdict of each series not after `as_of`."""
    newest = select(verdict.c.series, func.max(verdict.c.as_of).label("as_of")).group_by(verdict.c.series)
    if as_of is not None:
        newest = newest.where(verdict.c.as_of <= as_of.isoformat())
    if series is not None:
        newest = newest.where(verdict.c.series.in_(list(series)))
    last = newest.subquery()
    found = select(verdict).join(
        last, (verdict.c.series == last.c.series) & (verdict.c.as_of == last.c.as_of)
    )
    return [
        VerdictRecord(row.series, date.fromisoformat(row.as_of), bytes(row.body))
        for row in conn.execute(found.order_by(by_bytes(verdict.c.series)))
    ]


def read_signals(
    conn: Connection, series: str | None, states: Collection[SignalState] | None
) -> list[SignalRecord]:
    """Return signals with what was said of them; only of one series, or in some states, where named."""
    said = read_of_signals(conn)
    statement = select(signal).order_by(signal.c.first_as_of, by_bytes(signal.c.id))
    if series is not None:
        statement = statement.where(signal.c.series == series)
    found = [
        SignalRecord(
            row.id,
            row.series,
            date.fromisoformat(row.first_as_of),
            date.fromisoformat(row.last_as_of),
            json.loads(row.body),
            tuple(said.get(row.id, ())),
            row.number or 0,
        )
        for row in conn.execute(statement)
    ]
    return [record for record in found if states is None or record.state in states]


def read_numbers(conn: Connection) -> dict[str, int]:
    """Return the number of each signal, by its id."""
    return {row.id: row.number for row in conn.execute(select(signal.c.id, signal.c.number))}


def read_judged_day(conn: Connection) -> date | None:
    """Return the newest day of which a verdict is kept."""
    newest = conn.execute(select(func.max(verdict.c.as_of))).scalar()
    return None if newest is None else date.fromisoformat(newest)


def _save_signal(conn: Connection, series: str, found: Mapping[str, Any], day: str) -> None:
    own = own_id(series, found)
    body = json.dumps(found, ensure_ascii=False, allow_nan=False)
    known = conn.execute(select(signal.c.last_as_of, signal.c.first_as_of).where(signal.c.id == own)).first()
    if known is None:
        fresh = {"id": own, "series": series, "kind": found["kind"], "body": body}
        last = conn.execute(select(func.max(signal.c.number))).scalar() or 0
        conn.execute(insert(signal), {**fresh, "first_as_of": day, "last_as_of": day, "number": last + 1})
        return
    here = signal.c.id == own
    conn.execute(update(signal).where(here).values(first_as_of=min(day, known.first_as_of)))
    if day >= known.last_as_of:  # judging an earlier day again must not overwrite what is known today
        conn.execute(update(signal).where(here).values(last_as_of=day, kind=found["kind"], body=body))

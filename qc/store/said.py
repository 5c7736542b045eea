"""What people say of signals and decide about series: entries of the chain, never changed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import Connection, insert, select

from qc.sayings import OF_SERIES, OF_SIGNAL, Said, Saying, What
from qc.store.chain import EntryKind, append_entry, moment_of, next_entry
from qc.store.errors import StoreError
from qc.store.people import role_of
from qc.store.rows import next_id
from qc.store.tables import entry, signal, signal_event


def add_saying(conn: Connection, about: str, saying: Saying, when: datetime) -> int:
    """Add to what was said of a signal (its id) or decided about a series (its key); returns its number.

    The role in which the person says it is that of the list of people now; without one nobody has a role.
    """
    decided = saying.what in OF_SERIES
    if decided:
        if not (saying.first and saying.last):
            raise StoreError(f"A decision about {about} names its first and last piece.")
    elif conn.execute(select(signal.c.id).where(signal.c.id == about)).scalar() is None:
        raise StoreError(f"There is no signal {about}. `qc signals` lists them.")
    number = next_entry(conn)
    own = next_id(conn, signal_event)
    row = {
        "id": own,
        "entry": number,
        "signal": about,
        "what": saying.what.value,
        "cause": saying.cause,
        "action": saying.action,
        "text": saying.text,
        "first_serial": saying.first if decided else None,
        "last_serial": saying.last if decided else None,
        "outcome": saying.outcome or None,
        "from_serial": None if decided else saying.first or None,
        "role": role_of(conn, saying.who),
    }
    conn.execute(insert(signal_event), row)
    kind: EntryKind = "series" if decided else "signal"
    append_entry(conn, kind, saying.who, when, saying.what.value, ["signal_event"])
    return own


def read_decisions(conn: Connection, series: str | None = None) -> list[Said]:
    """Return what was decided about series, oldest first."""
    return _read(conn, OF_SERIES, series)


def read_of_signals(conn: Connection) -> dict[str, list[Said]]:
    """Return what was said of each signal, oldest first, by its id."""
    found: dict[str, list[Said]] = {}
    for said in _read(conn, OF_SIGNAL):
        found.setdefault(said.about, []).append(said)
    return found


def _read(conn: Connection, kinds: Iterable[What], about: str | None = None) -> list[Said]:
    """Read sayings with who and when from their entries; a row of its own would let the two differ."""
    statement = (
        select(signal_event, entry.c.who, entry.c.at)
        .join(entry, entry.c.id == signal_event.c.entry)
        .where(signal_event.c.what.in_([what.value for what in kinds]))
        .order_by(signal_event.c.id)
    )
    if about is not None:
        statement = statement.where(signal_event.c.signal == about)
    return [
        Said(
            what=What(row.what),
            who=row.who,
            text=row.text,
            cause=row.cause,
            action=row.action,
            first=row.first_serial or row.from_serial or "",
            last=row.last_serial or "",
            outcome=row.outcome or "",
            role=row.role or "",
            id=row.id,
            about=row.signal,
            when=moment_of(row.at),
        )
        for row in conn.execute(statement)
    ]

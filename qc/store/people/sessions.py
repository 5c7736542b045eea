"""Who is signed in: the digest of a cookie each, so that whoever reads the store can sign in as nobody."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, delete, insert, select, update

from qc.store.chain import micros_of, moment_of
from qc.store.tables import session


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """One person signed in at one browser.

    Attributes
    ----------
    code : str
        The person.
    by : str
        ``pin``, ``password`` or ``link``.
    begun, seen : datetime
        When it began, and when it was last used, UTC.
    """

    code: str
    by: str
    begun: datetime
    seen: datetime


def add_session(conn: Connection, digest: str, code: str, by: str, when: datetime) -> None:
    """Keep that somebody signed in."""
    at = micros_of(when)
    conn.execute(insert(session), {"digest": digest, "code": code, "by": by, "begun": at, "seen": at})


def read_session(conn: Connection, digest: str) -> SessionRecord | None:
    """Return who is signed in under the digest of a cookie, None where nobody is."""
    row = conn.execute(select(session).where(session.c.digest == digest)).first()
    return None if row is None else SessionRecord(row.code, row.by, moment_of(row.begun), moment_of(row.seen))


def see_session(conn: Connection, digest: str, when: datetime) -> None:
    """Keep that a session is in use."""
    conn.execute(update(session).where(session.c.digest == digest).values(seen=micros_of(when)))


def end_sessions(
    conn: Connection, *, digest: str = "", code: str = "", begun_before: datetime | None = None
) -> None:
    """End one session, all of a person, or all that began before a moment."""
    if digest:
        conn.execute(delete(session).where(session.c.digest == digest))
    if code:
        conn.execute(delete(session).where(session.c.code == code))
    if begun_before is not None:
        conn.execute(delete(session).where(session.c.begun < micros_of(begun_before)))

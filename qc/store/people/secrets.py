"""What a person signs in with: hashes only, and how many tries have failed since the last good one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, select, update

from qc.store.chain import micros_of, moment_of
from qc.store.tables import person


@dataclass(frozen=True, slots=True)
class Secrets:
    """The hashes of a person's PIN, password and one-time code, each empty where there is none.

    Attributes
    ----------
    pin, password, once : str
        Hashes.
    once_until : datetime or None
        Until when the one-time code is taken, UTC.
    failures : int
        Tries that failed since the last good one.
    locked_until : datetime or None
        Until when no try is taken, UTC.
    """

    pin: str
    password: str
    once: str
    once_until: datetime | None
    failures: int
    locked_until: datetime | None


def read_secrets(conn: Connection, code: str) -> Secrets | None:
    """Return what a person signs in with, None for a stranger."""
    row = conn.execute(select(person).where(person.c.code == code)).first()
    if row is None:
        return None
    once_until = None if row.once_until is None else moment_of(row.once_until)
    locked_until = None if row.locked_until is None else moment_of(row.locked_until)
    return Secrets(row.pin or "", row.password or "", row.once or "", once_until, row.failures, locked_until)


def put_once(conn: Connection, code: str, digest: str | None, until: datetime | None) -> None:
    """Take away PIN, password and failed tries, and keep a one-time code in their place, or nothing."""
    _change(
        conn,
        code,
        pin=None,
        password=None,
        once=digest,
        once_until=None if until is None else micros_of(until),
        failures=0,
        locked_until=None,
    )


def put_secrets(conn: Connection, code: str, pin: str, password: str) -> None:
    """Keep the hashes of PIN and password; the one-time code is used up."""
    _change(
        conn,
        code,
        pin=pin,
        password=password,
        once=None,
        once_until=None,
        failures=0,
        locked_until=None,
    )


def put_failures(conn: Connection, code: str, failures: int, locked_until: datetime | None) -> None:
    """Keep how many tries failed, and until when none is taken."""
    until = None if locked_until is None else micros_of(locked_until)
    _change(conn, code, failures=failures, locked_until=until)


def _change(conn: Connection, code: str, **values: object) -> None:
    conn.execute(update(person).where(person.c.code == code).values(**values))

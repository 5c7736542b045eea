"""Who works here: each coming, role and leaving is an entry of the chain; the name stands beside it."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from sqlalchemy import Connection, delete, insert, select, update

from qc.store.chain import append_entry, moment_of, next_entry
from qc.store.keeping import mark_of
from qc.store.rows import next_id
from qc.store.tables import entry, person, person_event, session


class PersonWord(StrEnum):
    """What becomes of a person in the list of people."""

    ADDED = "added"
    ROLE = "role"
    NAMED = "named"
    RESET = "reset"
    SET_UP = "set-up"
    LEFT = "left"
    ERASED = "erased"


@dataclass(frozen=True, slots=True)
class PersonRecord:
    """One person, as the newest entries have it.

    Attributes
    ----------
    code : str
        Stands on cards and decisions.
    role : str
        The newest one.
    name : str
        Empty where none was given, or where it was erased.
    since, left : datetime
        Moments of coming and leaving, UTC; `left` is None while at work.
    signed_up : bool
        PIN and password are set.
    locked_until : datetime or None
        Until then nobody signs in under this code, since too many tries failed.
    """

    code: str
    role: str
    name: str
    since: datetime
    left: datetime | None
    signed_up: bool
    locked_until: datetime | None

    @property
    def at_work(self) -> bool:
        """Whether the person has not left."""
        return self.left is None


def role_of(conn: Connection, code: str) -> str | None:
    """Return the role that a person has now, None of one who is not on the list."""
    newest = select(person_event.c.role).where(person_event.c.code == code).order_by(person_event.c.id.desc())
    role = conn.execute(newest.limit(1)).scalar()
    return None if role is None else str(role)


def read_people(conn: Connection) -> list[PersonRecord]:
    """Return everybody who was ever added, in order of coming."""
    kept = {row.code: row for row in conn.execute(select(person))}
    since: dict[str, datetime] = {}
    left: dict[str, datetime | None] = {}
    role: dict[str, str] = {}
    statement = (
        select(person_event, entry.c.at)
        .join(entry, entry.c.id == person_event.c.entry)
        .order_by(person_event.c.id)
    )
    for row in conn.execute(statement):
        role[row.code] = row.role
        if row.what == PersonWord.ADDED:
            since.setdefault(row.code, moment_of(row.at))
            left[row.code] = None
        if row.what == PersonWord.LEFT:
            left[row.code] = moment_of(row.at)
    return [
        PersonRecord(
            code=code,
            role=role[code],
            name=own.name or "" if own else "",
            since=begun,
            left=left[code],
            signed_up=own is not None and own.password is not None,
            locked_until=moment_of(own.locked_until) if own is not None and own.locked_until else None,
        )
        for code, begun in since.items()
        for own in [kept.get(code)]
    ]


def note(
    conn: Connection,
    code: str,
    what: PersonWord,
    role: str,
    who: str,
    when: datetime,
    *,
    name: str | None = None,
    mark: str | None = None,
) -> None:
    """Append what becomes of a person as an entry of its own, and keep or forget the name beside it."""
    if what is PersonWord.ADDED and not _is_there(conn, code):
        conn.execute(insert(person), {"code": code, "failures": 0})
    if name is not None:
        salt = secrets.token_hex(16)
        mark = mark_of(salt, name)
        conn.execute(update(person).where(person.c.code == code).values(name=name, salt=salt))
    if what is PersonWord.LEFT:
        conn.execute(delete(session).where(session.c.code == code))
    if what is PersonWord.ERASED:
        conn.execute(update(person).where(person.c.code == code).values(name=None, salt=None))
    row = {
        "id": next_id(conn, person_event),
        "entry": next_entry(conn),
        "code": code,
        "what": what.value,
        "role": role,
        "mark": mark,
    }
    conn.execute(insert(person_event), row)
    append_entry(conn, "person", who, when, f"{what.value} {code}", ["person_event"])


def _is_there(conn: Connection, code: str) -> bool:
    return conn.execute(select(person.c.code).where(person.c.code == code)).scalar() is not None

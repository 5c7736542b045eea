"""Names and secrets can be forgotten, so they stand beside the chain; what it says of them must fit."""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256

from sqlalchemy import Connection, select

from qc.store.tables import person, person_event

NAMES = frozenset({"added", "named"})
"""Events that carry the mark of a name."""

NOT_SIGNED_UP = frozenset({"added", "reset", "left"})
"""Events after which a person has nothing to sign in with."""


def mark_of(*parts: str) -> str:
    """Return the hash that stands in the chain for what can be forgotten."""
    return sha256("\n".join(parts).encode()).hexdigest()


def secrets_mark(pin: str, password: str) -> str:
    """Return the mark of what a person signs in with, made of the hashes that are kept of it."""
    return mark_of(pin, password)


def faults_of_persons(conn: Connection) -> Iterator[str]:
    """Yield a sentence for each name, PIN or password that is not the one its entry stands for."""
    names: dict[str, str | None] = {}
    secrets: dict[str, str | None] = {}
    for row in conn.execute(select(person_event).order_by(person_event.c.id)):
        if row.what in NAMES:
            names[row.code] = row.mark
        if row.what == "erased":
            names[row.code] = None
        if row.what == "set-up" or row.what in NOT_SIGNED_UP:
            secrets[row.code] = row.mark if row.what == "set-up" else None
    kept = {row.code: row for row in conn.execute(select(person))}
    for code in sorted(secrets.keys() - kept.keys()):
        yield f"{code} was taken out of the list of people. Put back the last backup (`qc restore`)."
    for code in sorted(kept.keys() - secrets.keys()):
        yield f"{code} was put into the list of people by no entry. Take the row away."
    for code in sorted(kept.keys() & secrets.keys()):
        row = kept[code]
        own = None if row.name is None else mark_of(row.salt or "", row.name)
        if own != names.get(code):
            yield f"The name of the person {code} is not the one that was entered. Put back the last backup."
        if row.pin is None and row.password is None:
            if secrets[code] is not None:
                yield f"What {code} signs in with was taken away. Give a new code: qc people reset {code}"
        elif secrets_mark(row.pin or "", row.password or "") != secrets[code]:
            yield f"What {code} signs in with was altered. Give a new code: qc people reset {code}"

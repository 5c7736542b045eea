"""A name taken out of earlier texts of the plan: a change to kept rows for which an entry answers.

The guard of the table is taken off and put back within the transaction, word for word, so that nobody ever
finds the table without it.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import Connection, insert, select, text, update

from qc.store.chain import append_entry, contents, next_entry
from qc.store.keeping import guard
from qc.store.rows import next_id
from qc.store.sheetfiles import sheet_hash
from qc.store.tables import erasure, plan_version

_TABLE = plan_version.name


def erase_in_plans(
    conn: Connection, code: str, texts: Mapping[int, str], who: str, when: datetime, *, sqlite: bool
) -> None:
    """Put texts without a name in the place of those with it, by version; their entries stay as they are."""
    if not texts:
        return
    _guarded(conn, False, sqlite)
    for version, new in texts.items():
        mark = sheet_hash(new.encode("utf-8"))
        conn.execute(update(plan_version).where(plan_version.c.id == version).values(text=new, hash=mark))
    _guarded(conn, True, sqlite)
    number, first = next_entry(conn), next_id(conn, erasure)
    changed = conn.execute(
        select(plan_version.c.id, plan_version.c.entry, plan_version.c.hash)
        .where(plan_version.c.id.in_(list(texts)))
        .order_by(plan_version.c.id)
    ).all()
    rows = [
        {
            "id": first + place,
            "entry": number,
            "code": code,
            "plan": row.id,
            "hash": row.hash,
            "content": contents(conn, row.entry, row.entry)[row.entry],
        }
        for place, row in enumerate(changed)
    ]
    conn.execute(insert(erasure), rows)
    append_entry(conn, "erasure", who, when, f"name of {code}", [erasure.name])


def _guarded(conn: Connection, on: bool, sqlite: bool) -> None:
    if sqlite:
        conn.execute(text(guard(_TABLE, "update") if on else f"DROP TRIGGER {_TABLE}_no_update"))
    else:
        conn.execute(text(f"ALTER TABLE {_TABLE} {'ENABLE' if on else 'DISABLE'} TRIGGER {_TABLE}_kept"))

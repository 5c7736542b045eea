"""Small values by name, anything JSON can hold; not part of the chain."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from qc.plain import JsonObject
from qc.store.frames import in_parts
from qc.store.tables import state


def read_states(conn: Connection, keys: Iterable[str]) -> JsonObject:
    """Return the values kept under these names; names never used are left out."""
    found: JsonObject = {}
    for part in in_parts(keys):
        rows = conn.execute(select(state).where(state.c.key.in_(part)))
        found |= {row.key: json.loads(row.value) for row in rows}
    return found


def put_states(conn: Connection, values: Mapping[str, Any]) -> None:
    """Keep values under names; what was there before is replaced."""
    for key, value in values.items():
        kept = json.dumps(value, ensure_ascii=False, allow_nan=False)
        conn.execute(delete(state).where(state.c.key == key))
        conn.execute(insert(state), {"key": key, "value": kept})

"""What the entries of erased texts hash to since: a name was taken out, and an entry of the chain says so."""

from __future__ import annotations

from sqlalchemy import Connection, select

from qc.store.tables import erasure, plan_version


def contents_since_erased(conn: Connection) -> dict[int, str]:
    """Return, by number of the entry that brought a text of the plan, the hash that its rows must have now.

    The last erasure counts: neither the text of before nor any third one is accepted in its place.
    """
    statement = (
        select(plan_version.c.entry, erasure.c.content)
        .join(plan_version, plan_version.c.id == erasure.c.plan)
        .order_by(erasure.c.id)
    )
    return {row.entry: row.content for row in conn.execute(statement)}

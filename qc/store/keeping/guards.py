"""The database is built as this program built it: guards word for word, tables and views by name."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, text

from qc.store.tables import KEPT, metadata

REFUSAL = "accepted rows are never changed or deleted"
VIEWS = ("all_readings",)
_OURS = {"table": {*metadata.tables, "alembic_version"}, "view": set(VIEWS)}


def faults_of_guards(conn: Connection) -> Iterator[str]:
    """Yield a sentence for each guard that is missing or not ours, each table or view too many."""
    found = conn.execute(
        text("SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'")
    ).all()
    triggers = {row.name: _plain(row.sql) for row in found if row.type == "trigger"}
    for table in KEPT:
        for verb in ("update", "delete"):
            name = f"{table.name}_no_{verb}"
            own = triggers.pop(name, None)
            if own is None:
                yield f"The guard against {verb} on table {table.name} was taken away."
            elif own != _plain(guard(table.name, verb)):
                yield f"The guard against {verb} on table {table.name} was replaced by another."
    for name in triggers:
        yield f"A trigger that is not ours was added: {name}. It can change rows unseen; take it away."
    for kind, ours in _OURS.items():
        present = {row.name for row in found if row.type == kind}
        for name in sorted(present - ours):
            yield f"A {kind} that is not ours was added: {name}. Keep tables of your own in another file."
        for name in sorted(ours - present):
            yield f"The {kind} {name} was taken away. Put back the last backup (`qc restore`)."


def guard(table: str, verb: str) -> str:
    """Return the statement that made the guard of a table, as the migrations write it."""
    return (
        f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
    )


def _plain(statement: str | None) -> str:
    return " ".join((statement or "").split())

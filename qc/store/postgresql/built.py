"""A server's database is built as this program built it: guards, tables, views, and values columns can hold.

What SQLite must be asked of each value (its kind, whether it is text at all) the server sees to itself.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, Double, text

from qc.store.tables import KEPT, metadata

VIEWS = frozenset({"all_readings"})
REFUSING = "BEGIN RAISE EXCEPTION 'accepted rows are never changed or deleted'; END"
"""What the guards do, as the first migration says it."""

_GUARDS = {
    "kept": (
        "change",
        "CREATE TRIGGER {0}_kept BEFORE DELETE OR UPDATE ON {0} FOR EACH ROW EXECUTE FUNCTION "
        "refuse_change()",
    ),
    "not_emptied": (
        "emptying",
        "CREATE TRIGGER {0}_not_emptied BEFORE TRUNCATE ON {0} FOR EACH STATEMENT EXECUTE FUNCTION "
        "refuse_change()",
    ),
}
_KINDS = {"r": "table", "p": "table", "f": "table", "v": "view", "m": "view"}
_RESTORE = "Put back the last backup (`qc restore`)."
_TOLD = 5  # rows named for each column, as in an SQLite file


def faults_of_building(conn: Connection) -> Iterator[str]:
    """Yield a sentence for each guard missing, off or not ours, each table or view too many or few."""
    yield from _guards(conn)
    yield from _refusal(conn)
    yield from _relations(conn)
    yield from _values(conn)


def _guards(conn: Connection) -> Iterator[str]:
    """Say which guards of the kept tables are missing, replaced or off, and which triggers are not ours."""
    found = conn.execute(
        text(
            "SELECT c.relname, t.tgname, t.tgisinternal, t.tgenabled, "
            "pg_get_triggerdef(t.oid, true) AS built FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "WHERE c.relnamespace = current_schema()::regnamespace ORDER BY t.tgname"
        )
    ).all()
    ours = {(row.relname, row.tgname): row for row in found if not row.tgisinternal}
    for table in KEPT:
        for end, (verb, built) in _GUARDS.items():
            own = ours.pop((table.name, f"{table.name}_{end}"), None)
            if own is None:
                yield f"The guard against {verb} on table {table.name} was taken away."
            elif own.built != built.format(table.name):
                yield f"The guard against {verb} on table {table.name} was replaced by another."
            elif own.tgenabled not in {"O", "A"}:
                yield f"The guard against {verb} on table {table.name} is switched off."
    for _, name in ours:
        yield f"A trigger that is not ours was added: {name}. It can change rows unseen; take it away."
    for name in sorted({row.relname for row in found if row.tgisinternal and row.tgenabled in {"D", "R"}}):
        yield f"What table {name} checks of each row is switched off. {_RESTORE}"


def _refusal(conn: Connection) -> Iterator[str]:
    asked = "SELECT prosrc FROM pg_proc WHERE proname = 'refuse_change' AND pronamespace = {}"
    found = conn.execute(text(asked.format("current_schema()::regnamespace"))).scalars().all()
    if [" ".join(one.split()) for one in found] != [REFUSING]:
        yield f"What the guards do was replaced: the function refuse_change is not ours. {_RESTORE}"


def _relations(conn: Connection) -> Iterator[str]:
    """Say which tables and views are missing or strange, and which rules or policies were put on them."""
    found = conn.execute(
        text(
            "SELECT c.relname, c.relkind, c.relrowsecurity, "
            "EXISTS (SELECT FROM pg_rewrite w WHERE w.ev_class = c.oid AND w.rulename <> '_RETURN') AS ruled "
            "FROM pg_class c WHERE c.relnamespace = current_schema()::regnamespace"
        )
    ).all()
    ours = {"table": {*metadata.tables, "alembic_version"}, "view": set(VIEWS)}
    for kind, names in ours.items():
        present = {row.relname for row in found if _KINDS.get(row.relkind) == kind}
        for name in sorted(present - names):
            yield f"A {kind} that is not ours was added: {name}. Keep tables of your own in another schema."
        for name in sorted(names - present):
            yield f"The {kind} {name} was taken away. {_RESTORE}"
    for row in sorted(found, key=lambda one: one.relname):
        if row.ruled:
            yield f"A rule that is not ours was put on {row.relname}: it can change rows. Take it away."
        if row.relrowsecurity:
            yield f"A policy that can hide rows was put on {row.relname}. Take it away and verify again."


def _values(conn: Connection) -> Iterator[str]:
    """Say where a column holds what none of our writers could have put there."""
    columns = conn.execute(
        text(
            "SELECT table_name, column_name FROM information_schema.columns "
            "WHERE table_schema = current_schema()"
        )
    ).all()
    present = {(row.table_name, row.column_name) for row in columns}
    for table in metadata.sorted_tables:
        key = next(iter(table.primary_key)).name
        for column in table.c:
            if (table.name, column.name) not in present:
                continue
            odd = [] if column.nullable else [f'"{column.name}" IS NULL']
            if isinstance(column.type, Double):
                odd.append(f"\"{column.name}\" IN ('NaN', 'Infinity', '-Infinity')")
            if not odd:
                continue
            where = f'FROM "{table.name}" WHERE {" OR ".join(odd)}'
            rows = conn.execute(text(f'SELECT "{key}" {where} ORDER BY 1')).scalars().all()
            if rows:
                more = f" and {len(rows) - _TOLD} more" if len(rows) > _TOLD else ""
                listed = ", ".join(map(str, rows[:_TOLD]))
                yield (
                    f"Table {table.name}, column {column.name}: row {listed}{more} holds what can be no "
                    f"value of it. {_RESTORE}"
                )

"""The first tables, and the guards that keep accepted rows as they are."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
KEPT = (
    "entry",
    "sheet",
    "place",
    "origin",
    "reading",
    "event",
    "held",
    "held_event",
    "plan_version",
    "signal_event",
)
REFUSAL = "accepted rows are never changed or deleted"


def upgrade() -> None:
    _entries_and_sheets()
    _readings()
    _events()
    _held()
    _plans_and_verdicts()
    _view()
    if op.get_context().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgresql()


def _entries_and_sheets() -> None:
    """Make the tables of entries and of the sheets handed in."""
    op.create_table(
        "entry",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("before", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("hash"),
    )
    op.create_table(
        "sheet",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("card", sa.Text(), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("hash"),
    )
    op.create_index("sheet_entry", "sheet", ["entry"], unique=False)


def _readings() -> None:  # with their places, and where each came from
    op.create_table(
        "place",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("leg", sa.Text(), nullable=True),
        sa.Column("station", sa.Text(), nullable=True),
        sa.Column("direction", sa.Text(), nullable=True),
        sa.Column("surface", sa.Text(), nullable=True),
        sa.Column("valve", sa.Text(), nullable=True),
        sa.Column("position", sa.BigInteger(), nullable=True),
        sa.Column("partial", sa.BigInteger(), nullable=True),
        sa.Column("area", sa.Text(), nullable=True),
        sa.Column("spot", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "origin",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("sheet", NUMBER, nullable=True),
        sa.Column("tab", sa.Text(), nullable=True),
        sa.Column("measured_at", sa.BigInteger(), nullable=True),
        sa.Column("offset_min", sa.BigInteger(), nullable=True),
        sa.Column("has_time", sa.Integer(), nullable=True),
        sa.Column("day", sa.Text(), nullable=True),
        sa.Column("entered_at", sa.BigInteger(), nullable=True),
        sa.Column("serial", sa.Text(), nullable=True),
        sa.Column("model", sa.Text(), nullable=True),
        sa.Column("stage", sa.Text(), nullable=True),
        sa.Column("characteristic", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=True),
        sa.Column("person", sa.Text(), nullable=True),
        sa.Column("gauge", sa.Text(), nullable=True),
        sa.Column("tool", sa.Text(), nullable=True),
        sa.Column("batch", sa.Text(), nullable=True),
        sa.Column("air_c", sa.Double(), nullable=True),
        sa.Column("method", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["sheet"],
            ["sheet.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("origin_day", "origin", ["day"], unique=False)
    op.create_index("origin_serial", "origin", ["serial"], unique=False)
    op.create_index("origin_what", "origin", ["stage", "characteristic", "model"], unique=False)
    op.create_table(
        "reading",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("origin", NUMBER, nullable=False),
        sa.Column("place", NUMBER, nullable=False),
        sa.Column("repeat", sa.BigInteger(), nullable=True),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("text", sa.Text(), nullable=True),
        sa.Column("tool_count", sa.BigInteger(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("row", sa.BigInteger(), nullable=True),
        sa.Column("column", sa.Text(), nullable=True),
        sa.Column("replaces", NUMBER, nullable=True),
        sa.Column("fingerprint", sa.LargeBinary(length=16), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.ForeignKeyConstraint(
            ["origin"],
            ["origin.id"],
        ),
        sa.ForeignKeyConstraint(
            ["place"],
            ["place.id"],
        ),
        sa.ForeignKeyConstraint(
            ["replaces"],
            ["reading.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("reading_entry", "reading", ["entry"], unique=False)
    op.create_index("reading_fingerprint", "reading", ["fingerprint"], unique=False)
    op.create_index("reading_origin", "reading", ["origin"], unique=False)
    few = sa.text("replaces IS NOT NULL")
    op.create_index("reading_replaces", "reading", ["replaces"], sqlite_where=few, postgresql_where=few)


def _events() -> None:
    """Make the table of what happened to pieces, tools and gauges."""
    op.create_table(
        "event",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("sheet", NUMBER, nullable=True),
        sa.Column("kind", sa.Text(), nullable=True),
        sa.Column("measured_at", sa.BigInteger(), nullable=True),
        sa.Column("day", sa.Text(), nullable=True),
        sa.Column("entered_at", sa.BigInteger(), nullable=True),
        sa.Column("serial", sa.Text(), nullable=True),
        sa.Column("model", sa.Text(), nullable=True),
        sa.Column("stage", sa.Text(), nullable=True),
        sa.Column("subject", sa.Text(), nullable=True),
        sa.Column("code", sa.Text(), nullable=True),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=True),
        sa.Column("text", sa.Text(), nullable=True),
        sa.Column("person", sa.Text(), nullable=True),
        sa.Column("tool", sa.Text(), nullable=True),
        sa.Column("batch", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("tab", sa.Text(), nullable=True),
        sa.Column("row", sa.BigInteger(), nullable=True),
        sa.Column("column", sa.Text(), nullable=True),
        sa.Column("replaces", NUMBER, nullable=True),
        sa.Column("fingerprint", sa.LargeBinary(length=16), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.ForeignKeyConstraint(
            ["replaces"],
            ["event.id"],
        ),
        sa.ForeignKeyConstraint(
            ["sheet"],
            ["sheet.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("event_entry", "event", ["entry"], unique=False)
    op.create_index("event_fingerprint", "event", ["fingerprint"], unique=False)
    op.create_index("event_kind", "event", ["kind", "day"], unique=False)
    op.create_index("event_serial", "event", ["serial"], unique=False)
    op.create_index("event_subject", "event", ["subject"], unique=False)


def _held() -> None:
    """Make the tables of held rows and of what was decided on them."""
    op.create_table(
        "held",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("sheet", NUMBER, nullable=False),
        sa.Column("tab", sa.Text(), nullable=True),
        sa.Column("row", sa.BigInteger(), nullable=True),
        sa.Column("column", sa.Text(), nullable=True),
        sa.Column("cell", sa.Text(), nullable=True),
        sa.Column("table", sa.Text(), nullable=True),
        sa.Column("text", sa.Text(), nullable=True),
        sa.Column("reasons", sa.Text(), nullable=False),
        sa.Column("proposal", sa.Text(), nullable=False),
        sa.Column("typed", sa.Text(), nullable=False),
        sa.Column("fingerprint", sa.LargeBinary(length=16), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.ForeignKeyConstraint(
            ["sheet"],
            ["sheet.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("held_entry", "held", ["entry"], unique=False)
    op.create_index("held_fingerprint", "held", ["fingerprint"], unique=False)
    op.create_index("held_sheet", "held", ["sheet"], unique=False)
    op.create_table(
        "held_event",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("held", NUMBER, nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.ForeignKeyConstraint(
            ["held"],
            ["held.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("held"),
    )
    op.create_index("held_event_entry", "held_event", ["entry"], unique=False)


def _plans_and_verdicts() -> None:
    """Make the tables of plan versions, verdicts, signals with what was said of them, and kept states."""
    op.create_table(
        "plan_version",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "verdict",
        sa.Column("series", sa.Text(), nullable=False),
        sa.Column("as_of", sa.Text(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("series", "as_of"),
    )
    op.create_table(
        "signal",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("series", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("first_as_of", sa.Text(), nullable=False),
        sa.Column("last_as_of", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("signal_series", "signal", ["series"], unique=False)
    op.create_table(
        "signal_event",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("signal", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("signal_event_entry", "signal_event", ["entry"], unique=False)
    op.create_index("signal_event_signal", "signal_event", ["signal"], unique=False)
    op.create_table(
        "state",
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key"),
    )


def _view() -> None:
    """For people who look in with a database tool."""
    op.execute(
        """
        CREATE VIEW all_readings AS
        SELECT r.id, o.day, o.serial, o.model, o.stage, o.characteristic, p.leg, p.station, p.direction,
               p.surface, p.valve, p.position, p.partial, p.area, p.spot, r.repeat, r.value, o.unit, r.text,
               o.person, o.gauge, o.tool, r.tool_count, o.batch, o.air_c, o.method, r.note,
               s.file, o.tab, r."row", r."column", r.entry, r.replaces
        FROM reading r
        JOIN origin o ON o.id = r.origin
        JOIN place p ON p.id = r.place
        LEFT JOIN sheet s ON s.id = o.sheet
        """
    )


def _guard_sqlite() -> None:
    for table in KEPT:
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
            )


def _guard_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$"
    )
    for table in KEPT:
        op.execute(
            f"CREATE TRIGGER {table}_kept BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        op.execute(
            f"CREATE TRIGGER {table}_not_emptied BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )

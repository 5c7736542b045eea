"""Who works here and may sign in: a history that is kept, and beside it what must be forgettable.

`person_event` and `erasure` are entries of the chain. Names, hashes of PINs and passwords, and who is signed
in stand in `person` and `session`, which are rewritten: the chain holds salted hashes of them only.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
REFUSAL = "accepted rows are never changed or deleted"


def upgrade() -> None:
    op.create_table(
        "person_event",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("mark", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("person_event_entry", "person_event", ["entry"], unique=False)
    op.create_index("person_event_code", "person_event", ["code"], unique=False)
    op.create_table(
        "erasure",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("plan", NUMBER, nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.ForeignKeyConstraint(["plan"], ["plan_version.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("erasure_entry", "erasure", ["entry"], unique=False)
    op.create_table(
        "person",
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("salt", sa.Text(), nullable=True),
        sa.Column("pin", sa.Text(), nullable=True),
        sa.Column("password", sa.Text(), nullable=True),
        sa.Column("once", sa.Text(), nullable=True),
        sa.Column("once_until", sa.BigInteger(), nullable=True),
        sa.Column("failures", sa.BigInteger(), nullable=False),
        sa.Column("locked_until", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("code"),
    )
    op.create_table(
        "session",
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("begun", sa.BigInteger(), nullable=False),
        sa.Column("seen", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("digest"),
    )
    for table in ("person_event", "erasure"):
        if op.get_context().dialect.name == "sqlite":
            _guard_sqlite(table)
        else:
            _guard_postgresql(table)


def _guard_sqlite(table: str) -> None:
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
        )


def _guard_postgresql(table: str) -> None:
    op.execute(
        f"CREATE TRIGGER {table}_kept BEFORE UPDATE OR DELETE ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
    )
    op.execute(
        f"CREATE TRIGGER {table}_not_emptied BEFORE TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
    )

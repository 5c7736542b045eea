"""A sheet that could not be read is kept all the same, and waits until its layout is shown or it is put away.

Until then a refused sheet lay with whoever handed it in and nowhere else. Its bytes lie among the others;
here stand who handed it in, why it was refused, and what became of it.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TABLES = ("unread", "unread_event")
REFUSAL = "accepted rows are never changed or deleted"


def upgrade() -> None:
    op.create_table(
        "unread",
        *_named(),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("refusal", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("hash"),
    )
    op.create_table(
        "unread_event",
        *_named(),
        sa.Column("unread", NUMBER, nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["unread"], ["unread.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    for table in TABLES:
        op.create_index(f"{table}_entry", table, ["entry"], unique=False)
    if op.get_context().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgresql()


def _named() -> tuple[sa.Column[int] | sa.ForeignKeyConstraint, ...]:
    return (
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
    )


def _guard_sqlite() -> None:
    for table in TABLES:
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
            )


def _guard_postgresql() -> None:
    for table in TABLES:
        op.execute(
            f"CREATE TRIGGER {table}_kept BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        op.execute(
            f"CREATE TRIGGER {table}_not_emptied BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )

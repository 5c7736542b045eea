"""What is told is kept: each verdict as it was told, under an entry, with what it rested on.

Verdicts and signals are rewritten whenever a series is judged again. What people were told stands here
beside them and stays, so that it can be asked for later, and so that a verdict altered behind the program's
back is seen.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
KEPT = ("judgement", "told")
REFUSAL = "accepted rows are never changed or deleted"


def upgrade() -> None:
    op.create_table(
        "judgement",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.Column("program", sa.Text(), nullable=False),
        sa.Column("plan", NUMBER, nullable=True),
        sa.Column("readings", NUMBER, nullable=False),
        sa.Column("events", NUMBER, nullable=False),
        sa.Column("upto", NUMBER, nullable=False),
        sa.Column("mark", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.ForeignKeyConstraint(["plan"], ["plan_version.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("judgement_entry", "judgement", ["entry"], unique=False)
    op.create_table(
        "told",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("series", sa.Text(), nullable=False),
        sa.Column("day", sa.Text(), nullable=False),
        sa.Column("verdict", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("as_in", NUMBER, nullable=True),
        sa.Column("body", sa.LargeBinary(), nullable=True),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.ForeignKeyConstraint(["as_in"], ["told.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("told_entry", "told", ["entry"], unique=False)
    op.create_index("told_series", "told", ["series", "id"], unique=False)
    if op.get_context().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgresql()


def _guard_sqlite() -> None:
    for table in KEPT:
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
            )


def _guard_postgresql() -> None:
    for table in KEPT:
        op.execute(
            f"CREATE TRIGGER {table}_kept BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        op.execute(
            f"CREATE TRIGGER {table}_not_emptied BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )

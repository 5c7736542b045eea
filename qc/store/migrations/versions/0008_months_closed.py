"""Which files are the report of a month that was closed.

What was told of a closed month stands for good: the files lie in the folder of reports, their hashes here, so
that a file altered or lost is found out, and cards that come in later are told in the month after.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TABLE = "month_file"
REFUSAL = "accepted rows are never changed or deleted"


def upgrade() -> None:
    op.create_table(
        TABLE,
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("month", sa.Text(), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(f"{TABLE}_entry", TABLE, ["entry"], unique=False)
    if op.get_context().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgresql()


def _guard_sqlite() -> None:
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {TABLE}_no_{verb.lower()} BEFORE {verb} ON {TABLE} "
            f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
        )


def _guard_postgresql() -> None:
    op.execute(
        f"CREATE TRIGGER {TABLE}_kept BEFORE UPDATE OR DELETE ON {TABLE} "
        "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
    )
    op.execute(
        f"CREATE TRIGGER {TABLE}_not_emptied BEFORE TRUNCATE ON {TABLE} "
        "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
    )

"""What the headings of benches mean is kept: each text of ``mappings.yaml``, under an entry.

A sheet is read with the mappings of its day. Whoever judges it later must be able to see with which.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
KEPT = ("mapping_version",)
REFUSAL = "accepted rows are never changed or deleted"


def upgrade() -> None:
    op.create_table(
        "mapping_version",
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("mapping_version_entry", "mapping_version", ["entry"], unique=False)
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

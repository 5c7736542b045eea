"""What was accepted can be taken back: a reading or an event, and a decision about a held row.

The row stays where it is and is passed over from then on; which one, and under which entry, stands here. A
held row whose decision is taken back waits again under a new number.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TABLE = "taken_back"
REFUSAL = "accepted rows are never changed or deleted"


def upgrade() -> None:
    op.create_table(
        TABLE,
        sa.Column("id", NUMBER, autoincrement=False, nullable=False),
        sa.Column("entry", NUMBER, nullable=False),
        sa.Column("reading", NUMBER, nullable=True),
        sa.Column("event", NUMBER, nullable=True),
        sa.Column("decision", NUMBER, nullable=True),
        sa.Column("waits_as", NUMBER, nullable=True),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], initially="DEFERRED", deferrable=True),
        sa.ForeignKeyConstraint(["reading"], ["reading.id"]),
        sa.ForeignKeyConstraint(["event"], ["event.id"]),
        sa.ForeignKeyConstraint(["decision"], ["held_event.id"]),
        sa.ForeignKeyConstraint(["waits_as"], ["held.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("reading"),
        sa.UniqueConstraint("event"),
        sa.UniqueConstraint("decision"),
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

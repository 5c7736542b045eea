"""A short number for each signal, in the order in which they were first told: what people call it by."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

SIGNAL = sa.table(
    "signal", sa.column("id", sa.Text), sa.column("first_as_of", sa.Text), sa.column("number", sa.Integer)
)


def upgrade() -> None:
    op.add_column("signal", sa.Column("number", sa.Integer(), nullable=True))
    conn = op.get_bind()
    known = sa.select(SIGNAL.c.id).order_by(SIGNAL.c.first_as_of, SIGNAL.c.id)
    for number, own in enumerate(conn.execute(known).scalars().all(), start=1):
        conn.execute(sa.update(SIGNAL).where(SIGNAL.c.id == own).values(number=number))

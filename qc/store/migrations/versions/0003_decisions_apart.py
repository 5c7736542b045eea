"""A decision about a series gets columns of its own; room for what a closing will say.

Until here its first and last piece stood in the columns of a closed signal's cause and action. They are moved
over for the decisions there are; no hash changes, since `qc.store.chain` hashes them under the old names. The
rows are guarded against any change, so the guard is taken off for this one move, in the same transaction.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

TABLE = "signal_event"
ADDED = ("first_serial", "last_serial", "outcome", "from_serial", "role")
MOVE = (
    "UPDATE signal_event SET first_serial = cause, last_serial = action, cause = '', action = '' "
    "WHERE what IN ('freeze', 'undo-freeze', 'leave-out', 'undo-leave-out')"
)


def upgrade() -> None:
    for name in ADDED:
        op.add_column(TABLE, sa.Column(name, sa.Text(), nullable=True))
    with _unguarded():
        op.execute(MOVE)


@contextmanager
def _unguarded() -> Iterator[None]:
    """Take the guard against updates off and put the same one back."""
    if op.get_context().dialect.name != "sqlite":
        op.execute(f"ALTER TABLE {TABLE} DISABLE TRIGGER USER")
        yield
        op.execute(f"ALTER TABLE {TABLE} ENABLE TRIGGER USER")
        return
    guard = f"{TABLE}_no_update"
    asked = sa.text("SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = :name")
    made_by = op.get_bind().execute(asked, {"name": guard}).scalar()
    op.execute(f"DROP TRIGGER IF EXISTS {guard}")
    yield
    if made_by is not None:  # where somebody had taken it away, `qc verify` is to go on saying so
        op.execute(made_by)

"""An index of what was measured by day: the newest pieces of a series are found without walking its past."""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_index("origin_made", "origin", ["stage", "characteristic", "day"])

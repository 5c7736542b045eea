"""What is typed at the bench bears an id that the tablet gave it, so that sending it twice enters it once."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("sheet", sa.Column("entered_as", sa.Text(), nullable=True))
    # several sheets without such an id are no clash: an empty value equals no other one
    op.create_index("sheet_entered_as", "sheet", ["entered_as"], unique=True)

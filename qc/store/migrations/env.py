"""Run the migrations on the connection that the store hands over, inside its transaction."""

from __future__ import annotations

from alembic import context

from qc.store.tables import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
with context.begin_transaction():
    context.run_migrations()

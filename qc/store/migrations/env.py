"""Run the migrations on the connection that the store hands over, inside its transaction."""

from __future__ import annotations

from typing import Any

from alembic import context

from qc.store.tables import metadata


def run(config: Any) -> None:
    """Run the steps that the store lacks."""
    context.configure(connection=config.attributes["connection"], target_metadata=metadata)
    with context.begin_transaction():
        context.run_migrations()


# Alembic fills `context` only while it migrates; who merely imports this module runs nothing
_config = getattr(context, "config", None)
if _config is not None:
    run(_config)

"""Make a writing durable on a server, and find out what became of it where the line breaks just then.

A program that has said COMMIT and hears no answer cannot know: the server may have made it durable before the
line broke. It knows the number of its transaction, and the server tells by it how that ended, on any later
connection (PostgreSQL documentation, "Transaction ID and Snapshot Information Functions", pg_xact_status).
"""

from __future__ import annotations

import time

from sqlalchemy import Connection, Engine, RootTransaction, text
from sqlalchemy.exc import DBAPIError

LISTENS_S = 5.0  # how long a server may take to notice that the line broke; chosen: a person sits before it
_LOOKS_EVERY_S = 0.05
_OURS = "backend_xid::text::bigint = mod(CAST(:number AS bigint), 4294967296)"  # listed without its epoch


def make_durable(conn: Connection, begun: RootTransaction, engine: Engine) -> bool:
    """End a transaction; where the line breaks meanwhile, ask on another one how it ended.

    Parameters
    ----------
    conn, begun : Connection, RootTransaction
        Where it was written, and the transaction in which.
    engine : Engine
        Makes other connections to the same database.

    Returns
    -------
    bool
        Whether it is known to be durable; False: the server does not answer, so nobody can tell.

    Raises
    ------
    DBAPIError
        It is not durable: the server refused it, or undid it when the line broke.
    """
    number = conn.exec_driver_sql("SELECT pg_current_xact_id()::text").scalar_one()
    try:
        begun.commit()
    except DBAPIError as error:
        if not error.connection_invalidated:
            raise
        ended = _ended(engine, number)
        if ended == "aborted":
            raise
        return ended == "committed"
    return True


def _ended(engine: Engine, number: str) -> str | None:
    """Return how a transaction ended, in the server's own word; None where it cannot be asked."""
    until = time.monotonic() + LISTENS_S
    while True:
        try:
            with engine.connect() as plain:
                conn = plain.execution_options(isolation_level="AUTOCOMMIT")
                asked = {"number": number}
                said = conn.execute(text("SELECT pg_xact_status(CAST(:number AS xid8))"), asked).scalar()
                if said != "in progress":
                    return None if said is None else str(said)
                if time.monotonic() > until:  # its other end waits for a line that is gone: it is ended
                    conn.execute(
                        text(f"SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity WHERE {_OURS}"),
                        asked,
                    )
        except DBAPIError:
            pass  # it may be starting again
        if time.monotonic() > until + LISTENS_S:
            return None
        time.sleep(_LOOKS_EVERY_S)

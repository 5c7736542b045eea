"""What a command may start before it loads the rest, so that it is ready when it is needed."""

from __future__ import annotations

from qc.ingest import keep_reader


def start_reader() -> None:
    """Start the process that reads sheets; it gets ready while this one loads its libraries."""
    keep_reader()

"""The store's own error."""

from __future__ import annotations

from qc.errors import QcError


class StoreError(QcError):
    """The store cannot be opened, read or written; the text says why and what to do."""

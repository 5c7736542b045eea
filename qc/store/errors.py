"""The store's own errors."""

from __future__ import annotations

from qc.errors import MachineError, QcError


class StoreError(QcError):
    """The store cannot be opened, read or written; the text says why and what to do."""


class StoreUnavailable(MachineError, StoreError):
    """A lock, a full disk or a missing right keeps the store from answering.

    What had been stored by then is not said here: whoever asked for several things knows which were done.
    """


class StoreInDoubt(StoreUnavailable):
    """A server broke off while it made something durable, and cannot be asked how that ended."""

    in_doubt = True

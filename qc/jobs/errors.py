"""What a job says when it cannot be done."""

from __future__ import annotations

from qc.errors import QcError


class JobError(QcError):
    """A job was asked for something it cannot do; the text says why and what to do instead."""

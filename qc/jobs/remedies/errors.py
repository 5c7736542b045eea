"""What a remedy says when its file or its options are at fault."""

from __future__ import annotations

from qc.errors import QcError, UsageError


class RemedyError(QcError):
    """The data are at fault; the text says where, what, and what to do."""


class RemedyUsageError(UsageError, RemedyError):
    """The command was asked in a way it cannot answer: exit code 2 instead of 1."""

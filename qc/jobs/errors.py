"""What a job says when it cannot be done."""

from __future__ import annotations

from qc.plan import QcError


def is_for_people(error: Exception) -> bool:
    """Say whether an error is meant for the user: one line that says what, where and what to do.

    The pure packages have roots of their own, since they import nothing of ours.
    """
    from qc.stats import StatisticsError
    from qc.trade import TradeError

    return isinstance(error, (QcError, StatisticsError, TradeError))


def is_wrong_usage(error: Exception) -> bool:
    """Say whether an error is about how a command was asked, not about the data."""
    return isinstance(error, UsageError)


class JobError(QcError):
    """A job was asked for something it cannot do; the text says why and what to do instead."""


class UsageError(JobError):
    """The question itself is wrong, whatever the data: something is left out or cannot be read."""

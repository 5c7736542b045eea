"""The root of every error that a person can act on: what happened, where, what to do, and the exit code.

QcError            the data are at fault, exit code 1
    UsageError     the question itself is wrong, whatever the data, exit code 2

Each floor has errors of its own below these (`PlanError`, `SheetError`, `StoreError`, `JobError`,
`StatisticsError`, `TradeError` ...). The command line turns any of them into one line on stderr and its
exit code; anything else is a fault of the program and keeps its traceback.
"""

from __future__ import annotations

from typing import ClassVar


class QcError(Exception):
    """Something a person can put right; the text says what, where and how."""

    exit_code: ClassVar[int] = 1


class UsageError(QcError):
    """The question itself is wrong, whatever the data: something is left out, unknown or does not fit."""

    exit_code: ClassVar[int] = 2

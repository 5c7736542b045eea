"""The root of every error that a person can act on: what happened, where, what to do, and the exit code.

QcError            the data are at fault, exit code 1
    UsageError     the question itself is wrong, whatever the data, exit code 2
    MachineError   the machine is at fault: a lock, a full disk, a missing right, no memory, exit code 3

Each floor has errors of its own below these (`PlanError`, `SheetError`, `StoreError`, `JobError`,
`StatisticsError`, `TradeError` ...). The command line turns any of them into one line on stderr and its
exit code; anything else is a fault of the program: one line says where its log lies, exit code 3 as well.

What was stored when something failed is known to the job alone. It says so as the last sentence: added to
a `MachineError`, or as a note to an exception that is a fault of the program.
"""

from __future__ import annotations

from typing import ClassVar, Self


class QcError(Exception):
    """Something a person can put right; the text says what, where and how."""

    exit_code: ClassVar[int] = 1


class UsageError(QcError):
    """The question itself is wrong, whatever the data: something is left out, unknown or does not fit."""

    exit_code: ClassVar[int] = 2


class MachineError(QcError):
    """The machine did not let us: a lock, a full disk, a missing right, no memory."""

    exit_code: ClassVar[int] = 3
    in_doubt: ClassVar[bool] = False
    """Whether nobody can tell if what was asked for was done."""

    def ending(self, sentence: str) -> Self:
        """Return the same error with one more sentence, for example on what was stored."""
        return type(self)(f"{self} {sentence}")

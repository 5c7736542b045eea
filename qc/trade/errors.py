"""The one error of the trade computations."""

from __future__ import annotations

from qc.errors import QcError


class TradeError(QcError, ValueError):
    """A value cannot be used in a trade computation.

    Parameters
    ----------
    problem : str
        What is wrong, with the value.
    hint : str
        What to do about it.
    index : int, optional
        Which reading of those handed over (counted from 0), so that a caller can name file and line.
    column : str, optional
        Which column of that reading.
    """

    def __init__(self, problem: str, hint: str, index: int | None = None, column: str | None = None) -> None:
        super().__init__(f"{problem}. {hint}")
        self.problem, self.hint, self.index, self.column = problem, hint, index, column

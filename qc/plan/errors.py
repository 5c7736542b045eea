"""What is wrong with a plan: every fault at once, each with its line, field, problem and mend."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qc.errors import QcError
from qc.words import count_words


@dataclass(frozen=True, slots=True)
class PlanFault:
    """One thing wrong in a plan file.

    Attributes
    ----------
    line : int
        1-based line of the file, 0 where the whole file is meant.
    field : str
        Dotted path of the field, for example ``stages[2].characteristics[0].limits[1].lower``.
    problem : str
        What is wrong.
    mend : str
        What to write instead.
    """

    line: int
    field: str
    problem: str
    mend: str

    def __str__(self) -> str:
        return f"line {self.line}, {self.field}: {self.problem}. {self.mend}"

    def to_dict(self) -> dict[str, object]:
        """Return the fault as plain values."""
        return {"line": self.line, "field": self.field, "problem": self.problem, "mend": self.mend}


class PlanError(QcError):
    """A plan cannot be used; `faults` lists all that is wrong with it, in order of line."""

    def __init__(self, source: str, faults: Sequence[PlanFault]) -> None:
        self.source = source
        self.faults = tuple(faults)
        lines = [f"{source}: the plan has {count_words(len(self.faults), 'fault')}."]
        lines += [f"  {fault}" for fault in self.faults]
        super().__init__("\n".join(lines))

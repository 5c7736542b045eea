"""The error of a sheet that cannot be used at all: which file, tab and cell, what is wrong, what to do."""

from __future__ import annotations

from collections.abc import Sequence

from qc.errors import QcError
from qc.plan import PlanFault
from qc.words import count_words


class SheetError(QcError):
    """A whole sheet is refused; nothing of it is taken.

    Parameters
    ----------
    file : str
        Name of the file as handed in; empty where the asker says it.
    problem : str
        What is wrong, without a full stop.
    hint : str
        What to do about it, a whole sentence.
    tab : str
        Worksheet name, empty for csv and for faults of the whole file.
    cell : str
        Where in the tab: ``B7`` in a workbook, ``line 12`` in a csv file; empty where the whole is meant.
    """

    def __init__(self, file: str, problem: str, hint: str, *, tab: str = "", cell: str = "") -> None:
        where = ", ".join(part for part in (file, f"tab {tab}" if tab else "", cell) if part)
        super().__init__(f"{where}: {problem}. {hint}" if where else f"{problem}. {hint}")
        self.file, self.tab, self.cell, self.problem, self.hint = file, tab, cell, problem, hint

    def to_dict(self) -> dict[str, str]:
        """Return the error as plain values."""
        return {
            "file": self.file,
            "tab": self.tab,
            "cell": self.cell,
            "problem": self.problem,
            "hint": self.hint,
        }


class MappingError(QcError):
    """A mapping cannot be used; `faults` lists all that is wrong with it, in order of line."""

    def __init__(self, source: str, faults: Sequence[PlanFault]) -> None:
        self.source, self.faults = source, tuple(sorted(faults, key=lambda fault: fault.line))
        lines = [f"{source}: the mapping has {count_words(len(self.faults), 'fault')}."]
        super().__init__("\n".join([*lines, *(f"  {fault}" for fault in self.faults)]))

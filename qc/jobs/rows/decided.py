"""What can be decided about a held row, and what became of it: the answer to a decision."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from qc.plain import JsonObject
from qc.report.terminal import mended_text, settled_line
from qc.stats import Tabled
from qc.store import HeldReason

TYPE_AGAIN = "What was typed is asked about too. Type it once more to confirm it, or type another value."
"""What whoever typed a value by hand can do where that is odd itself."""


class Decision(StrEnum):
    """What a person may decide about a held row."""

    PROPOSAL = "proposal"  # take the proposed mend
    BY_HAND = "by-hand"  # change columns
    AS_TYPED = "as-typed"  # it was right after all: confirm every doubt
    DROP = "drop"  # set it aside for good


@dataclass(frozen=True, slots=True)
class Mended(Tabled):
    """What became of a held row."""

    row: int
    state: Literal["accepted", "dropped", "held"]
    sentence: str
    reasons: tuple[HeldReason, ...] = ()
    confirm: bool = False  # typed once more, it is accepted

    def to_text(self) -> str:
        """Say it in one sentence, and why where it is still held."""
        return mended_text(self.sentence, [reason.sentence for reason in self.reasons])


@dataclass(frozen=True, slots=True)
class MendedRows:
    """What became of several held rows."""

    rows: tuple[Mended, ...]

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"mended": [row.to_dict() for row in self.rows]}

    def to_text(self) -> str:
        """Say it row by row."""
        return "\n".join(row.to_text() for row in self.rows)

    def to_line(self) -> str:
        """Say it of all together: how many of each state, and of those still held why, by kind."""
        if len(self.rows) == 1:
            return " ".join([self.rows[0].sentence, *(one.sentence for one in self.rows[0].reasons)])
        states = Counter(row.state for row in self.rows)
        why = Counter(one.id.replace("-", " ") for row in self.rows for one in row.reasons)
        told = settled_line(states, why.most_common())
        return f"{told} {TYPE_AGAIN}" if any(one.confirm for one in self.rows) else told

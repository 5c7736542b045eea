"""The answer to a history: the sums over its parts, what was raised, what to look at next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from qc.jobs.receipts import RaisedSignal
from qc.plain import JsonObject
from qc.stats import Tabled
from qc.words import count_words, listed

MOST_TOLD = 12
"""So many signals and marks are told in words; chosen, the board and `--json` have all of them."""


@dataclass(frozen=True, slots=True)
class HistoryReceipt(Tabled):
    """What became of a history: ``rows = accepted + held + already_known``, over the parts taken in now.

    Attributes
    ----------
    files : int
        How many there were.
    parts, passed : int
        Parts that were taken in now, and those passed over since they were on record.
    rows, accepted, held, already_known : int
        Rows of the parts taken in now, and what became of them.
    reasons : mapping of str to int
        How many rows each reason holds.
    signals : tuple of RaisedSignal
        Raised by judging everything at the end.
    marks : tuple of str
        What is worth knowing although nothing is held for it.
    beside : tuple of str
        Columns that are kept with the parts and of which nothing is read.
    """

    files: int
    parts: int
    passed: int
    rows: int
    accepted: int
    held: int
    already_known: int
    reasons: Mapping[str, int]
    signals: tuple[RaisedSignal, ...] = ()
    marks: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()

    def to_dict(self) -> JsonObject:
        """Return the answer of ``qc import --json``."""
        return {
            "files": self.files,
            "parts": self.parts,
            "passed": self.passed,
            "rows": self.rows,
            "accepted": self.accepted,
            "held": self.held,
            "already_known": self.already_known,
            "reasons": dict(self.reasons),
            "signals": list(self.signals),
            "marks": list(self.marks),
            "beside": list(self.beside),
        }

    def to_text(self) -> str:
        """Say it in words."""
        told = [count_words(self.rows, "row"), f"{self.accepted} accepted", f"{self.held} held"]
        head = f"{count_words(self.files, 'file')}: {', '.join(told)}, {self.already_known} already known."
        lines = [head if self.parts else "Nothing new: every part was on record."]
        if self.parts and self.passed:
            lines.append(f"{count_words(self.passed, 'part')} on record before, passed over.")
        if self.reasons:
            each = [f"{number} {reason}" for reason, number in self.reasons.items()]
            lines.append(f"Held for: {', '.join(each)}. See them: qc held list")
        if self.beside:
            lines.append(f"Kept with the rows, not read: {listed(self.beside)}.")
        lines += _told(list(self.marks), "remark")
        lines += _told([f"▲ {signal['sentence']}" for signal in self.signals], "signal")
        return "\n".join(lines)


def _told(sentences: list[str], what: str) -> list[str]:
    """Return the first of many sentences and how many more there are."""
    more = len(sentences) - MOST_TOLD
    return [*sentences[:MOST_TOLD], *([f"{count_words(more, f'more {what}')}."] if more > 0 else [])]

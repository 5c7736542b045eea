"""The answer to an upload: what became of each sheet, what was raised, and the sums."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass
from typing import TypedDict

from qc.ingest import SheetQuestion
from qc.jobs.pieces import HoldList, HoldRow, LeftPiece, left_pieces, lines_of
from qc.jobs.receipts.accepted import Accepted
from qc.jobs.rows import UnreadSheet
from qc.plain import JsonObject
from qc.report.terminal import learned_text, receipt_text, sheets_hold_note, total_text
from qc.stats import Tabled
from qc.store import SheetCount


class RaisedSignal(TypedDict):
    """What a receipt tells of a new signal."""

    id: str
    series: str
    kind: str
    raised_serial: str
    sentence: str
    because: str
    next_step: str


@dataclass(frozen=True, slots=True)
class SheetReceipt:
    """What became of one sheet.

    Attributes
    ----------
    count : SheetCount
        Rows accepted, held and already known, and the reasons of the held ones.
    signals : tuple of RaisedSignal
        Signals that this upload raised in series the sheet belongs to.
    marks : tuple of str
        What is worth knowing although nothing is held for it.
    read_with : tuple of str
        Which mapping it was read with, what was kept beside, and whether its dates can be read two ways.
    missing : tuple of str
        What its pieces still lack of the card they stand on.
    """

    count: SheetCount
    signals: tuple[RaisedSignal, ...] = ()
    marks: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    read_with: tuple[str, ...] = ()

    def to_dict(self) -> JsonObject:
        """Return the contract of one sheet of ``qc upload --json``."""
        c = self.count
        return {
            **c.to_dict(),
            "signals": list(self.signals),
            "marks": [*self.read_with, *self.marks],
            "learned": learned_text(c.rows, c.accepted, c.held, c.already_known, c.held_again),
            "missing": list(self.missing),
        }


@dataclass(frozen=True, slots=True)
class UploadReceipt(Tabled):
    """The answer to an upload: a receipt for each sheet, and a sentence for each file that was refused.

    Attributes
    ----------
    sheets : tuple of SheetReceipt
        In the order handed in.
    refused : tuple of str
        Why a file was not taken in.
    raised : tuple of RaisedSignal
        All signals raised by judging after this upload, those on no sheet of it too.
    late : frozenset of str
        Ids of those that sheets handed in before had brought, which had not been judged until now.
    questions : tuple of SheetQuestion
        What a mapping would answer: headings of refused sheets, dates that can be read two ways.
    accepted : Accepted
        Where the readings accepted now are found again.
    hold : HoldList or None
        What holds the pieces of these sheets, and parts of those that left, now; None where nothing is new.
    pieces, gone : frozenset of str
        Serials on these sheets, and those that left by them.
    left_before : tuple of LeftPiece
        Pieces that had left when these sheets showed them outside a limit.
    waiting : tuple of UnreadSheet
        Refused sheets that are kept until their layout is shown, those known from before too.
    not_kept : tuple of str
        Refused files that cannot be opened as a sheet, or are too large: they are not kept.
    """

    ROWS = "sheets"

    sheets: tuple[SheetReceipt, ...]
    refused: tuple[str, ...] = ()
    raised: tuple[RaisedSignal, ...] = ()
    late: frozenset[str] = frozenset()
    questions: tuple[SheetQuestion, ...] = ()
    accepted: Accepted = Accepted()
    hold: HoldList | None = None
    pieces: frozenset[str] = frozenset()
    gone: frozenset[str] = frozenset()
    left_before: tuple[LeftPiece, ...] = ()
    waiting: tuple[UnreadSheet, ...] = ()
    not_kept: tuple[str, ...] = ()

    @property
    def kept_said(self) -> tuple[str, ...]:
        """What became of refused sheets: kept until their layout is shown, put away before, or not kept."""
        lost = [f"{name} was not kept: only a sheet that can be opened is." for name in self.not_kept]
        away = " Where it can be read after all, hand it in with its layout."
        told = [f"{one.sentence}.{away}" if one.state == "put-away" else one.sentence for one in self.waiting]
        return (*told, *lost)

    @property
    def to_hold(self) -> tuple[HoldRow, ...]:
        """What holds pieces of these sheets that are in the house."""
        return tuple(row for row in self.hold.waiting if row.serial in self.pieces) if self.hold else ()

    @property
    def left(self) -> tuple[LeftPiece, ...]:
        """The pieces that left by these sheets although something holds them."""
        return left_pieces(self.hold.rows, self.gone) if self.hold else ()

    @property
    def hold_said(self) -> str:
        """Which pieces of these sheets are to be held; the list of the whole house counts others too."""
        return sheets_hold_note(lines_of(self.to_hold))

    def to_dict(self) -> JsonObject:
        """Return the contract of ``qc upload --json``."""
        return {
            "sheets": [s.to_dict() for s in self.sheets],
            "refused": list(self.refused),
            "waiting": [one.to_dict() for one in self.waiting],
            "not_kept": list(self.not_kept),
            "kept_said": list(self.kept_said),
            "signals": list(self.raised),
            "hold": [row.to_dict() for row in self.to_hold],
            "hold_said": self.hold_said,
            "left": [one.to_dict() for one in self.left],
            "left_before": [one.to_dict() for one in self.left_before],
            "readings": {**self.accepted.to_dict(), "sentence": self.accepted.apart()},
        }

    def to_text(self) -> str:
        """Say what became of each sheet and what was raised, what had waited from before apart."""
        counts = [sheet.count for sheet in self.sheets]
        rows = [
            (c.file, c.rows, c.accepted, c.held, c.already_known, c.reasons, c.held_again) for c in counts
        ]
        own = [s["sentence"] for s in self.raised if s["id"] not in self.late]
        late = [s["sentence"] for s in self.raised if s["id"] in self.late]
        return receipt_text(
            rows,
            own,
            late,
            read_with=[s.read_with for s in self.sheets],
            missing=[s.missing for s in self.sheets],
            accepted=self.accepted.apart(),
            hold=self.hold_said,
            waiting=self.kept_said,
            left=[
                (one.sentence, f"{one.next_step.rstrip('.')}: {one.release_by}")
                for one in (*self.left, *self.left_before)
            ],
        )


@dataclass(frozen=True, slots=True)
class Total:
    """The sums over the sheets of an upload."""

    sheets: int
    rows: int
    accepted: int
    held: int
    already_known: int

    @classmethod
    def of(cls, sheets: Sequence[SheetReceipt]) -> Total:
        """Add up the receipts."""
        names = ("rows", "accepted", "held", "already_known")
        return cls(len(sheets), *(sum(getattr(s.count, name) for s in sheets) for name in names))

    def sentence(self) -> str:
        """Say the sums in words."""
        return total_text(*astuple(self))

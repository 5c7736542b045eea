"""One row of the list of pieces to hold: a serial, a figure and a reason."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from qc.plain import JsonObject
from qc.store import PieceDecision
from qc.watch import PieceFigure

Why = Literal["limit", "signal", "gauge", "batch", "hand"]
WHY_ORDER: tuple[Why, ...] = ("limit", "hand", "signal", "gauge", "batch")
"""What is certain of the piece itself first, then what is suspected of many."""


HAND = "hand"
"""Why a piece is on the list that a lead keeps back for itself."""

HELD_ROW = "held row "
"""How a held row is named among what a row of the list rests on."""


@dataclass(frozen=True, slots=True)
class PieceDecided:
    """Who decided something about a piece, why, and on which day."""

    who: str
    why: str
    day: date

    @classmethod
    def of(cls, decision: PieceDecision, zone: str) -> PieceDecided:
        """Take it from what the store keeps; its day is that of the workshop's zone."""
        return cls(decision.who, decision.text, day_of(decision.when, zone))

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"who": self.who, "why": self.why, "day": self.day.isoformat()}


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where a piece is: in words, the day it left, None where it is in the house, and its place alone.

    `whole` is what a part is built into, empty for what stands by itself.
    """

    words: str = ""
    shipped: date | None = None
    bench: str = ""
    whole: str = ""


@dataclass(frozen=True, slots=True)
class HoldRow:
    """One piece to hold, for one figure and one reason.

    Attributes
    ----------
    serial : str
        The piece; a part that was built in goes by its own serial.
    stage, characteristic : str
        Ids of the figure, empty for a piece that a lead added by hand.
    name : str
        The figure in words: ``Lacquer: Lacquer thickness``.
    unit : str
        As in the plan.
    figure : PieceFigure or None
        Where the figure is worst, with its limits; None where the piece was not measured for it.
    why : Why
        The reason.
    because : str
        The reason in words.
    next_step : str
        What to do, in plain words; of a piece that has left what can still be done about it.
    rests_on : tuple of tuple of str
        What it rests on, each by the names it goes or went by; a release covers no more than that.
    whereabouts : Whereabouts
        Where the piece is.
    released, kept_back : PieceDecided or None
        What was decided last, if anything was.
    since : date or None
        Since when the reason was known here; of what is in the house and outside a limit it is not asked.
    once_left : str
        What to do once it has left, where that is not the same as for all that did (`once_left` of `left`).
    by_answer : bool
        It was released by the answer to its signal, which came after it had left.
    """

    serial: str
    stage: str
    characteristic: str
    name: str
    unit: str
    figure: PieceFigure | None
    why: Why
    because: str
    next_step: str
    rests_on: tuple[tuple[str, ...], ...]
    whereabouts: Whereabouts = Whereabouts()
    released: PieceDecided | None = None
    kept_back: PieceDecided | None = None
    since: date | None = None
    once_left: str = ""
    by_answer: bool = False

    @property
    def left_held(self) -> bool:
        """Whether the piece left while it was to be held: known by the end of that day, and not released."""
        left = self.whereabouts.shipped
        if left is None or self.since is None or self.since > left:
            return False
        return self.released is None or self.by_answer or self.released.day > left

    @property
    def as_typed(self) -> bool:
        """Whether it rests on held rows alone: most are slips of the pen, and come after what was read."""
        return all(names[0].startswith(HELD_ROW) for names in self.rests_on)

    @property
    def in_house(self) -> bool:
        """Whether it is still here."""
        return self.whereabouts.shipped is None

    @property
    def waits(self) -> bool:
        """Whether nobody released it."""
        return self.released is None

    def to_dict(self) -> JsonObject:
        """Return one row of the contract of ``qc hold --json``, and who keeps it back."""
        found, shipped = self.figure, self.whereabouts.shipped
        return {
            "serial": self.serial,
            "stage": self.stage,
            "characteristic": self.characteristic,
            "place": found.place if found else "",
            "value": found.value if found else None,
            "unit": self.unit,
            "lower": found.lower if found else None,
            "upper": found.upper if found else None,
            "why": self.why,
            "because": self.because,
            "shipped": shipped.isoformat() if shipped else None,
            "left_held": self.left_held,
            "where": self.whereabouts.words,
            "next_step": self.next_step,
            "released": self.released.to_dict() if self.released else None,
            "kept_back": self.kept_back.to_dict() if self.kept_back else None,
        }


def why_words(row: HoldRow) -> str:
    """Say why a piece is to be held, and who keeps it back."""
    kept = row.kept_back
    if kept is None or row.why == HAND:
        return row.because
    return f"{row.because.rstrip('.')}; kept back by {kept.who}: {kept.why}"


def day_of(when: datetime, zone: str) -> date:
    """Return the day of a moment in the workshop's zone."""
    return when.astimezone(ZoneInfo(zone)).date()

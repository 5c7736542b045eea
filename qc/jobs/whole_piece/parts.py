"""The parts of a piece with batch and tool, those that went on into another, and what a part was in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from qc.jobs.whole_piece.sharing import SHARED, Genealogy
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.watch import PartUse
from qc.words import dated_words


@dataclass(frozen=True, slots=True)
class PartOfPiece:
    """A part that is, or was, in a piece.

    Attributes
    ----------
    part, serial : str
        Its role and its serial.
    batch, tool : str
        As on its assembly card, else on the cards of its making; several are joined by `` + ``.
    day : date or None
        When it was built in.
    person : str
        By whom.
    until : date or None
        When it went into another piece, or another part took its place; None while it is in this one.
    went_to : str
        That piece, if any.
    came_from : str
        The piece it was in before this one, if any.
    """

    part: str
    serial: str
    batch: str
    tool: str
    day: date | None
    person: str
    until: date | None = None
    went_to: str = ""
    came_from: str = ""

    @property
    def there(self) -> bool:
        """Whether it is in the piece still."""
        return self.until is None and not self.went_to

    @property
    def gone(self) -> str:
        """Say where it went, or that it is out; empty while it is there."""
        if self.went_to:
            return f"went into {self.went_to}"
        return f"taken out on {dated_words(self.until)}" if self.until else ""

    @property
    def made_of(self) -> str:
        """Batch and tool in words."""
        named = (("batch", self.batch), ("tool", self.tool))
        return ", ".join(f"{kind} {name}" for kind, name in named if name)

    @property
    def since(self) -> str:
        """When it was built in, by whom, and out of which piece it came, in words."""
        day = dated_words(self.day) if self.day else "day not known"
        by = f" by {self.person}" if self.person else ""
        return f"{day}{by}{f', out of {self.came_from}' if self.came_from else ''}"

    def to_dict(self) -> JsonObject:
        """Return the contract of a part of ``qc piece --json``, and when and by whom it was built in."""
        contract = {name: getattr(self, name) for name in ("part", "serial", "batch", "tool")}
        return {
            **contract,
            "day": self.day.isoformat() if self.day else None,
            "person": self.person,
            "until": self.until.isoformat() if self.until else None,
            "went_to": self.went_to or None,
            "came_from": self.came_from or None,
        }


@dataclass(frozen=True, slots=True)
class StayOfPart:
    """A piece that a part is or was in, in words."""

    serial: str
    role: str
    day: date | None
    until: date | None

    @property
    def said(self) -> str:
        """Since when, and until when it was there."""
        since = f" since {dated_words(self.day)}" if self.day and not self.until else ""
        until = f" until {dated_words(self.until)}" if self.until else ""
        return f"{self.role or 'part'} of {self.serial}{since}{until}"

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "serial": self.serial,
            "part": self.role,
            "day": self.day.isoformat() if self.day else None,
            "until": self.until.isoformat() if self.until else None,
        }


def parts_of(workshop: Workshop, serial: str, tree: Genealogy) -> tuple[PartOfPiece, ...]:
    """Return the parts that are in a piece, then those that went into another."""
    uses = [*tree.parts_of(serial), *tree.moved_of(serial)]
    cards = workshop.store.around([use.part for use in uses], until=workshop.today) if uses else None
    made: dict[tuple[str, str], list[str]] = {}
    if cards is not None:
        for kind in SHARED:
            for part, name in cards.select("serial", kind).drop_nulls().iter_rows():
                names = made.setdefault((part, kind), [])
                names += [name] if name not in names else []

    def told(use: PartUse, kind: str) -> str:
        return str(getattr(use, kind) or " + ".join(made.get((use.part, kind), ())))

    found = []
    for use in uses:
        stays = tree.stays_of(use.part)
        before = stays[stays.index(use) - 1].piece if stays.index(use) else ""
        found.append(
            PartOfPiece(
                use.role or "part",
                use.part,
                told(use, "batch"),
                told(use, "tool"),
                use.day,
                use.person,
                use.until,
                use.went_to,
                before,
            )
        )
    return tuple(found)


def stays_of(serial: str, tree: Genealogy) -> tuple[StayOfPart, ...]:
    """Return what a part is in, then what it was in before."""
    stays = (StayOfPart(use.piece, use.role, use.day, use.until) for use in tree.stays_of(serial))
    return tuple(sorted(stays, key=lambda one: one.until is not None))

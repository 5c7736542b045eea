"""What a piece shares with others: batches and tools of its own cards and of those of its parts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.watch import PartUse, homes, way_down, way_up

SHARED = ("batch", "tool")
"""What of a card may be to blame for many pieces, and can be followed to them."""


@dataclass(frozen=True, slots=True)
class Shared:
    """A batch or a tool of a piece, and the other pieces that bear it.

    Attributes
    ----------
    kind, name : str
        ``batch`` or ``tool``, and its id.
    why : str
        Why it is looked at: the signal that suspects it.
    pieces : tuple of (str, date or None)
        Serials of the others, and the day each left; None for what is in the house.
    """

    kind: str
    name: str
    why: str
    pieces: tuple[tuple[str, date | None], ...]

    @property
    def left(self) -> int:
        """How many of them have left."""
        return sum(day is not None for _, day in self.pieces)

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        rows = [
            {"serial": serial, "shipped": day.isoformat() if day else None} for serial, day in self.pieces
        ]
        return {"kind": self.kind, "name": self.name, "why": self.why, "pieces": rows}


class Genealogy:
    """All that was built into anything by a day, asked once for one answer."""

    def __init__(self, workshop: Workshop, uses: Sequence[PartUse]) -> None:
        self._workshop = workshop
        self.uses = uses
        self._home = homes(uses)

    def parts_of(self, serial: str) -> tuple[PartUse, ...]:
        """Return the parts that are in a piece now."""
        return tuple(use for use in self.uses if use.piece == serial and use.there)

    def moved_of(self, serial: str) -> tuple[PartUse, ...]:
        """Return the parts that were in a piece: into another one they went, or one took their place."""
        return tuple(use for use in self.uses if use.piece == serial and not use.there)

    def stays_of(self, part: str) -> tuple[PartUse, ...]:
        """Return the pieces a part was in, the present one last."""
        return tuple(use for use in self.uses if use.part == part)

    def inside(self, serial: str) -> tuple[str, ...]:
        """Return every part of a piece, and what is in these."""
        return way_down(serial, self.uses)

    def whole(self, serial: str) -> str:
        """Return the instrument that a part is in, itself where it is in none."""
        return next(reversed(way_up(serial, self.uses)), serial) if serial in self._home else serial

    def own(self, serial: str) -> dict[tuple[str, str], None]:
        """Return the batches and tools that a piece and its parts bear, in order of their cards."""
        serials = [serial, *self.inside(serial)]
        cards = self._workshop.store.around(serials, until=self._workshop.today)
        found: dict[tuple[str, str], None] = {}
        for kind in SHARED:
            named = [getattr(use, kind) for one in serials for use in self.parts_of(one)]
            for name in (*cards[kind].drop_nulls(), *named):
                if name:
                    found[kind, name] = None
        return found

    def others(self, serial: str, kind: str, name: str) -> tuple[str, ...]:
        """Return the other instruments, or loose parts, that bear a batch or a tool."""
        read = self._workshop.store.bearing(kind, name, until=self._workshop.today)
        built = [use.part for use in self.uses if getattr(use, kind) == name]
        whole = {self.whole(one) for one in (*read["serial"], *built)}
        return tuple(sorted(whole - {serial, self.whole(serial)}))


def days_left(workshop: Workshop, serials: Iterable[str] | None = None) -> dict[str, date]:
    """Return the pieces that are away on the workshop's day, with the day they left."""
    wanted = None if serials is None else sorted(set(serials))
    if wanted is not None and not wanted:
        return {}
    events = workshop.store.events(["shipped", "returned"], serials=wanted, until=workshop.today)
    away: dict[str, date] = {}
    rows = events.filter(pl.col("day").is_not_null()).sort("day", "id", maintain_order=True)
    for kind, serial, day in rows.select("kind", "serial", "day").iter_rows():
        if kind == "shipped":
            away[serial] = day
        else:
            away.pop(serial, None)
    return away

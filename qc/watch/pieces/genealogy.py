"""Which part is in which piece: a part is in one place at a time, and nothing is ever inside itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

import polars as pl


@dataclass(frozen=True, slots=True)
class PartUse:
    """One stay of a part in a piece.

    Attributes
    ----------
    part, piece : str
        Serials.
    role : str
        What it is there, such as ``bell``; empty where nobody said.
    day : date or None
        The day it was built in.
    batch, tool, person : str
        As on its card; empty where the card does not say.
    until : date or None
        The day it went into another piece, or another one took its place; None while it is there.
    went_to : str
        That other piece; empty where another part took its place.
    """

    part: str
    piece: str
    role: str = ""
    day: date | None = None
    batch: str = ""
    tool: str = ""
    person: str = ""
    until: date | None = None
    went_to: str = ""

    @property
    def there(self) -> bool:
        """Whether the part is in the piece still; the day it went on may be unknown."""
        return self.until is None and not self.went_to


def part_uses(events: pl.DataFrame) -> tuple[PartUse, ...]:
    """Return every stay of every part, in order of the days.

    Parameters
    ----------
    events : polars.DataFrame
        Events of the kind ``part`` in order of entry, with the columns of the tidy table.

    Returns
    -------
    tuple of PartUse
        Recorded in a second piece, a part has left the first; where pieces have one part of a kind, the next
        one takes the place of the one before. A row that would put a piece inside itself, by whatever
        detour, says nothing that can be; it is passed over.
    """
    named = events.filter(pl.col("subject").is_not_null() & pl.col("serial").is_not_null())
    columns = ["subject", "serial", "code", "day", "batch", "tool", "person"]
    uses: list[PartUse] = []
    now: dict[str, int] = {}
    for part, piece, role, day, batch, tool, person in (
        named.select(columns).sort("day", nulls_last=True, maintain_order=True).iter_rows()
    ):
        if part == piece or part in _up(piece, now, uses):
            continue
        fresh = PartUse(part, piece, role or "", day, batch or "", tool or "", person or "")
        before = now.get(part)
        if before is not None and uses[before].piece == piece:
            uses[before] = _told_again(uses[before], fresh)
            continue
        if before is not None:
            uses[before] = replace(uses[before], until=day, went_to=piece)
        now[part] = len(uses)
        uses.append(fresh)
    return tuple(_with_places_taken(uses))


MOST, FEWEST = 0.8, 3
"""Of pieces with a part of a kind so many have one alone, and there are as many at least. Chosen."""


def _with_places_taken(uses: list[PartUse]) -> list[PartUse]:
    """Say of a part that it is out where a later one of its kind came in and pieces have one of that kind."""
    of_piece: dict[str, dict[str, list[int]]] = {}
    for place, use in enumerate(uses):
        if use.role:
            of_piece.setdefault(use.role, {}).setdefault(use.piece, []).append(place)
    for pieces in of_piece.values():
        alone = sum(len(places) == 1 for places in pieces.values())
        if len(pieces) < FEWEST or alone < MOST * len(pieces):
            continue
        for places in pieces.values():
            for place, later in pairwise(places):
                before, after = uses[place], uses[later]
                if before.until is None and before.day and after.day and before.day < after.day:
                    uses[place] = replace(before, until=after.day)
    return uses


def homes(uses: Iterable[PartUse]) -> dict[str, str]:
    """Return the piece that each part is in now."""
    return {use.part: use.piece for use in uses if use.there}


def way_down(serial: str, uses: Iterable[PartUse]) -> tuple[str, ...]:
    """Return what is in a piece, parts of parts included; empty for a piece without parts.

    Examples
    --------
    >>> way_down("K-9", [PartUse("T-4", "S-2"), PartUse("S-2", "K-9")])
    ('S-2', 'T-4')
    """
    inside: dict[str, list[str]] = {}
    for use in uses:
        if use.there:
            inside.setdefault(use.piece, []).append(use.part)
    found: list[str] = []
    waiting = [serial]
    while waiting:
        parts = inside.get(waiting.pop(), [])
        found += parts
        waiting += parts
    return tuple(found)


def way_up(serial: str, uses: Iterable[PartUse]) -> tuple[str, ...]:
    """Return the pieces a part is in, the nearest first; empty for what is in none.

    Examples
    --------
    >>> way_up("T-4", [PartUse("T-4", "S-2"), PartUse("S-2", "K-9")])
    ('S-2', 'K-9')
    """
    home = homes(uses)
    found: list[str] = []
    while serial in home and home[serial] not in found:
        serial = home[serial]
        found.append(serial)
    return tuple(found)


def _up(piece: str, now: dict[str, int], uses: Sequence[PartUse]) -> list[str]:
    """Return the pieces above a piece as they stand, itself left out."""
    found: list[str] = []
    while piece in now:
        piece = uses[now[piece]].piece
        found.append(piece)
    return found


def _told_again(before: PartUse, again: PartUse) -> PartUse:
    """Take what a second card of the same stay adds; the day stays that of the first."""
    told = {name: getattr(again, name) or getattr(before, name) for name in ("role", "batch", "tool")}
    return replace(before, **told)

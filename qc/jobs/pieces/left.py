"""Pieces that left while they were on the list of those to hold: since when that was known, and in words."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import polars as pl

from qc import clock
from qc.jobs.pieces.rows import HELD_ROW, HoldRow, why_words
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.plan import PLACE, Characteristic
from qc.watch import PieceFigure, place_words
from qc.words import count_words, dated_words

LEFT_NEXT = (
    "Find out where it is and whether it is to come back. If it may stay out, release it by name and reason."
)
"""What to do about a piece that left while it was to be held."""

TO_DECIDE = "decide with the lead whether to tell the customer or call it back"
"""What is asked about a piece that left before it was known what is amiss with it."""

GONE_NEXT = f"It has left: {TO_DECIDE}. If it may stay out, release it by name and reason."
"""What to do about a piece that left before it was to be held."""

LATE_NEXT = (
    "Tell whoever has it, or call it back to be looked at and measured again. If it may stay out, release it "
    "by name and reason."
)
"""What to do about a piece that a card shows outside a limit which came in when it had left."""


@dataclass(frozen=True, slots=True)
class LeftPiece:
    """A piece that left although something holds it: its reasons, the first one first.

    `rows` are those of the piece and of what is built into it, those that held it when it left before the
    others; what is offered to be done is done about the first one. `late` says that it was out already when
    what was handed in now showed it outside.
    """

    serial: str
    day: date
    rows: tuple[HoldRow, ...]
    late: bool = False

    @property
    def held(self) -> bool:
        """Whether it was on the list when it left, by what was known by the end of that day."""
        return any(row.left_held for row in self.rows)

    @property
    def sentence(self) -> str:
        """Say which piece left, when, and the first of its reasons."""
        return self.told_by("handed in")

    def told_by(self, done: str) -> str:
        """Say it of what was done now: handed in, or put right."""
        first = self.rows[0]
        part = "" if first.serial == self.serial else f"Its part {first.serial}, "
        told = f"{part}{first.name}: {why_words(first).rstrip('.')}"
        more = f", and {count_words(len(self.rows) - 1, 'more reason')}" if len(self.rows) > 1 else ""
        if self.late:
            shown = f"outside a limit by what was {done} now"
            return f"{self.serial} left on {dated_words(self.day)} and is {shown}. {told}{more}."
        if self.held:
            return f"{self.serial} left on {dated_words(self.day)} while it was to be held. {told}{more}."
        known = "" if first.since is None else f", which is known since {dated_words(first.since)}"
        return f"{self.serial} left on {dated_words(self.day)} and is to be held{known}. {told}{more}."

    @property
    def next_step(self) -> str:
        """Say what to do about it."""
        return LATE_NEXT if self.late else LEFT_NEXT

    @property
    def release_by(self) -> str:
        """The command that releases what is on the list."""
        return f"qc hold release {self.rows[0].serial} --who CODE --why REASON"

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "serial": self.serial,
            "left": self.day.isoformat(),
            "held": self.held,
            "sentence": self.sentence,
            "next_step": self.next_step,
            "rows": [row.to_dict() for row in self.rows],
        }


def left_pieces(rows: Iterable[HoldRow], gone: Collection[str]) -> tuple[LeftPiece, ...]:
    """Return of some pieces that left those that nobody had released, those held by then first.

    Parameters
    ----------
    rows : iterable of HoldRow
        Of the list, in its order.
    gone : collection of str
        Serials of what left.
    """
    of: dict[str, list[HoldRow]] = {}
    for row in rows:
        whole = row.whereabouts.whole or row.serial
        if whole in gone and row.whereabouts.shipped is not None and (row.waits or row.left_held):
            of.setdefault(whole, []).append(row)
    found = [
        LeftPiece(serial, own[0].whereabouts.shipped, tuple(sorted(own, key=_named_first)))
        for serial, own in of.items()
        if own[0].whereabouts.shipped is not None
    ]
    return tuple(sorted(found, key=lambda one: not one.held))


def _named_first(row: HoldRow) -> tuple[bool, bool]:
    """Put what held a piece when it left first, of that what nobody has released since."""
    return not row.left_held, not row.waits


def left_before(
    workshop: Workshop, rows: Iterable[HoldRow], sheets: Collection[str], gone: Collection[str]
) -> tuple[LeftPiece, ...]:
    """Return the pieces that had left when some sheets showed them outside a limit, the worst first.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    rows : iterable of HoldRow
        Of the list, in its order.
    sheets : collection of str
        Hashes of the sheets that were handed in now.
    gone : collection of str
        Serials of what left by these sheets: they are told with that (`left_pieces`).
    """
    out = [row for row in rows if row.waits and not row.in_house and not row.left_held and _shown(row)]
    out = [row for row in out if (row.whereabouts.whole or row.serial) not in gone]
    if not out or not sheets:
        return ()
    read = workshop.store.readings(serials=sorted({row.serial for row in out}), until=workshop.today)
    newest = pl.col("day") == pl.col("day").max().over("serial", "stage", "characteristic", *PLACE)
    brought = read.filter(newest).filter(pl.col("sheet").is_in(list(sheets)))
    asked = any(names[0].startswith(HELD_ROW) for row in out for names in row.rests_on)
    waiting = workshop.store.held() if asked else []
    typed = {f"{HELD_ROW}{one.id}" for one in waiting if one.sheet in sheets}
    of: dict[str, list[HoldRow]] = {}
    for row in out:
        as_typed = not typed.isdisjoint(name for names in row.rests_on for name in names)
        if as_typed or _brought_by(workshop, row, brought):
            of.setdefault(row.whereabouts.whole or row.serial, []).append(row)
    return tuple(
        LeftPiece(serial, own[0].whereabouts.shipped, tuple(own), late=True)
        for serial, own in of.items()
        if own[0].whereabouts.shipped is not None
    )


def _shown(row: HoldRow) -> bool:
    """Say whether a row tells of a figure that is outside; of one that nobody can read it is not known."""
    return row.why == "limit" and row.figure is not None and row.figure.inside is False


def _brought_by(workshop: Workshop, row: HoldRow, readings: pl.DataFrame) -> bool:
    """Say whether some readings put a figure outside: one of its worst place, of a mean or a rule any."""
    figure, characteristic = row.figure, workshop.plan.characteristic(row.stage, row.characteristic)
    if figure is None or characteristic is None:
        return False
    own = readings.filter(
        pl.col("serial") == row.serial,
        pl.col("stage") == row.stage,
        pl.col("characteristic").is_in(characteristic.sources),
    )
    alone = characteristic.decides == "every-place" and characteristic.derive is None
    return any(not alone or place_words(at) == figure.place for at in own.iter_rows(named=True))


def with_parts(workshop: Workshop, gone: Collection[str]) -> set[str]:
    """Return pieces with what is built into them: parts are held by their own serials."""
    if not gone:
        return set()
    parts = workshop.store.events("part", until=workshop.today)
    return {*gone, *parts.filter(pl.col("serial").is_in(sorted(gone)))["subject"].drop_nulls()}


def with_days(workshop: Workshop, rows: Sequence[HoldRow]) -> list[HoldRow]:
    """Add since when it is known that a piece which left is outside a limit: the day its reading came in."""
    asked = sorted({row.serial for row in rows if _asks(row)})
    if not asked:
        return list(rows)
    history = workshop.store.history(serials=asked).filter(pl.col("state") == "stands")
    zone = workshop.plan.workshop.time_zone
    found = []
    for row in rows:
        figure = workshop.plan.characteristic(row.stage, row.characteristic) if _asks(row) else None
        if figure is None or row.figure is None:
            found.append(row)
            continue
        own = history.filter(
            pl.col("serial") == row.serial,
            pl.col("stage") == row.stage,
            pl.col("characteristic").is_in(figure.sources),
        )
        told = _that_put_outside(own, figure, row.figure)["entered_at"].drop_nulls()
        found.append(replace(row, since=clock.day_of(max(told), zone)) if len(told) else row)
    return found


def _that_put_outside(own: pl.DataFrame, figure: Characteristic, found: PieceFigure) -> pl.DataFrame:
    """Return the readings by which a figure is outside: those of its worst place, of a mean the newest."""
    if figure.decides == "every-place" and figure.derive is None:
        own = own.filter([place_words(at) == found.place for at in own.iter_rows(named=True)])
        return own.filter(pl.col("day") == pl.col("day").max())
    return own.filter(pl.col("day") == found.day)


def once_left(row: HoldRow) -> HoldRow:
    """Return a row with what can still be done once its piece has left: nobody can measure that again."""
    if row.in_house:
        return row
    return replace(row, next_step=row.once_left or (LEFT_NEXT if row.left_held else GONE_NEXT))


def _asks(row: HoldRow) -> bool:
    return row.why == "limit" and row.since is None and row.whereabouts.shipped is not None

"""Held rows settled, many at once as one by one: mended ones come in, others are set aside; an entry each."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import polars as pl
from sqlalchemy import Connection, insert, select

from qc.store.chain import append_entries, next_entry
from qc.store.corrected.corrections import refuse_replaced
from qc.store.errors import StoreError
from qc.store.records import HeldState
from qc.store.rows import (
    ACCEPTED,
    DROPPED,
    Rows,
    fresh_rows,
    known_marks,
    next_id,
    write_events,
    write_readings,
)
from qc.store.tables import entry, held, held_event, reading, sheet


@dataclass(frozen=True, slots=True)
class Settlement:
    """What becomes of held rows: one decision, which is one entry and can be undone by itself.

    Attributes
    ----------
    held : tuple of int
        Numbers of the held rows.
    state : str
        ``accepted``, with the rows as mended and checked, or ``dropped``.
    readings, events : DataFrame
        What comes in; those already known are not stored again.
    replaces : int or None
        The reading that they correct.
    note : str
        Why, in words.
    """

    held: tuple[int, ...]
    state: HeldState
    readings: pl.DataFrame = field(default_factory=pl.DataFrame)
    events: pl.DataFrame = field(default_factory=pl.DataFrame)
    replaces: int | None = None
    note: str = ""


def settle_each(
    conn: Connection, settlements: Sequence[Settlement], who: str, when: datetime
) -> list[list[int]]:
    """Close held rows, an entry for each settlement; returns the ids of the new readings of each.

    What is kept is what one after the other would have left: asked of the database once, not once a row.
    """
    _refuse_states(settlements)
    sheets = _open_held(conn, [number for one in settlements for number in one.held])
    own = Rows.of(
        _together([one.readings for one in settlements]),
        _together([one.events for one in settlements]),
        pl.DataFrame(),
        when,
    )
    if len(settlements) > 1 and _hang_together(conn, settlements, own):
        return [settle_each(conn, [one], who, when)[0] for one in settlements]
    # a person brings these rows in: one that came once and was replaced or taken back since comes again
    known = known_marks(conn, [own], standing=True)
    first = next_entry(conn)
    taken, of = _fresh(own.readings, known.readings, [one.readings.height for one in settlements])
    happened, by = _fresh(own.events, known.events, [one.events.height for one in settlements])
    for one in settlements:
        if one.replaces is not None:
            refuse_replaced(conn, one.replaces)
    homes = [{digest: number for digest, number in (sheets[row] for row in one.held)} for one in settlements]
    ids = write_readings(
        conn,
        taken,
        [_sheet_id(digest, homes[n]) for digest, n in zip(taken["sheet"], of, strict=True)],
        [first + n for n in of],
        [settlements[n].replaces for n in of],
    )
    write_events(
        conn,
        happened,
        [_sheet_id(digest, homes[n]) for digest, n in zip(happened["sheet"], by, strict=True)],
        [first + n for n in by],
    )
    _write_states(conn, settlements, first)
    notes = [one.note for one in settlements]
    append_entries(conn, "mend", who, when, notes, ["held_event", "reading", "event"])
    found: list[list[int]] = [[] for _ in settlements]
    for number, n in zip(ids, of, strict=True):
        found[n].append(number)
    return found


def keep_asked(
    conn: Connection, asked: Sequence[tuple[int, str, Collection[str]]], who: str, when: datetime
) -> None:
    """Keep what was asked about mends typed by hand: held row, what was typed, the doubts; an entry each."""
    notes = [f"{_row_words(row)}{typed} asked: {', '.join(sorted(doubts))}" for row, typed, doubts in asked]
    append_entries(conn, "asked", who, when, notes, [])


def read_asked(conn: Connection, row: int, typed: str) -> frozenset[str]:
    """Return the doubts that were asked about what was typed for a held row; empty where it never was."""
    begun = f"{_row_words(row)}{typed} asked: "
    notes = select(entry.c.note).where(entry.c.kind == "asked", entry.c.note.startswith(_row_words(row)))
    told = [note.removeprefix(begun) for note in conn.execute(notes).scalars() if note.startswith(begun)]
    return frozenset(doubt for one in told for doubt in one.split(", "))


def _row_words(row: int) -> str:
    return f"held row {row}: "


def _refuse_states(settlements: Sequence[Settlement]) -> None:
    for one in settlements:
        if one.state not in {ACCEPTED, DROPPED}:
            raise StoreError(f"A held row can be {ACCEPTED} or {DROPPED}, not {one.state!r}.")
        if not one.held:
            raise StoreError("No held row was named.")
    named = [number for one in settlements for number in set(one.held)]
    twice = [number for number in named if named.count(number) > 1]
    if twice:
        raise StoreError(f"The held row {twice[0]} is named in two decisions.")


def _open_held(conn: Connection, numbers: Sequence[int]) -> dict[int, tuple[str, int]]:
    """Return the sheet of each held row, hash and id; refuses rows that are not there or no longer open."""
    rows = conn.execute(
        select(held.c.id, held_event.c.state, sheet.c.hash, sheet.c.id)
        .join_from(held, sheet, held.c.sheet == sheet.c.id)
        .outerjoin(held_event, held_event.c.held == held.c.id)
        .where(held.c.id.in_(list(numbers)))
    ).all()
    missing = sorted(set(numbers) - {row[0] for row in rows})
    if missing:
        raise StoreError(f"There is no held row {missing[0]}. `qc held list` shows the open ones.")
    closed = [(row[0], row[1]) for row in rows if row[1] is not None]
    if closed:
        raise StoreError(f"The held row {closed[0][0]} is already {closed[0][1]}.")
    return {row[0]: (row[2], row[3]) for row in rows}


def _together(frames: Sequence[pl.DataFrame]) -> pl.DataFrame:
    some = [frame for frame in frames if frame.height]
    return pl.concat(some, how="diagonal_relaxed") if some else pl.DataFrame()


def _hang_together(conn: Connection, settlements: Sequence[Settlement], own: Rows) -> bool:
    """Tell whether one of them rests on what another does: only one after the other is right then.

    Two correct one reading, of which the second is refused; or a reading that is replaced makes room for one
    that says the same.
    """
    replaced = [one.replaces for one in settlements if one.replaces is not None]
    if len(set(replaced)) < len(replaced):
        return True
    freed = conn.execute(select(reading.c.fingerprint).where(reading.c.id.in_(replaced))).scalars()
    return bool(set(freed) & set(own.readings["fingerprint"]))


def _fresh(rows: pl.DataFrame, known: set[bytes], heights: Sequence[int]) -> tuple[pl.DataFrame, list[int]]:
    """Return the rows that are not known yet, and of which settlement each of them is."""
    marks = fresh_rows(rows, known)
    owners = [n for n, height in enumerate(heights) for _ in range(height)]
    return rows.filter(marks), [n for n, mark in zip(owners, marks, strict=True) if mark]


def _sheet_id(digest: str | None, sheets: Mapping[str, int]) -> int | None:
    only = next(iter(sheets.values())) if len(sheets) == 1 else None
    return sheets.get(digest or "", only)


def _write_states(conn: Connection, settlements: Sequence[Settlement], first: int) -> None:
    rows = [
        {"entry": entry, "held": number, "state": one.state, "note": one.note}
        for entry, one in enumerate(settlements, first)
        for number in one.held
    ]
    begin = next_id(conn, held_event)
    conn.execute(insert(held_event), [{**row, "id": begin + n} for n, row in enumerate(rows)])

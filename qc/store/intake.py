"""Taking in sheets: what is new is written, what is known is counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime

import polars as pl
from sqlalchemy import Connection, RowMapping, insert, select

from qc.plain import JsonObject
from qc.store.chain import append_entry, next_entry
from qc.store.records import reasons_of
from qc.store.rows import (
    ACCEPTED,
    DROPPED,
    OPEN,
    KnownMarks,
    Rows,
    fresh_rows,
    known_marks,
    next_id,
    write_events,
    write_held,
    write_readings,
    write_settled,
)
from qc.store.sheetfiles import SheetFiles
from qc.store.tables import event, held, held_event, origin, reading, sheet
from qc.store.unread import settle_unread, unread_hashes


def _every_reason(text: str) -> tuple[str, ...]:
    return tuple(reason.id for reason in reasons_of(text))


@dataclass(frozen=True, slots=True)
class NewSheet:
    """One sheet on its way into the store.

    Attributes
    ----------
    file : str
        Name of the file as it was handed in.
    hash : str
        SHA-256 of its bytes, see `sheet_hash`.
    data : bytes
        The bytes.
    card : str
        Id of the card it was read as.
    readings, events, held : polars.DataFrame
        Rows with the columns of `qc.plan.READING`, `EVENT` and `HELD`; what lacks is taken as empty.
    told : callable
        The reasons of a held row, as its text in JSON -> the names of those that are counted.
    entered_as : str
        Id that a tablet gave to what was typed on it; what bears the id of a sheet on record is that sheet.
    anew : mapping of str to str
        Tab -> the layout it was read through: what waited of that tab was read without it, and is settled.
    """

    file: str
    hash: str
    data: bytes
    card: str
    readings: pl.DataFrame = field(default_factory=pl.DataFrame)
    events: pl.DataFrame = field(default_factory=pl.DataFrame)
    held: pl.DataFrame = field(default_factory=pl.DataFrame)
    told: Callable[[str], Sequence[str]] = _every_reason
    entered_as: str = ""
    anew: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SheetCount:
    """What became of the rows of one sheet: ``rows = accepted + held + already_known``."""

    sheet: str
    file: str
    rows: int
    accepted: int
    held: int
    already_known: int
    reasons: dict[str, int]
    held_again: int = 0  # of the held ones, those that waited already
    entered: bool = field(default=False, compare=False)  # whether it made an entry: something of it is new

    def to_dict(self) -> JsonObject:
        """Return plain values, without what only the sentence of a failure needs."""
        return {name: value for name, value in asdict(self).items() if name != "entered"}


def add_sheets(
    conn: Connection, files: SheetFiles, items: Sequence[NewSheet], who: str, when: datetime
) -> list[SheetCount]:
    """Take in sheets inside the transaction of `conn`; their bytes are on the disk before this returns."""
    # we hold the one writer's lock, so whatever is half-written is nobody's
    files.sweep(_named_of(conn, files))
    files.announce(item.hash for item in items)
    rows = [Rows.of(item.readings, item.events, item.held, when) for item in items]
    known = known_marks(conn, rows)
    counts = []
    wrote = False
    for item, own in zip(items, rows, strict=True):
        count, stored_bytes = _add_sheet(conn, files, item, own, known, who, when)
        counts.append(count)
        wrote |= stored_bytes
    if wrote:
        files.settle()
    return counts


def _named_of(conn: Connection, files: SheetFiles) -> set[str]:
    """Return which of the announced sheets have an entry after all."""
    announced = list(files.lying().announced)
    if not announced:
        return set()
    taken = set(conn.execute(select(sheet.c.hash).where(sheet.c.hash.in_(announced))).scalars())
    return taken | unread_hashes(conn, announced)


def _add_sheet(
    conn: Connection,
    files: SheetFiles,
    item: NewSheet,
    own: Rows,
    known: KnownMarks,
    who: str,
    when: datetime,
) -> tuple[SheetCount, bool]:
    """Write what is new of one sheet as one entry; returns its count, and whether its bytes are new too.

    A sheet that brings nothing new makes no entry: taking in a file twice leaves the store as once. So a row
    accepted from this very sheet stays accepted, whatever is doubted of it by what came in later.
    """
    rows = own.readings.height + own.events.height + own.held.height
    sheet_id = conn.execute(select(sheet.c.id).where(sheet.c.hash == item.hash)).scalar()
    if sheet_id is not None and own.held.height:
        own = replace(own, held=own.held.filter(~_on_record(conn, sheet_id, own.held)))
    taken = own.readings.filter(fresh_rows(own.readings, known.readings))
    happened = own.events.filter(fresh_rows(own.events, known.events))
    states = [known.held.get(mark) for mark in own.held["fingerprint"]]
    again = sum(state == OPEN for state in states)
    waiting = own.held.filter(fresh_rows(own.held, known.held))
    known.held.update(dict.fromkeys(waiting["fingerprint"], OPEN))
    settled = sum(state in {ACCEPTED, DROPPED} for state in states)
    still_held = own.held.filter(pl.Series([s not in {ACCEPTED, DROPPED} for s in states], dtype=pl.Boolean))
    accepted = taken.height + happened.height
    count = SheetCount(
        sheet=item.hash,
        file=item.file,
        rows=rows,
        accepted=accepted,
        held=own.held.height - settled,
        already_known=rows - accepted - own.held.height + settled,
        reasons=_reasons(still_held["reasons"], item.told),
        held_again=again,
    )
    before = _read_without(conn, sheet_id, item, own.held) if sheet_id is not None else {}
    nothing = sheet_id is not None and accepted + waiting.height == 0 and not before
    if nothing or entered(conn, item.entered_as):
        return count, False
    number = next_entry(conn)
    new = sheet_id is None
    if sheet_id is None:
        files.keep(item.hash, item.data)
        sheet_id = next_id(conn, sheet)
        facts = {"hash": item.hash, "file": item.file, "card": item.card, "size": len(item.data)}
        facts["entered_as"] = item.entered_as or None
        conn.execute(insert(sheet), {"id": sheet_id, "entry": number, **facts})
    many, others = taken.height, happened.height
    write_readings(conn, taken, [sheet_id] * many, [number] * many, [None] * many)
    write_events(conn, happened, [sheet_id] * others, [number] * others)
    write_held(conn, waiting, sheet_id, number)
    if not new:
        _settle_accepted(conn, sheet_id, taken, happened, number)
        _settle_anew(conn, before, own.readings, item.anew, number)
    wrote = {"sheet": new, "reading": taken.height, "event": happened.height, "held": waiting.height}
    # one that waited for its layout waits no more
    wrote["unread_event"] = new and settle_unread(conn, item.hash, "read", _how(item), number)
    wrote["held_event"] = not new  # only a sheet that came before can have rows that wait
    append_entry(conn, "sheet", who, when, item.file, [name for name, rows in wrote.items() if rows])
    return replace(count, entered=True), new


def _how(item: NewSheet) -> str:
    layouts = list(dict.fromkeys(item.anew.values()))
    return f"read through the layout {', '.join(layouts)}" if layouts else "read by its headings"


def _on_record(conn: Connection, sheet_id: int, rows: pl.DataFrame) -> pl.Series:
    """Mark the rows whose cells were accepted from this sheet before."""
    own = select(origin.c.tab, reading.c.row, reading.c.column)
    read = own.join_from(reading, origin, reading.c.origin == origin.c.id).where(origin.c.sheet == sheet_id)
    happened = select(event.c.tab, event.c.row, event.c.column).where(event.c.sheet == sheet_id)
    cells = {("reading", tab or "", row, column) for tab, row, column in conn.execute(read)}
    cells |= {("event", tab or "", row, column) for tab, row, column in conn.execute(happened)}
    found = rows.select("table", "tab", "row", "column").iter_rows()
    marks = [(table, tab or "", row, column) in cells for table, tab, row, column in found]
    return pl.Series(marks, dtype=pl.Boolean)


def entered(conn: Connection, entered_as: str) -> str:
    """Return the hash of the sheet that bears an id of the bench, empty where none does."""
    if not entered_as:
        return ""
    return conn.execute(select(sheet.c.hash).where(sheet.c.entered_as == entered_as)).scalar() or ""


def _settle_accepted(
    conn: Connection, sheet_id: int, taken: pl.DataFrame, happened: pl.DataFrame, number: int
) -> None:
    """Close held rows of a sheet whose cells are accepted now that it came again."""
    cells = {("reading", *row) for row in taken.select("tab", "row", "column").iter_rows()}
    cells |= {("event", *row) for row in happened.select("tab", "row", "column").iter_rows()}
    closed = select(held_event.c.held)
    where = held.c["table"], held.c.tab, held.c.row, held.c.column
    still = select(held.c.id, *where).where(held.c.sheet == sheet_id, held.c.id.not_in(closed))
    hits = [row[0] for row in conn.execute(still) if tuple(row[1:]) in cells]
    write_settled(conn, hits, ACCEPTED, "accepted when the sheet came again", number)


def _read_without(
    conn: Connection, sheet_id: int, item: NewSheet, rows: pl.DataFrame
) -> dict[int, RowMapping]:
    """Return the rows of a sheet that wait and were read without the layout it is read through now."""
    if not item.anew:
        return {}
    closed = select(held_event.c.held)
    still = select(held.c.id, held.c.tab, held.c.row, held.c.text).where(
        held.c.sheet == sheet_id,
        held.c.id.not_in(closed),
        held.c.fingerprint.not_in(list(rows["fingerprint"])),
    )
    rows_before = conn.execute(still).mappings()
    return {row["id"]: row for row in rows_before if (row["tab"] or "") in item.anew}


def _settle_anew(
    conn: Connection,
    before: Mapping[int, RowMapping],
    readings: pl.DataFrame,
    anew: Mapping[str, str],
    number: int,
) -> None:
    """Close what waited of a sheet before its layout was shown: accepted where its figure is accepted now."""
    closed = set(conn.execute(select(held_event.c.held).where(held_event.c.held.in_(list(before)))).scalars())
    figures = {(tab or "", row, text) for tab, row, text in readings.select("tab", "row", "text").iter_rows()}
    for layout in dict.fromkeys(anew.values()):
        note = f"read anew through the layout {layout}"
        own = {n: row for n, row in before.items() if anew[row["tab"] or ""] == layout and n not in closed}
        taken = [n for n, row in own.items() if (row["tab"] or "", row["row"], row["text"]) in figures]
        write_settled(conn, taken, ACCEPTED, note, number)
        write_settled(conn, [n for n in own if n not in taken], DROPPED, note, number)


def _reasons(texts: Iterable[str], told: Callable[[str], Sequence[str]]) -> dict[str, int]:
    return dict(sorted(Counter(name for text in texts if text for name in told(text)).items()))

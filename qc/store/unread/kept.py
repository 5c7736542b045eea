"""Which sheets wait for their layout, who handed them in, why they were refused, and what became of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from sqlalchemy import Connection, func, insert, select

from qc.store.chain import append_entry, moment_of, next_entry
from qc.store.errors import StoreError
from qc.store.rows import next_id
from qc.store.sheetfiles import SheetFiles
from qc.store.tables import entry, sheet, unread, unread_event

UnreadState = Literal["waits", "read", "put-away"]
"""What became of a sheet that could not be read; one that was put away may still be read later."""


@dataclass(frozen=True, slots=True)
class NewUnread:
    """A sheet that could not be read, on its way into the store.

    Attributes
    ----------
    file, hash, data
        Name as handed in, SHA-256 of the bytes, the bytes.
    refusal : str
        The sentence by which it was refused.
    """

    file: str
    hash: str
    data: bytes
    refusal: str


@dataclass(frozen=True, slots=True)
class UnreadRecord:
    """A sheet that could not be read when it was handed in.

    Attributes
    ----------
    id : int
        Its number among them.
    sheet, file : str
        SHA-256 of its bytes, its name as handed in.
    size : int
        [bytes]
    refusal : str
        The sentence by which it was refused.
    entered, who, entry
        Moment (UTC) and person of the hand-in, the entry that kept it.
    state : UnreadState
        What became of it.
    note, settled_by, settled
        Why it was put away or how it was read, who did that and when; empty and None while it waits.
    """

    id: int
    sheet: str
    file: str
    size: int
    refusal: str
    entered: datetime
    who: str
    entry: int
    state: UnreadState = "waits"
    note: str = ""
    settled_by: str = ""
    settled: datetime | None = None


def keep_unread(
    conn: Connection, files: SheetFiles, items: Sequence[NewUnread], who: str, when: datetime
) -> list[UnreadRecord]:
    """Keep sheets that could not be read, an entry each; returns those on record now, in the order given.

    One that is on record already, read or not, is not kept again.
    """
    if not items:
        return []
    kept = False
    for item in items:
        known = [select(table.c.id).where(table.c.hash == item.hash) for table in (sheet, unread)]
        if any(conn.execute(one).first() for one in known):
            continue
        files.announce([item.hash])
        files.keep(item.hash, item.data)
        number = next_entry(conn)
        facts = {"hash": item.hash, "file": item.file, "size": len(item.data), "refusal": item.refusal}
        conn.execute(insert(unread), {"id": next_id(conn, unread), "entry": number, **facts})
        append_entry(conn, "unread", who, when, item.file, [unread.name])
        kept = True
    if kept:
        files.settle()
    found = {one.sheet: one for one in read_unread(conn, open_only=False)}
    return [found[item.hash] for item in items if item.hash in found]


def read_unread(conn: Connection, open_only: bool = True) -> list[UnreadRecord]:
    """Return the sheets that wait for their layout, in order of entry, or all that ever did."""
    newest = select(func.max(unread_event.c.id)).group_by(unread_event.c.unread)
    said = (
        select(unread_event, entry.c.who, entry.c.at)
        .join(entry, entry.c.id == unread_event.c.entry)
        .where(unread_event.c.id.in_(newest))
    )
    became = {row.unread: row for row in conn.execute(said)}
    kept = select(unread, entry.c.who, entry.c.at).join(entry, entry.c.id == unread.c.entry)
    found = []
    for row in conn.execute(kept.order_by(unread.c.id)):
        own = became.get(row.id)
        if own is not None and open_only:
            continue
        end = () if own is None else (own.state, own.note, own.who, moment_of(own.at))
        facts = (row.id, row.hash, row.file, row.size, row.refusal, moment_of(row.at), row.who, row.entry)
        found.append(UnreadRecord(*facts, *end))
    return found


def settle_unread(conn: Connection, digest: str, state: UnreadState, note: str, number: int) -> bool:
    """Say under an entry what became of the sheet with this hash; False where no such sheet waits.

    Parameters
    ----------
    digest : str
        The SHA-256 of its bytes.
    state : UnreadState
        ``read`` or ``put-away``.
    note : str
        How, or why.
    number : int
        The entry under which it is written.
    """
    row = next((one for one in read_unread(conn, open_only=False) if one.sheet == digest), None)
    if row is None or row.state in {"read", state}:
        return False
    own = {"unread": row.id, "state": state, "note": note}
    conn.execute(insert(unread_event), {"id": next_id(conn, unread_event), "entry": number, **own})
    return True


def put_away(conn: Connection, digest: str, who: str, when: datetime, why: str) -> None:
    """Put a sheet away that waits for its layout; it stays on record.

    Raises
    ------
    StoreError
        No such sheet waits.
    """
    waiting = next((one for one in read_unread(conn) if one.sheet == digest), None)
    if waiting is None:
        raise StoreError(f"No sheet {digest[:12]} waits for its layout. See the list: qc held list")
    settle_unread(conn, digest, "put-away", why, next_entry(conn))
    append_entry(conn, "unread", who, when, f"{waiting.file}: {why}", [unread_event.name])


def unread_hashes(conn: Connection, among: Iterable[str] | None = None) -> set[str]:
    """Return the hashes of all sheets that ever could not be read, or of those among some."""
    statement = select(unread.c.hash)
    if among is not None:
        statement = statement.where(unread.c.hash.in_(list(among)))
    return set(conn.execute(statement).scalars())

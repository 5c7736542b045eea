"""What was decided about pieces kept back: entries of the chain, never changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from sqlalchemy import Connection, insert, select

from qc.store.chain import append_entry, moment_of, next_entry
from qc.store.errors import StoreError
from qc.store.rows import next_id
from qc.store.tables import entry, piece_event


class PieceWord(StrEnum):
    """What a lead decides about a piece."""

    RELEASED = "released"
    KEPT_BACK = "kept-back"


@dataclass(frozen=True, slots=True)
class PieceDecision:
    """One decision about one piece, figure and reason.

    Attributes
    ----------
    serial : str
        The piece.
    what : PieceWord
        What was decided.
    stage, characteristic : str
        The figure, empty where the piece was kept back for itself.
    reason : str
        Why it was on the list: limit, signal, gauge, batch, or hand.
    rests_on : str
        What it was on the list for then: a decision does not cover what comes to be known later.
    text : str
        The reason of the person.
    who : str
        Code of the person.
    when : datetime
        The moment of entry, UTC; `now` of one that is not kept yet.
    """

    serial: str
    what: PieceWord
    stage: str
    characteristic: str
    reason: str
    rests_on: str
    text: str
    who: str
    when: datetime


def add_decisions(conn: Connection, decisions: Sequence[PieceDecision]) -> None:
    """Keep decisions of one person and moment as one entry."""
    if not decisions:
        raise StoreError("No piece was named.")
    number, first = next_entry(conn), next_id(conn, piece_event)
    rows = [
        {
            "id": first + place,
            "entry": number,
            "serial": one.serial,
            "what": one.what.value,
            "stage": one.stage,
            "characteristic": one.characteristic,
            "reason": one.reason,
            "rests_on": one.rests_on,
            "text": one.text,
        }
        for place, one in enumerate(decisions)
    ]
    conn.execute(insert(piece_event), rows)
    head = decisions[0]
    append_entry(conn, "piece", head.who, head.when, f"{head.what} {head.serial}", ["piece_event"])


def read_decisions(conn: Connection, serials: Sequence[str] | None = None) -> list[PieceDecision]:
    """Return decisions about pieces, oldest first; who and when stand in their entries."""
    statement = (
        select(piece_event, entry.c.who, entry.c.at)
        .join(entry, entry.c.id == piece_event.c.entry)
        .order_by(piece_event.c.id)
    )
    if serials is not None:
        statement = statement.where(piece_event.c.serial.in_(list(serials)))
    return [
        PieceDecision(
            serial=row.serial,
            what=PieceWord(row.what),
            stage=row.stage,
            characteristic=row.characteristic,
            reason=row.reason,
            rests_on=row.rests_on,
            text=row.text,
            who=row.who,
            when=moment_of(row.at),
        )
        for row in conn.execute(statement)
    ]

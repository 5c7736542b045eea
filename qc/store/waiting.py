"""What waits to be judged: everything accepted after the mark up to which the workshop was judged.

Judging follows the rows and is not one transaction with them, so whatever came between (a power cut, a lock,
a full disk) may have kept it from being done. The mark is kept with the verdicts; what is newer waits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, Self

from sqlalchemy import Connection, exists, func, select

from qc.plain import JsonObject
from qc.sayings import OF_SERIES, What
from qc.store.chain import last_entry, moment_of
from qc.store.rows import last_id
from qc.store.tables import entry, event, origin, plan_version, reading, signal, signal_event

UNKNOWN = -1
"""Stands for an entry or a plan version in a mark made before marks told of them."""

PLAN, TOLD = "plan", "verdict"
"""Kinds of entries that bring nothing to judge by themselves: a plan without readings, a verdict told."""


@dataclass(frozen=True, slots=True)
class JudgedUpTo:
    """How far a workshop is judged, or how far it goes: the newest card, event, entry and plan version."""

    readings: int = 0
    events: int = 0
    entry: int = 0
    plan: int = 0

    @classmethod
    def of(cls, kept: Any) -> Self:
        """Read what was kept: names and numbers, two numbers in older stores, nothing before any judging."""
        if isinstance(kept, Mapping):
            return cls(**{name: int(kept[name]) for name in ("readings", "events", "entry", "plan")})
        return cls(int(kept[0]), int(kept[1]), UNKNOWN, UNKNOWN) if kept else cls()

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Waiting:
    """What was accepted after a mark.

    Attributes
    ----------
    since : datetime
        Moment of the oldest of it, UTC.
    newest : datetime or None
        Moment of the newest sheet or saying; None where only the plan changed.
    series : frozenset of str
        Series of which something was decided, or of a signal of which something was said that counts.
    everything : bool
        Whether every series waits: the plan changed, or the mark does not tell.
    now : JudgedUpTo
        The mark that holds once all of it is judged.
    """

    since: datetime
    newest: datetime | None
    series: frozenset[str]
    everything: bool
    now: JudgedUpTo


def read_reached(conn: Connection) -> JudgedUpTo:
    """Return the mark that holds once everything accepted so far is judged."""
    version = conn.execute(select(func.max(plan_version.c.id))).scalar() or 0
    return JudgedUpTo(last_id(conn, origin), last_id(conn, event), last_entry(conn)[0], version)


def read_waiting(conn: Connection, mark: JudgedUpTo) -> Waiting | None:
    """Return what waits after a mark, None where nothing does."""
    now = read_reached(conn)
    # without a reading there is no series that a plan could change
    everything = bool(now.readings) and (now.plan > mark.plan or mark.entry == UNKNOWN)
    newer = entry.c.id > max(mark.entry, 0)
    kinds = (TOLD,) if everything else (TOLD, PLAN)
    since = conn.execute(select(func.min(entry.c.id)).where(newer, entry.c.kind.not_in(kinds))).scalar()
    if mark.entry == UNKNOWN:
        since = _oldest_row(conn, mark) or now.entry
        if not everything:
            return None
    if since is None:
        return None
    rows = select(func.max(entry.c.at)).where(newer, entry.c.kind.not_in((TOLD, PLAN)))
    newest = conn.execute(rows).scalar()
    return Waiting(
        since=moment_of(conn.execute(select(entry.c.at).where(entry.c.id == since)).scalar_one()),
        newest=None if newest is None else moment_of(newest),
        series=_said_of(conn, mark),
        everything=everything,
        now=now,
    )


def measured_kinds(conn: Connection) -> list[tuple[str, str, str]]:
    """Return stage, characteristic and model of everything that was ever measured, each once."""
    what = origin.c.stage, origin.c.characteristic, origin.c.model
    return [tuple(row) for row in conn.execute(select(*what).distinct())]


def _oldest_row(conn: Connection, mark: JudgedUpTo) -> int | None:
    """Return the entry of the first card or event after a mark that does not tell of entries."""
    cards = select(func.min(reading.c.entry)).join(origin, reading.c.origin == origin.c.id)
    found = (
        conn.execute(cards.where(origin.c.id > mark.readings)).scalar(),
        conn.execute(select(func.min(event.c.entry)).where(event.c.id > mark.events)).scalar(),
    )
    return min((number for number in found if number is not None), default=None)


def _said_of(conn: Connection, mark: JudgedUpTo) -> frozenset[str]:
    newer = signal_event.c.entry > max(mark.entry, 0)
    decided = select(signal_event.c.signal).where(newer, signal_event.c.what.in_(OF_SERIES))
    about = exists().where(
        signal_event.c.signal == signal.c.id,
        newer,
        signal_event.c.what.not_in((*OF_SERIES, What.COMMENT)),
    )
    said = select(signal.c.series).where(about)
    return frozenset(row[0] for one in (decided, said) for row in conn.execute(one))

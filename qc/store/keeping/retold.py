"""Do verdicts, signals and marks still say what was told? All that was told is gone through once more."""

from __future__ import annotations

import json
import zlib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, select

from qc.store.keeping.told import ADOPTED, AFRESH, COURSE, MARK, hash_of, unpack
from qc.store.postgresql import by_bytes
from qc.store.states import read_states
from qc.store.tables import judgement, signal, told, verdict
from qc.store.verdicts import own_id

_MEND = "`qc rejudge` works it out anew from the readings"
_RESTORE = "Put back the last backup (`qc restore`)"


@dataclass(slots=True)
class _Told:
    """What the tables that are rewritten must hold, going by what was told."""

    verdicts: dict[str, dict[str, str]] = field(default_factory=dict)  # series -> day -> hash
    signals: dict[str, dict[str, Any]] = field(default_factory=dict)
    states: dict[str, str] = field(default_factory=dict)
    mark: str | None = None


def faults_of_told(conn: Connection) -> Iterator[str]:
    """Yield a sentence for each verdict, signal or mark that is not what was told."""
    expected = _gone_through(conn)
    if expected is None:  # made by an earlier program, and nothing was judged since
        return
    yield from _verdicts(conn, expected)
    yield from _signals(conn, expected)
    yield from _states(conn, expected)


def signals_as_told(conn: Connection) -> dict[str, dict[str, Any]]:
    """Return what the table of signals held by all that was told: its other columns, by id."""
    expected = _gone_through(conn)
    return {} if expected is None else expected.signals


def _gone_through(conn: Connection) -> _Told | None:
    """Go through all that was told to what must stand now; judging all afresh empties what stood."""
    judged = conn.execute(select(judgement).order_by(judgement.c.id)).all()
    if not judged:
        return None
    found = _Told(mark=judged[-1].mark)
    how = {row.entry: row.how for row in judged}
    afresh = iter([row.entry for row in judged if row.how == AFRESH])
    coming = next(afresh, None)
    words: dict[int, Any] = {}
    for row in conn.execute(select(told).order_by(told.c.id)):
        while coming is not None and coming <= row.entry:
            found.verdicts.clear()
            coming = next(afresh, None)
        if row.as_in is None:
            words[row.id] = unpack(bytes(row.body))["signals"]
        if how.get(row.entry) == ADOPTED:
            _adopt(found, row)
        else:
            _apply(found, row, words[row.id if row.as_in is None else row.as_in])
    if coming is not None:
        found.verdicts.clear()
    return found


def _adopt(found: _Told, row: Any) -> None:
    """Take over what stood there when the first verdicts were kept this way."""
    if row.verdict:
        found.verdicts.setdefault(row.series, {})[row.day] = row.verdict
        found.states[row.series] = row.state
        return
    body = unpack(bytes(row.body))
    found.signals[body["id"]] = {
        "series": row.series,
        "kind": body["kind"],
        "first_as_of": body["first_as_of"],
        "last_as_of": row.day,
        "body": body["signals"][0],
    }


def _apply(found: _Told, row: Any, signals: list[dict[str, Any]]) -> None:
    """Do to the expected tables what saving did: see `qc.store.verdicts`."""
    days = found.verdicts.setdefault(row.series, {})
    before = max((day for day in days if day <= row.day), default=None)
    if before is None or days[before] != row.verdict:
        days[row.day] = row.verdict
    found.states[row.series] = row.state
    for body in signals:
        own = own_id(row.series, body)
        fresh = {"series": row.series, "kind": body["kind"], "first_as_of": row.day, "last_as_of": row.day}
        known = found.signals.setdefault(own, {**fresh, "body": body})
        known["first_as_of"] = min(row.day, known["first_as_of"])
        if row.day >= known["last_as_of"]:
            known |= {"last_as_of": row.day, "kind": body["kind"], "body": body}


def _verdicts(conn: Connection, expected: _Told) -> Iterator[str]:
    left = {(series, day): own for series, days in expected.verdicts.items() for day, own in days.items()}
    for row in conn.execute(select(verdict).order_by(by_bytes(verdict.c.series), verdict.c.as_of)):
        own = left.pop((row.series, row.as_of), None)
        where = f"The verdict on {row.series} of {row.as_of}"
        if own is None:
            yield f"{where} was never told: it was put there by hand. {_MEND}."
        elif _hash_of_body(row.body) != own:
            yield f"{where} is not the one that was told: it was altered. {_MEND}."
    for series, day in left:
        yield f"The verdict on {series} of {day} was told and is gone. {_MEND}."


def _hash_of_body(body: Any) -> str:
    try:
        return hash_of(json.loads(zlib.decompress(bytes(body))))
    except (ValueError, TypeError, zlib.error):
        return "no verdict"


def _signals(conn: Connection, expected: _Told) -> Iterator[str]:
    left, numbers = dict(expected.signals), []
    for row in conn.execute(select(signal).order_by(by_bytes(signal.c.id))):
        known = left.pop(row.id, None)
        numbers.append(row.number)
        if known is None:
            yield f"The signal {row.id} was never told: it was put there by hand. {_RESTORE}."
        elif not _is_as_told(row, known):
            yield f"The signal {row.id} of {known['series']} is not the one that was told. {_RESTORE}."
    for own, known in left.items():
        yield f"The signal {own} of {known['series']} was told and is gone. {_RESTORE}."
    # a number is given once, each one more than the last, and no signal ever goes
    if not left and Counter(numbers) != Counter(range(1, len(numbers) + 1)):
        yield f"The numbers that signals are called by are not those that were given. {_RESTORE}."


def _is_as_told(row: Any, known: Mapping[str, Any]) -> bool:
    if any(getattr(row, name) != known[name] for name in ("series", "kind", "first_as_of", "last_as_of")):
        return False
    try:
        return bool(json.loads(row.body) == known["body"])
    except (ValueError, TypeError):
        return False


def _states(conn: Connection, expected: _Told) -> Iterator[str]:
    """Compare each kept state, and the mark, with what was told when it was kept."""
    names = {COURSE.format(series): series for series in expected.states}
    try:
        kept = read_states(conn, [*names, MARK])
    except (ValueError, TypeError):
        yield f"A kept state cannot be read: it was altered. {_MEND}."
        return
    for name, series in names.items():
        own = hash_of(kept[name]) if name in kept else ""
        if own != expected.states[series]:
            yield f"How far {series} was judged is not as it was kept: it was altered. {_MEND}."
    mark = json.dumps(kept[MARK], ensure_ascii=False) if MARK in kept else None
    if mark != expected.mark:
        yield (
            "The mark up to which everything is judged is not as it was kept: it was altered, so readings "
            f"may wait unjudged. {_MEND}."
        )

"""What makes two rows the same reading: their meaning, not the sheet or the line they stand in.

Sixteen bytes: three for the measured day, thirteen of a BLAKE2b hash. The day in front keeps the rows of one
upload together in the index, so that looking them up touches a few pages of it, however large the store is;
104 bits of hash make a chance meeting of two of ten million readings of *one day* less likely than 1e-17
(n^2 / 2^105).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from datetime import date

import polars as pl

from qc.plain import JsonObject
from qc.plan import PLACE

READING_MEANING: tuple[str, ...] = (
    "day",
    "measured_at",
    "has_time",
    "serial",
    "stage",
    "characteristic",
    *PLACE,
    "repeat",
    "value",
    "unit",
    "person",
    "gauge",
    "tool",
    "tool_count",
    "batch",
    "method",
)
"""The columns two readings must share to be one; typed text, notes and model may differ."""

EVENT_MEANING: tuple[str, ...] = (
    "day",
    "measured_at",
    "kind",
    "serial",
    "stage",
    "subject",
    "code",
    "value",
    "unit",
    "person",
    "tool",
    "batch",
)
"""The columns two events must share to be one."""

DAY_BYTES, HASH_BYTES = 3, 13
"""How many bytes stand for the day and for the rest; kept marks have this form, so it stays."""

_NOT_MEANING = frozenset({"sheet", "file", "tab", "row", "column", "cell", "entered_at"})


def fingerprints(frame: pl.DataFrame, meaning: tuple[str, ...]) -> list[bytes]:
    """Return the fingerprint of each row.

    Parameters
    ----------
    frame : polars.DataFrame
        Rows as stored (days as ISO text), with the columns of `meaning`.
    meaning : tuple of str
        `READING_MEANING` or `EVENT_MEANING`; the first is ``day``.
    """
    rows = zip(*(_values(frame[name]) for name in meaning), strict=True)
    return [_digest(row[0], _canonical(dict(zip(meaning, row, strict=True)))) for row in rows]


def held_fingerprints(tables: Iterable[str | None], typed: Iterable[str]) -> list[bytes]:
    """Return the fingerprint of each held row from the row as typed (a JSON object).

    Examples
    --------
    >>> a = '{"serial": "K1", "text": "13,9x", "row": 5, "sheet": "aa"}'
    >>> b = '{"text": "13,9x", "serial": "K1", "row": 9, "sheet": "bb"}'
    >>> held_fingerprints(["reading"], [a]) == held_fingerprints(["reading"], [b])
    True
    """
    found = []
    for table, text in zip(tables, typed, strict=True):
        row = json.loads(text) if text else {}
        meaning = {
            name: value
            for name, value in row.items()
            if name not in _NOT_MEANING and value is not None and value != ""
        }
        meaning["table"] = table
        found.append(_digest(row.get("day"), _canonical(dict(sorted(meaning.items())))))
    return found


def _canonical(row: JsonObject) -> str:
    # what is empty is left out: a column that a later release adds must not make known rows new
    filled = {name: value for name, value in row.items() if value is not None}
    return json.dumps(filled, ensure_ascii=False, separators=(",", ":"))


def _values(column: pl.Series) -> list[object]:
    if column.dtype != pl.Float64:
        return column.to_list()
    return [0.0 if value == 0.0 else value for value in column]  # minus zero is zero


def _digest(day: object, canonical: str) -> bytes:
    digest = hashlib.blake2b(canonical.encode("utf-8", "surrogatepass"), digest_size=HASH_BYTES).digest()
    return _day_number(day).to_bytes(DAY_BYTES, "big") + digest


def _day_number(day: object) -> int:
    try:
        return date.fromisoformat(str(day)[:10]).toordinal()
    except ValueError:
        return 0
